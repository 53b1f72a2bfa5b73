"""Windows to bouts: rest, turns and normal or limping gait over time, with the limping side and its evidence.

In: the rule-made states of each recording (they tile it) and its windows with probabilities. Out: bouts. Rest, turns
and what is neither come from the rules of gait detection; the classifier parts gait into normal and limping. Every
bout says what made it: ``out_of_fold`` (a model that never saw this person), ``final`` (the stored model, for people
without labels), ``rule`` (published limits), and carries a caution where it should be doubted.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..vocabulary import GAIT_STATES
from .state_parameters import StateParameters
from .timeline import changes, decode, owned_spans

__all__ = ["BOUT_COLUMNS", "GAIT", "bouts_of"]

FloatArray = NDArray[np.float64]

GAIT = "gait"
MIDDLES = (
    "stride_time",
    "stance_fraction",
    "step_time_log_ratio",
    "swing_time_log_ratio",
    "response_log_ratio",
    "range_of_motion",
    "range_of_motion_log_ratio",
    "swing_peak",
    "swing_peak_difference",
)
"""Features that are medians of a window's strides. Not those of its mean curve, in which large strides outweigh small
ones, nor those of scatter, which are highest in a window that holds strides of two kinds."""
BOUT_COLUMNS = (
    "recording_id",
    "onset",
    "duration",
    "trial_type",
    "probability",
    "limping_side",
    "side_probability",
    "prediction",
    "caution",
    "turns_known",
)


def _runs(keys: list[tuple[object, ...]]) -> list[tuple[int, int]]:
    """Find the first and last-but-one place of every run of equal keys."""
    edges = [0, *(i for i in range(1, len(keys)) if keys[i] != keys[i - 1]), len(keys)]
    return [(a, b) for a, b in itertools.pairwise(edges) if b > a]


def _pieces(
    start: float, end: float, windows: pd.DataFrame, parameters: StateParameters, prediction: str
) -> list[dict[str, object]]:
    """Make the bouts of one walk from its windows (in order of time)."""
    plain = {"limping_side": None, "side_probability": np.nan, "probability": np.nan}
    p = windows["probability_limping"].to_numpy(dtype=float)
    if not len(windows) or not np.isfinite(p).any():
        why = "too few strides to classify" if not len(windows) else "no feature that the classifier knows"
        return [{"onset": start, "duration": end - start, "trial_type": GAIT, **plain, "caution": why}]
    centres, length = (windows[name].to_numpy(dtype=float) for name in ("time", "duration"))
    edges = owned_spans(centres, start, end)
    path = decode(np.column_stack([1.0 - p, p]), edges, length, parameters.bout_min_s)
    middles = windows[[name for name in MIDDLES if name in windows]].to_numpy(dtype=float)
    bounds = np.concatenate([[start], changes(path, edges, centres, length, middles), [end]])
    left = windows["probability_left"].to_numpy(dtype=float)
    owned = np.diff(edges)
    flags = windows["caution"].to_numpy(dtype=object)
    pieces: list[dict[str, object]] = []
    for number, (a, b) in enumerate(_runs([(c,) for c in path.tolist()])):
        limping = bool(path[a])
        there = np.isfinite(p[a:b])
        weight = np.where(there, owned[a:b] + 1e-9, 0.0)
        probability = float((np.nan_to_num(p[a:b]) * weight).sum() / weight.sum()) if there.any() else np.nan
        probability = probability if limping else 1.0 - probability
        side, certainty = None, np.nan
        cautions = [c for c in dict.fromkeys(flags[a:b].tolist()) if c]
        if limping:
            known = np.isfinite(left[a:b])
            heavy = np.where(known, weight * np.nan_to_num(p[a:b]), 0.0)
            if heavy.sum() > 0:
                chance = float((np.nan_to_num(left[a:b]) * heavy).sum() / heavy.sum())
                if chance != 0.5:
                    side, certainty = ("left", chance) if chance > 0.5 else ("right", 1.0 - chance)
            if side is None:
                cautions.append("side not known")
            elif certainty < parameters.probability_min:
                cautions.append("side not sure")
        if prediction == "rule":
            probability, certainty = np.nan, np.nan
        elif probability < parameters.probability_min:
            cautions.append("not sure")
        pieces.append(
            {
                "onset": float(bounds[number]),
                "duration": float(bounds[number + 1] - bounds[number]),
                "trial_type": GAIT_STATES[int(limping)],
                "probability": probability,
                "limping_side": side,
                "side_probability": certainty,
                "caution": "; ".join(cautions) or None,
            }
        )
    return pieces


def _cut(pieces: Iterable[dict[str, object]], spans: list[tuple[float, float]]) -> list[dict[str, object]]:
    """Keep the parts of the pieces that lie in the gait spans of the walk (turns inside it are cut out)."""
    out = []
    for piece in pieces:
        onset, end = float(piece["onset"]), float(piece["onset"]) + float(piece["duration"])  # type: ignore[arg-type]
        for a, b in spans:
            low, high = max(onset, a), min(end, b)
            if high > low:
                out.append({**piece, "onset": low, "duration": high - low})
    return out


def bouts_of(
    recording_id: str,
    states: pd.DataFrame,
    windows: pd.DataFrame,
    parameters: StateParameters,
    prediction: str,
) -> pd.DataFrame:
    """Make the bouts of one recording.

    Parameters
    ----------
    recording_id : str
        Whose.
    states : DataFrame
        ``onset, duration, trial_type`` (rest, gait, turn, ...) and, where known, ``walk``: rows of one walk share a
        number of 0 or more; without it touching gait and turn rows are one walk; ``turns_known`` where it is known.
    windows : DataFrame
        ``time, duration, probability_limping, probability_left`` (of a limp being left), ``caution``.
    parameters : StateParameters
        Minimum bout length and when to be unsure.
    prediction : {'out_of_fold', 'final', 'rule'}
        What made the probabilities.

    Returns
    -------
    DataFrame
        `BOUT_COLUMNS` in order of time; neighbours of one kind are joined.
    """
    rows: list[dict[str, object]] = []
    states = states.sort_values("onset", kind="stable", ignore_index=True)
    windows = windows.sort_values("time", kind="stable", ignore_index=True)
    kind = states["trial_type"].tolist()
    onset = states["onset"].to_numpy(dtype=float)
    end = onset + states["duration"].to_numpy(dtype=float)
    walking = [k in (GAIT, "turn") for k in kind]
    number = states["walk"].tolist() if "walk" in states else [0 if w else -1 for w in walking]
    shown = states["turns_known"].tolist() if "turns_known" in states else [None] * len(states)
    time = windows["time"].to_numpy(dtype=float)
    for a, b in _runs(list(zip(walking, number, strict=True))):
        if not walking[a]:
            rows += [{"onset": onset[i], "duration": end[i] - onset[i], "trial_type": kind[i]} for i in range(a, b)]
            continue
        start, stop = float(onset[a]), float(end[b - 1])
        own = windows[(time >= start) & (time < stop)]
        spans = [(float(onset[i]), float(end[i])) for i in range(a, b) if kind[i] == GAIT]
        joined: list[tuple[float, float]] = []
        for low, high in spans:
            if joined and low - joined[-1][1] < 1e-6:
                joined[-1] = (joined[-1][0], high)
            else:
                joined.append((low, high))
        pieces = _cut(_pieces(start, stop, own, parameters, prediction), joined)
        rows += [{**piece, "turns_known": shown[a]} for piece in pieces]
        rows += [
            {"onset": onset[i], "duration": end[i] - onset[i], "trial_type": "turn", "turns_known": shown[i]}
            for i in range(a, b)
            if kind[i] == "turn"
        ]
    frame = pd.DataFrame(rows, columns=[c for c in BOUT_COLUMNS if c not in ("recording_id", "prediction")])
    frame = frame.sort_values("onset", kind="stable", ignore_index=True)
    frame.insert(0, "recording_id", recording_id)
    frame["turns_known"] = frame["turns_known"].astype("boolean")
    gait = frame["trial_type"].isin(GAIT_STATES).to_numpy()
    frame["prediction"] = np.where(gait, prediction, "rule")
    return _join(frame)[list(BOUT_COLUMNS)]


def _join(frame: pd.DataFrame) -> pd.DataFrame:
    """Join rows of rest, turn and the like that touch and are of one kind; gait pieces come joined already."""
    keep: list[int] = []
    durations = frame["duration"].to_numpy(dtype=float).copy()
    onset = frame["onset"].to_numpy(dtype=float)
    kinds = frame["trial_type"].tolist()
    for i in range(len(frame)):
        if keep and kinds[i] == kinds[keep[-1]] and kinds[i] not in GAIT_STATES:
            j = keep[-1]
            if abs(onset[i] - (onset[j] + durations[j])) < 1e-6:
                durations[j] = onset[i] + durations[i] - onset[j]
                continue
        keep.append(i)
    return frame.assign(duration=durations).iloc[keep].reset_index(drop=True)
