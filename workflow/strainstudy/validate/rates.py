"""From tallies to precision, recall, F1 and timing error, with intervals.

Single recordings: Wilson's interval, events taken as independent; for F1 = 2 J / (1 + J), with J the share of
matched among all different events (labelled or detected), a plain proportion, so that its Wilson limits map
onto F1. Several recordings: bootstrap over participants, because the events of one person are not
independent; where every person has the same perfect or zero score, resampling shows no spread and Wilson's
interval of the pooled counts is given instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..stats.agreement import bland_altman, bland_altman_repeated
from ..stats.intervals import MINIMUM_CLUSTERS, Interval, cluster_bootstrap, no_interval, wilson
from .parameters import ValidateParameters
from .scoring import Tally

__all__ = ["f1_of", "named_interval", "person_counts", "precision_of", "rates", "recall_of", "timing_columns"]

Floats = NDArray[np.float64]


def precision_of(sums: Floats) -> Floats:
    """Precision from sums of true positives, false positives, false negatives in the first three columns."""
    with np.errstate(divide="ignore", invalid="ignore"):
        value: Floats = sums[:, 0] / (sums[:, 0] + sums[:, 1])
    return value


def recall_of(sums: Floats) -> Floats:
    """Recall from the same sums."""
    with np.errstate(divide="ignore", invalid="ignore"):
        value: Floats = sums[:, 0] / (sums[:, 0] + sums[:, 2])
    return value


def f1_of(sums: Floats) -> Floats:
    """F1 from the same sums."""
    with np.errstate(divide="ignore", invalid="ignore"):
        value: Floats = 2 * sums[:, 0] / (2 * sums[:, 0] + sums[:, 1] + sums[:, 2])
    return value


def person_counts(tallies: Sequence[Tally]) -> tuple[list[str], Floats]:
    """Sum counts over each person's recordings.

    Returns
    -------
    people : list of str
        In alphabetical order.
    sums : ndarray, shape (people, 3)
        True positives, false positives, false negatives.
    """
    people = sorted({t.participant_id for t in tallies})
    place = {person: i for i, person in enumerate(people)}
    sums = np.zeros((len(people), 3))
    for t in tallies:
        sums[place[t.participant_id]] += (t.true_positive, t.false_positive, t.false_negative)
    return people, sums


def named_interval(name: str, value: float, interval: Interval) -> dict[str, float]:
    """Return the three columns of an estimate."""
    return {name: value, f"{name}_low": interval.low, f"{name}_high": interval.high}


def _wilson_f1(hit: float, false: float, missed: float) -> Interval:
    share = wilson(hit, hit + false + missed)
    low, high = (2 * j / (1 + j) for j in (share.low, share.high))
    return Interval(low, high, share.method)


def rates(tallies: Sequence[Tally], parameters: ValidateParameters, *, pooled: bool) -> dict[str, Any]:
    """Make counts, precision, recall and F1 with intervals.

    Parameters
    ----------
    tallies : sequence of Tally
        Of one type, side and criterion.
    parameters : ValidateParameters
        Resamples and seed.
    pooled : bool
        Whether the interval must hold for people (bootstrap) or for the events of one recording (Wilson).

    Returns
    -------
    dict
        Columns of ``validation/events.tsv``.
    """
    people, sums = person_counts(tallies)
    total = sums.sum(axis=0)[None, :]
    hit, false, missed = (float(x) for x in total[0])
    plain = {
        "precision": wilson(hit, hit + false),
        "recall": wilson(hit, hit + missed),
        "f1": _wilson_f1(hit, false, missed),
    }
    statistics: dict[str, Callable[[Floats], Floats]] = {
        "precision": precision_of,
        "recall": recall_of,
        "f1": f1_of,
    }
    row: dict[str, Any] = {
        "n_recordings": len({t.recording_id for t in tallies}),
        "n_participants": len(people),
        "n_labelled": int(hit + missed),
        "n_detected": int(hit + false),
        "true_positive": int(hit),
        "false_positive": int(false),
        "false_negative": int(missed),
    }
    methods = {}
    for name, statistic in statistics.items():
        value = float(statistic(total)[0])
        interval = plain[name]
        if pooled and len(people) < MINIMUM_CLUSTERS:
            interval = no_interval(f"fewer than {MINIMUM_CLUSTERS} participants")
        elif pooled and 0 < value < 1:
            interval = cluster_bootstrap(sums, statistic, draws=parameters.bootstrap_draws, seed=parameters.seed)
        elif pooled and math.isfinite(value):
            interval = Interval(interval.low, interval.high, "Wilson, as no participant differs")
        row |= named_interval(name, value, interval)
        methods[name] = interval.method
    different = set(methods.values())
    row["interval_method"] = (
        different.pop() if len(different) == 1 else "; ".join(f"{name}: {method}" for name, method in methods.items())
    )
    return row


def timing_columns(tallies: Sequence[Tally], parameters: ValidateParameters, *, pooled: bool) -> dict[str, float]:
    """Bias, spread and limits of agreement of the timing of matched events.

    Pooled over recordings the limits are those for repeated measures per person.
    """
    timing = np.concatenate([t.timing for t in tallies])
    duration = np.concatenate([t.duration for t in tallies])
    nothing = np.zeros(len(timing))
    if pooled:
        person = np.repeat([t.participant_id for t in tallies], [len(t.timing) for t in tallies])
        limits = bland_altman_repeated(timing, nothing, person, multiplier=parameters.limits_multiplier)
    else:
        limits = bland_altman(timing, nothing, multiplier=parameters.limits_multiplier)
    interval = tallies[0].criterion.name != "time"
    few = len(duration) < 2
    return {
        **named_interval("bias", limits.bias, limits.bias_interval),
        "median": float(np.median(timing)) if len(timing) else math.nan,
        "sd": limits.sd,
        **named_interval("loa_lower", limits.low, limits.low_interval),
        **named_interval("loa_upper", limits.high, limits.high_interval),
        "duration_bias": float(duration.mean()) if interval and len(duration) else math.nan,
        "duration_sd": float(duration.std(ddof=1)) if interval and not few else math.nan,
    }
