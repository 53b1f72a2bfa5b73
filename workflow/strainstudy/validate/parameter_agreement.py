"""Gait and swallow parameters from hand labels beside those from detected events.

In: labels and detected events of each recording, and the time that both are counted over. Out: a long frame
of parameters (`event_parameters`, deliberately simple and independent of the gait analysis, so that it can
disagree with it) and the agreement table ``validation/parameters.tsv``.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..stats.agreement import bland_altman_repeated, concordance
from ..stats.intervals import Interval, cluster_bootstrap, no_interval
from ..stats.matching import match_centres
from ..stats.reliability import icc
from ..stats.spans import intersect, labelled_spans, merged, total_length, within
from ..swallow.measures import drinking_measures
from ..tables.validation import PARAMETERS
from ..vocabulary import GAIT_STATES, SIDES
from .measurements import SIGNED, SIGNS_CANCEL
from .parameters import ValidateParameters
from .rates import named_interval
from .row_frames import rows_frame, text_or_none
from .scoring import without_straight_legs
from .unvalidated import CANNOT, GOOD_ICC
from .wording import parameter_words

__all__ = [
    "UNITS",
    "Drink",
    "bend_angles",
    "compare_parameters",
    "event_parameters",
    "label_timing",
    "labelled_against_detected",
]

Floats = NDArray[np.float64]

UNITS: Final[dict[str, str]] = {
    "cadence": "1/min",
    "stride_time_mean": "s",
    "stride_time_cv": "percent",
    "step_time_mean_left": "s",
    "step_time_mean_right": "s",
    "step_time_symmetry_index": "percent",
    "step_time_log_ratio_size": "percent",
    "swallow_rate": "1/min",
    "swallow_rate_while_drinking": "1/min",
    "swallow_interval": "s",
    "swallow_duration": "s",
    "volume_per_swallow": "ml",
    "time_per_swallow": "s",
    "swallowing_speed": "ml/s",
    "knee_bend_angle": "deg",
}
_PAIRS: Final = ("recording_id", "participant_id", "measure", "trial_type", "detected_from", "labelled", "detected")
MINIMUM_PAIRS: Final = 3
"""Pairs below which nothing is said of an ICC at best (ours)."""
MINIMUM_STRIDES: Final = 3
"""Strides below which a recording gives no mean and no variability (ours)."""


def _columns(rows: pd.DataFrame) -> tuple[NDArray[np.object_], NDArray[np.object_], Floats, Floats]:
    """Type, side, onset and duration of labels or events."""
    kind, side = (rows[name].to_numpy(dtype=object) for name in ("trial_type", "side"))
    onset, duration = (rows[name].to_numpy(dtype=np.float64) for name in ("onset", "duration"))
    return kind, side, onset, duration


def _contacts(events: pd.DataFrame, spans: Floats) -> list[list[tuple[float, str]]]:
    """List the initial contacts in each span as (time, side), in order."""
    kind, side, onset, _ = _columns(events)
    known = (kind == "initial_contact") & np.logical_or.reduce([side == name for name in SIDES])
    onset, side = onset[known], side[known]
    inside = [within(onset, span[None, :]) for span in spans]
    return [sorted(zip(onset[own].tolist(), side[own].tolist(), strict=True)) for own in inside]


def _usual(times: list[float], ratio: float) -> list[float]:
    """Leave out times that hold a missed contact, and those about an invented one: it cuts one time into two."""
    if not times:
        return []
    taken = np.asarray(times)
    middle = np.median(taken)
    short = np.concatenate([[False], taken < middle / ratio, [False]])
    cut = short[:-2] | short[1:-1] | short[2:]
    kept: list[float] = taken[~cut & (taken <= ratio * middle)].tolist()
    return kept


def _gait_parameters(events: pd.DataFrame, spans: Floats, longest: float) -> dict[str, float]:
    strides: dict[str, list[float]] = {side: [] for side in SIDES}
    steps: dict[str, list[float]] = {side: [] for side in SIDES}
    for contacts in _contacts(events, spans):
        for side in SIDES:
            strides[side] += np.diff([time for time, where in contacts if where == side]).tolist()
        for (time, side), (later, other) in itertools.pairwise(contacts):
            if side != other:
                steps[other].append(later - time)
    kept = [_usual(strides[side], longest) for side in SIDES]
    enough = [own for own in kept if len(own) >= MINIMUM_STRIDES]
    if not enough:
        return {}
    mean = float(np.mean([s for own in enough for s in own]))
    square = sum(np.var(own, ddof=1) * (len(own) - 1) for own in enough)
    spread = math.sqrt(square / sum(len(own) - 1 for own in enough))
    found = {"stride_time_mean": mean, "cadence": 120 / mean, "stride_time_cv": 100 * spread / mean}
    usual = [_usual(steps[side], longest) for side in SIDES]
    if min(len(own) for own in usual) >= MINIMUM_STRIDES:
        left, right = float(np.mean(usual[0])), float(np.mean(usual[1]))
        found |= {"step_time_mean_left": left, "step_time_mean_right": right}
        found["step_time_symmetry_index"] = 100 * (right - left) / (0.5 * (right + left))
        found["step_time_log_ratio_size"] = 100 * abs(math.log(right / left))
    return found


@dataclass(frozen=True)
class Drink:
    """A volume that was drunk in a recording.

    Parameters
    ----------
    volume_ml : float
        Millilitres.
    clearing_pause_s : float
        Pause after which a swallow is no part of drinking, as in the settings of swallows.
    """

    volume_ml: float
    clearing_pause_s: float


def _swallow_parameters(events: pd.DataFrame, spans: Floats, drink: Drink | None) -> dict[str, float]:
    kind, _, onset, duration = _columns(events)
    onset, duration = onset[kind == "swallow"], duration[kind == "swallow"]
    inside = within(onset + duration / 2, spans)
    order = np.argsort(onset[inside], kind="stable")
    onset, duration = onset[inside][order], duration[inside][order]
    found = {}
    seconds = total_length(spans)
    # Sip upon sip is many times as fast as other swallowing, and would set the limits of both.
    if seconds > 0:
        found["swallow_rate" if drink is None else "swallow_rate_while_drinking"] = 60 * len(onset) / seconds
    if len(onset):
        found["swallow_duration"] = float(duration.mean())
    if len(onset) > 1 and drink is None:
        found["swallow_interval"] = float(np.diff(onset).mean())
    if drink is not None and len(onset) and (duration > 0).all():
        found |= drinking_measures(onset, onset + duration, drink.volume_ml, drink.clearing_pause_s)
    return found


def event_parameters(
    events: pd.DataFrame,
    gait_spans: Mapping[str, Floats],
    swallow_spans: Floats | None,
    parameters: ValidateParameters,
    drink: Drink | None = None,
) -> list[tuple[str, str | None, float]]:
    """Parameters of one recording from its events alone.

    Stride time: from a contact to the next of the same side; its variability: SD about the mean of the side, both
    sides pooled, as percent of the mean; cadence: 120 / mean stride time; step time of a side: from the other side's
    contact to this side's next; symmetry index of Robinson RO, Herzog W, Nigg BM 1987 J Manipulative Physiol
    Ther 10:172-176, and the size of the log ratio, 100 |ln(right / left)|. Nothing is counted across spans.

    Parameters
    ----------
    events : DataFrame
        onset, duration, trial_type, side.
    gait_spans : mapping of gait state to ndarray, shape (n, 2)
        Where strides are counted, for each state.
    swallow_spans : ndarray, shape (n, 2), or None
        Where swallows are counted; None if they were not labelled.
    parameters : ValidateParameters
        `missed_contact_ratio`.
    drink : Drink, optional
        What was drunk in the recording: volume and time per swallow and speed are given as well, the rate is one of
        its own, and the time per swallow stands for the interval.

    Returns
    -------
    list of (measure, trial_type or None, value)
        Units in `UNITS`.
    """
    found: list[tuple[str, str | None, float]] = []
    for state, spans in sorted(gait_spans.items()):
        values = _gait_parameters(events, spans, parameters.missed_contact_ratio)
        found += [(measure, state, value) for measure, value in values.items()]
    if swallow_spans is not None:
        found += [(name, None, value) for name, value in _swallow_parameters(events, swallow_spans, drink).items()]
    return found


def _state_spans(labels: pd.DataFrame, scored: Floats | None, whole: Floats) -> dict[str, Floats]:
    """Labelled time of each gait state without turns; ``gait`` = all scored time if no state was labelled."""
    kind, _, onset, duration = _columns(labels)
    if not (kind == "initial_contact").any():
        return {}

    def spans(name: str) -> Floats:
        own = kind == name
        return merged(np.column_stack([onset[own], onset[own] + duration[own]]))

    turns = spans("turn")
    straight = np.column_stack([np.r_[-np.inf, turns[:, 1]], np.r_[turns[:, 0], np.inf]])
    states = {name: spans(name) for name in GAIT_STATES}
    states = {name: own for name, own in states.items() if len(own)} or {"gait": whole}
    limited = {name: intersect(intersect(own, scored), straight) for name, own in states.items()}
    return {name: own for name, own in limited.items() if own is not None and len(own)}


def labelled_against_detected(
    labels_by_recording: Mapping[str, pd.DataFrame],
    events_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    durations: Mapping[str, float],
    parameters: ValidateParameters,
    *,
    reported: pd.DataFrame | None = None,
    drinks: Mapping[str, Drink] | None = None,
) -> pd.DataFrame:
    """Compute each parameter from labels, and over the same time from detected events.

    Parameters
    ----------
    labels_by_recording, events_by_recording, participants
        As for `events.score_events`.
    durations : mapping of recording_id to float
        Length of each recording in seconds.
    parameters : ValidateParameters
        Settings.
    reported : DataFrame, optional
        recording_id, trial_type, measure, value (the long form of `measurements`): what the result tables
        report, which cover the detected bouts of the whole recording, is compared with the same labels in
        rows of its own.
    drinks : mapping of recording_id to Drink, optional
        What was drunk, where something was.

    Returns
    -------
    DataFrame
        recording_id, participant_id, measure, trial_type, detected_from, labelled, detected: one row for each
        recording, parameter and gait state; ``detected_from`` is ``events`` or ``result tables``; a parameter
        that the pipeline does not give is NaN.
    """
    rows = []
    told: dict[tuple[str, str, str | None], float] = {}
    measured = set() if reported is None else set(reported["measure"])
    for row in [] if reported is None else reported.to_dict("records"):
        told[str(row["recording_id"]), str(row["measure"]), text_or_none(row["trial_type"])] = float(row["value"])
    for recording in sorted(set(labels_by_recording) & set(events_by_recording)):
        labels, events = labels_by_recording[recording], events_by_recording[recording]
        whole = np.array([[0.0, durations[recording]]])
        scored = labelled_spans(labels)
        gait = _state_spans(labels, scored, whole)
        swallowed = (labels["trial_type"].to_numpy(dtype=object) == "swallow").any()
        swallows = (whole if scored is None else scored) if swallowed else None
        drink = (drinks or {}).get(recording)
        truth = {(m, s): v for m, s, v in event_parameters(labels, gait, swallows, parameters, drink)}
        found = {(m, s): v for m, s, v in event_parameters(events, gait, swallows, parameters, drink)}
        person = participants.get(recording) or recording
        rows += [(recording, person, *key, "events", value, found.get(key, math.nan)) for key, value in truth.items()]
        rows += [
            (recording, person, *key, "result tables", value, told.get((recording, *key), math.nan))
            for key, value in truth.items()
            if key[0] in measured
        ]
    return pd.DataFrame(rows, columns=list(_PAIRS))


def bend_angles(
    labels_by_recording: Mapping[str, pd.DataFrame],
    events_by_recording: Mapping[str, pd.DataFrame],
    participants: Mapping[str, str | None],
    parameters: ValidateParameters,
    *,
    calibrating: Collection[str] = (),
) -> pd.DataFrame:
    """Pair labelled bend angles with those of the matched detected bends.

    Parameters
    ----------
    labels_by_recording, events_by_recording, participants
        As for `events.score_events`; ``value`` is the angle in degrees.
    parameters : ValidateParameters
        The largest of `centre_tolerances_s` pairs the bends.
    calibrating : collection of str
        Recordings whose labels made the angle map: left out, since they would agree with themselves.

    Returns
    -------
    DataFrame
        As from `labelled_against_detected`, one row per bend.
    """
    rows = []
    for recording in sorted((set(labels_by_recording) & set(events_by_recording)) - set(calibrating)):
        both = []
        for frame in (without_straight_legs(labels_by_recording[recording]), events_by_recording[recording]):
            kind, sides, onset, duration = _columns(frame)
            value = frame["value"].to_numpy(dtype=np.float64, na_value=np.nan)
            bent = (kind == "knee_bend") & ~np.isnan(value)
            both.append((bent, sides, np.column_stack([onset, onset + duration]), value))
        for side in SIDES:
            own = [bent & (sides == side) for bent, sides, _, _ in both]
            bounds = [spans[mine] for mine, (_, _, spans, _) in zip(own, both, strict=True)]
            angles = [value[mine] for mine, (_, _, _, value) in zip(own, both, strict=True)]
            pairs = match_centres(bounds[0], bounds[1], max(parameters.centre_tolerances_s))
            rows += [
                (recording, participants.get(recording) or recording, "knee_bend_angle", None, "events", truth, found)
                for truth, found in zip(angles[0][pairs.reference], angles[1][pairs.estimate], strict=True)
            ]
    return pd.DataFrame(rows, columns=list(_PAIRS))


def _moments(labelled: Floats, detected: Floats, person: NDArray[Any]) -> Floats:
    """Make the sums by person that ICC(2,1) and CCC need: n, x, y, xx, yy, xy about the overall mean."""
    centre = float(np.concatenate([labelled, detected]).mean())
    x, y = labelled - centre, detected - centre
    columns = np.column_stack([np.ones(len(x)), x, y, x * x, y * y, x * y])
    _, who = np.unique(person, return_inverse=True)
    return np.stack([columns[who == i].sum(axis=0) for i in range(who.max() + 1)])


def _concordance_of(sums: Floats) -> Floats:
    n, x, y, xx, yy, xy = sums.T
    shift = (x - y) / n
    value: Floats = 2 * (xy / n - x * y / n**2) / (xx / n - (x / n) ** 2 + yy / n - (y / n) ** 2 + shift**2)
    return value


def _icc_of(sums: Floats) -> Floats:
    """ICC(2,1) of two methods from moments."""
    n, x, y, xx, yy, xy = sums.T
    grand = (x + y) / (2 * n)
    between = ((xx + yy + 2 * xy) / 2 - 2 * n * grand**2) / (n - 1)
    methods = n * ((x / n - grand) ** 2 + (y / n - grand) ** 2)
    error = ((xx + yy - 2 * xy) / 2 - methods) / (n - 1)
    value: Floats = (between - error) / (between + error + 2 * (methods - error) / n)
    return value


def label_timing(raters: pd.DataFrame) -> float:
    """Give the standard deviation of the time between two raters' marks of the same initial contact, in seconds.

    Parameters
    ----------
    raters : DataFrame
        Columns of ``validation/raters.tsv``; of the pairs of raters the one with most contacts, at the widest
        tolerance, both sides together.

    Returns
    -------
    float
        NaN where nobody labelled contacts twice.
    """
    rows = raters[(raters["trial_type"] == "initial_contact") & (raters["side"] == "all") & raters["sd"].notna()]
    if rows.empty:
        return math.nan
    widest = rows[rows["tolerance"] == rows["tolerance"].max()]
    return float(widest.sort_values("true_positive", kind="stable")["sd"].iloc[-1])


def _expected(measure: str, group: pd.DataFrame, strides: pd.DataFrame, apart_s: float) -> dict[str, Any]:
    """Say what the raters' timing alone makes of labelled stride-time variability.

    A stride lies between two labelled contacts. Where two raters differ by SD s, each errs by s / sqrt(2), and a
    labelled stride by s; independent of the walking, so that the squares add. Labels cannot validate where they are
    mostly that timing, or where a pipeline without any error would not agree well with them.
    """
    if measure != "stride_time_cv" or math.isnan(apart_s) or group.empty:
        return {}
    keys = ["recording_id", "trial_type", "detected_from"]
    both = group.merge(strides[[*keys, "labelled"]], on=keys, how="inner", suffixes=("", "_stride"))
    alone = 100.0 * apart_s / both["labelled_stride"].to_numpy(dtype=np.float64)
    detected = both["detected"].to_numpy(dtype=np.float64)
    expected = np.hypot(detected, alone)
    at_best = float("nan")
    if len(both) >= MINIMUM_PAIRS:
        sums = [
            len(both),
            expected.sum(),
            detected.sum(),
            expected @ expected,
            detected @ detected,
            expected @ detected,
        ]
        at_best = float(_icc_of(np.array([sums]))[0])
    mostly = float(np.mean(alone**2)) > 0.5 * float(np.mean(both["labelled"].to_numpy(dtype=np.float64) ** 2))
    return {
        "rater_timing_sd": apart_s,
        "from_rater_timing": float(alone.mean()),
        "labelled_expected": float(expected.mean()),
        "icc_at_best": at_best,
        "validity": CANNOT if mostly or at_best < GOOD_ICC else None,
    }


def compare_parameters(pairs: pd.DataFrame, parameters: ValidateParameters, apart_s: float = math.nan) -> pd.DataFrame:
    """Agreement of detected with labelled parameters.

    Bias and limits for repeated measures per person (Bland & Altman 2007); ICC(2,1) (Shrout & Fleiss 1979)
    and CCC (Lin 1989, variances 1/n) over all pairs, their intervals by bootstrap over participants. Measures that are
    signed by side (`measurements.SIGNED`) have neither these nor means: those are of their sizes.

    Parameters
    ----------
    pairs : DataFrame
        From `labelled_against_detected` and `bend_angles`, put together.
    parameters : ValidateParameters
        Multiplier of the limits, resamples, seed.
    apart_s : float
        From `label_timing`; NaN: nothing is expected of labels.

    Returns
    -------
    DataFrame
        Columns of ``validation/parameters.tsv``.
    """
    rows: list[dict[str, Any]] = []
    strides = pairs[pairs["measure"] == "stride_time_mean"]
    keys = ["measure", "trial_type", "detected_from"]
    for (measure, state, origin), group in pairs.groupby(keys, sort=True, dropna=False):
        both = group[np.isfinite(group["labelled"]) & np.isfinite(group["detected"])]
        x, y = both["labelled"].to_numpy(dtype=np.float64), both["detected"].to_numpy(dtype=np.float64)
        who = both["participant_id"].to_numpy(dtype=object).astype(str)
        limits = bland_altman_repeated(y, x, who, multiplier=parameters.limits_multiplier)
        estimates: dict[str, tuple[float, Interval]] = {}
        kinds: dict[str, tuple[float, Callable[[Floats], Floats]]] = {}
        signed = measure in SIGNED
        if len(both) > 2 and not signed:
            kinds = {
                "icc": (icc(np.column_stack([x, y]), "2,1").value, _icc_of),
                "ccc": (concordance(x, y).value, _concordance_of),
            }
        for name, (value, statistic) in kinds.items():
            interval = cluster_bootstrap(
                _moments(x, y, who), statistic, draws=parameters.bootstrap_draws, seed=parameters.seed
            )
            estimates[name] = (value, interval)
        nothing = no_interval(SIGNS_CANCEL if signed else "fewer than 3 pairs")
        columns = {n: estimates.get(n, (math.nan, nothing)) for n in ("icc", "ccc")}
        rows.append(
            {
                "measure": measure,
                "trial_type": text_or_none(state),
                "detected_from": origin,
                "unit": UNITS[str(measure)],
                "n_pairs": len(both),
                "n_not_detected": len(group) - len(both),
                "n_participants": len(set(who)),
                "labelled_mean": float(x.mean()) if len(x) and not signed else math.nan,
                "detected_mean": float(y.mean()) if len(y) and not signed else math.nan,
                **named_interval("bias", limits.bias, limits.bias_interval),
                "sd": limits.sd,
                "sd_within": limits.sd_within,
                "sd_between": limits.sd_between,
                **named_interval("loa_lower", limits.low, limits.low_interval),
                **named_interval("loa_upper", limits.high, limits.high_interval),
                **named_interval("icc", *columns["icc"]),
                **named_interval("ccc", *columns["ccc"]),
                **_expected(str(measure), both, strides, apart_s),
                "interval_method": f"bias and limits: {limits.low_interval.method}; "
                f"ICC and CCC: {columns['icc'][1].method}",
            }
        )
    return rows_frame(rows, PARAMETERS, parameter_words)
