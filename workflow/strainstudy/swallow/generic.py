"""Which candidates are swallows where a study has no labels: a score from what is known of swallowing.

In: candidates with their features. Out: a score from 0 to 1 for each, or the mask of those accepted. Every part
of the score says how well one thing fits, from 0 to 1, and they are multiplied: one thing that does not fit at
all is enough to reject. Nothing is learnt from labels. What is asked of every candidate:

- a swallow lasts about a second, seldom less than half and seldom more than two and a half;
- the larynx comes back to where it was: posture changes do not;
- its energy rises once and falls once, with the most of it in the middle;
- it stands out of this channel's own rest, and is not small beside what else could be a swallow;
- without strokes it has its like in the session: one smooth rise and fall may as well be a nod;
- its strokes are slow: coughs, shaking and noise have their power above 6 Hz and turn more often;
- what follows without a pause is of one kind: sips after sips, words after words.

Many sensors give a person's swallows one waveform, and then it tells more than all of this: speech and turns of the
head have others. A film does not: there two true swallows may be as unlike as any two movements. So likeness is
evidence only where it is seen, that is where a good part of all that could be swallows in the session is alike.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from .activity import Array
from .company import FEWEST_SIPS
from .features import RUN_PAUSE_S
from .parameters import SwallowParameters

# With both likenesses unknown, a candidate must be plausible to three quarters to reach the usual limit of 0.6.
_TOO_FEW = 0.7
# Correlation among the most alike quarter of what could be swallows, from which likeness begins to count and counts
# alone. The film's swallows stay below, those of sensors that follow the skin or let go above.
_ALIKE = (0.97, 0.985)
# Where what is most alike is quicker than coughs are, the sensor rings, and pace says nothing.
_RINGING = (1.1, 1.4)
# Quickness of -1 is the middle of real swallows, 1 that of real coughs.
_SLOW, _QUICK = 0.2, 0.6
# Logarithm of size against the largest movement that could be a swallow: 0.15 and 0.3 of it.
_SMALL = (-1.9, -1.2)
# By how much slower a movement is than that largest one: bursts and slow humps are not of one sensor's swallows.
_SLOWER = (0.9, 1.4)
# Logarithm of how many times fewer turning points it has than that largest one, for pace cannot fall below a limit.
_FEWER_TURNS = (1.0, 1.5)
# Fit of the outline to a single hump, from which it begins to count and counts in full.
_UNEVEN = (0.3, 0.6)
# Activity over that of rest. Humps of a real throat at rest reach 2 to 5.6 times what rest spans, the smallest of real
# swallows 6 (33 recordings); activity, which leaves the pulse out of rest, comes to nearly twice that.
_OVER_REST = (6.0, 8.5)
# Centre of gravity in Hz, turning points and share of the power above 6 Hz from which a movement is a burst: real
# swallows under a film have 2.6 Hz, 4 points and 0.13 at least, humps of a sensor that follows the skin 2.1 Hz and 0.07
# at most (simulated).
_STROKES_HZ, _STROKES, _SHAKES = 2.4, 3.0, 0.09
# Share of the energy of all that stands out of rest that bursts must have for the sensor to be one that gives them.
_BURSTS = 0.3
# Distance in the logarithm of size to the next movement without strokes: one without its like may be a nod as well.
_ONLY = (0.5, 0.9)
# A burst with another next to it, within so many seconds and so close in the logarithm of size, stands out of rest as
# if it were so many times larger: humps of rest come alone, and most of them are quick.
_PAIR, _PAIR_S, _SAME_SIZE = 1.25, 10.0, 0.5
# Mean activity of the two seconds on the busier side over that within: coughs come one upon another.
_BUSY = (0.25, 0.5)
# From this `sip_score` a candidate may be a sip against what a classifier makes of single movements.
_SURE_SIP = 0.75

__all__ = ["accept_generic", "generic_score", "gives_bursts", "plausibility", "sip_score", "sure_sips"]


def _fits(values: Array, zero_below: float, one_from: float, one_to: float, zero_above: float) -> Array:
    """Trapezoid: 1 between the inner limits, 0 outside the outer, straight between."""
    fit: Array = np.interp(
        values, [zero_below, one_from, one_to, zero_above], [0.0, 1.0, 1.0, 0.0], left=0.0, right=0.0
    )
    return fit


def _upto(values: Array, one_to: float, zero_above: float) -> Array:
    return _fits(values, -np.inf, -1e9, one_to, zero_above)


def _from(values: Array, zero_below: float, one_from: float) -> Array:
    return _fits(values, zero_below, one_from, 1e9, np.inf)


def _known(fit: Array, otherwise: float = _TOO_FEW) -> Array:
    """Replace what is not known because a session has too few movements to say what is typical."""
    return np.where(np.isnan(fit), otherwise, fit)


def _mean_of(parts: list[Array]) -> Array:
    product: Array = np.prod(np.array(parts), axis=0) ** (1 / len(parts))
    return product


def plausibility(candidates: pd.DataFrame, parameters: SwallowParameters) -> Array:
    """Say how well each candidate by itself fits a swallow, 0 to 1, shape (m,)."""
    shortest, longest = parameters.shortest_s, parameters.longest_s
    parts = [
        _fits(candidates["duration_s"].to_numpy(), 0.75 * shortest, 1.25 * shortest, 0.8 * longest, 1.2 * longest),
        _upto(candidates["level_change"].to_numpy(), 0.3, 1.0),
        _fits(candidates["peak_position"].to_numpy(), 0.0, 0.15, 0.85, 1.0),
        _from(candidates["rise_time_s"].to_numpy(), 0.05, 0.12),
        _fits(candidates["centre_position"].to_numpy(), 0.2, 0.35, 0.65, 0.8),
    ]
    return _mean_of(parts)


def _in_run(candidates: pd.DataFrame, alone: Array) -> Array:
    """Temper each score by the median of its run."""
    pause = candidates["pause_before_s"].to_numpy(dtype=np.float64)
    run = np.cumsum(pause > RUN_PAUSE_S)
    company = pd.Series(alone).groupby(run).transform("median").to_numpy()
    tempered: Array = np.sqrt(alone * company)
    return tempered


def _by_likeness(candidates: pd.DataFrame, parameters: SwallowParameters) -> Array:
    """Score by what a session's swallows have in common with one another."""
    parts = [
        plausibility(candidates, parameters),
        _known(_from(candidates["pattern_likeness"].to_numpy(dtype=np.float64), 0.6, 0.9)),
        _known(_from(candidates["waveform_likeness"].to_numpy(dtype=np.float64), 0.5, 0.8)),
        _known(_fits(candidates["log_size_ratio"].to_numpy(dtype=np.float64), -1.6, -0.7, 0.7, 1.6), 1.0),
        _known(_fits(candidates["log_duration_s_ratio"].to_numpy(dtype=np.float64), -0.9, -0.5, 0.5, 0.9), 1.0),
        _known(_fits(candidates["log_path_length_ratio"].to_numpy(dtype=np.float64), -0.9, -0.4, 0.4, 0.9), 1.0),
    ]
    return _in_run(candidates, np.sqrt(np.prod(np.array(parts), axis=0)))


def _by_outline(candidates: pd.DataFrame, parameters: SwallowParameters) -> Array:
    """Score by what is alike in swallows whose waveforms are not."""
    shortest, longest = parameters.shortest_s, parameters.longest_s

    def of(name: str) -> Array:
        return candidates[name].to_numpy(dtype=np.float64)

    run = np.cumsum(of("pause_before_s") > RUN_PAUSE_S)
    energy = of("size") ** 2 * of("duration_s")
    pace = of("quickness")

    def of_run(values: Array) -> Array:
        """Mean over the run, each candidate counting by its energy: the larger part says what a run is."""
        sums = pd.DataFrame({"weight": energy, "value": energy * values}).groupby(run).transform("sum")
        mean: Array = (sums["value"] / np.maximum(sums["weight"], np.finfo(float).tiny)).to_numpy()
        return mean

    pace = (pace + of_run(pace)) / 2
    came_back = _upto(of("level_change"), 0.3, 1.0)
    if gives_bursts(candidates):
        # Strokes tell more than the level, which a head that moves meanwhile takes elsewhere.
        came_back[_bursts(candidates)] = 1.0
    shape = [
        _fits(of("duration_s"), 1.25 * shortest, 2.0 * shortest, 0.8 * longest, 1.2 * longest),
        came_back,
        _fits(of("peak_position"), 0.0, 0.15, 0.85, 1.0),
        _fits(of("centre_position"), 0.2, 0.35, 0.65, 0.8),
        _upto(pace, _SLOW, _QUICK),
    ]
    by_itself = np.prod(np.array(shape), axis=0)
    size = np.log(np.maximum(of("size"), np.finfo(float).tiny))
    stream = of("stream")
    rows = pd.DataFrame({"stream": stream, "size": np.where(by_itself >= 0.5, size, -np.inf), "pace": pace})
    # The largest movement that could be a swallow shows how quick and how large swallows are under this sensor.
    first = rows["size"].groupby(stream).transform("idxmax").to_numpy()
    largest = rows["size"].to_numpy()[first]
    known = np.isfinite(largest)
    beside = np.where(known, size - largest, 0.0)
    slower = np.where(known, pace[first] - pace, 0.0)
    turns = np.log(np.maximum(of("turning_points"), 1.0))
    fewer = np.where(known, turns[first] - turns, 0.0)
    parts = [
        by_itself,
        _from(beside, *_SMALL),
        _upto(slower, *_SLOWER),
        _upto(fewer, *_FEWER_TURNS),
        _from(of("outline_fit"), *_UNEVEN),
        _upto(np.maximum(of("activity_before"), of("activity_after")), *_BUSY),
    ]
    alone = np.sqrt(np.prod(np.array(parts), axis=0))
    tempered: Array = np.sqrt(alone * of_run(alone))
    smooth = of("stroke_hz") < _STROKES_HZ
    could = smooth & (tempered >= parameters.generic_score)
    score: Array = np.where(smooth, tempered * _upto(_nearest(size, could), *_ONLY), tempered)
    return score


def _nearest(values: Array, among: npt.NDArray[np.bool_]) -> Array:
    """Distance of each to the nearest other one of those, infinite without one; infinite outside them as well."""
    distance = np.full(len(values), np.inf)
    order = np.flatnonzero(among)[np.argsort(values[among], kind="stable")]
    steps = np.concatenate([[np.inf], np.diff(values[order]), [np.inf]])
    distance[order] = np.minimum(steps[:-1], steps[1:])
    return distance


def _in_pairs(candidates: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Say which slow bursts have another of about their size next to them."""

    def of(name: str) -> Array:
        return candidates[name].to_numpy(dtype=np.float64)

    fit = _bursts(candidates, _OVER_REST[0] / _PAIR) & (of("quickness") <= _SLOW) & (of("outline_fit") >= _UNEVEN[1])
    at = np.flatnonzero(fit)
    size = np.log(np.maximum(of("size")[at], np.finfo(float).tiny))
    near = (np.diff(of("onset")[at]) <= _PAIR_S) & (np.diff(of("stream")[at]) == 0)
    close = near & (np.abs(np.diff(size)) <= _SAME_SIZE)
    pair = np.zeros(len(candidates), dtype=bool)
    pair[at[:-1][close]] = True
    pair[at[1:][close]] = True
    return pair


def _alike(candidates: pd.DataFrame) -> Array:
    """Say how far likeness is evidence in this session, 0 to 1."""
    closeness = candidates["typical_closeness"].to_numpy(dtype=np.float64)
    seen = np.maximum(_from(np.nan_to_num(closeness), *_ALIKE), _ringing(candidates))
    # Of too few movements nobody knows either.
    alike: Array = np.where(np.isnan(closeness), 0.0, seen)
    return alike


def _bursts(candidates: pd.DataFrame, over_rest: float = _OVER_REST[0]) -> npt.NDArray[np.bool_]:
    """Say which candidates stand out of rest and have strokes, as real swallows under a film have."""

    def of(name: str) -> Array:
        return candidates[name].to_numpy(dtype=np.float64)

    strokes = (of("stroke_hz") >= _STROKES_HZ) & (of("turning_points") >= _STROKES) & (of("fast_share") >= _SHAKES)
    bursts: npt.NDArray[np.bool_] = strokes & (of("over_rest") >= over_rest)
    return bursts


def gives_bursts(candidates: pd.DataFrame) -> bool:
    """Say whether this sensor makes bursts of strokes of movements, with no waveform that its swallows share.

    Under such a sensor what is slower than strokes is no swallow, and hides those that it meets.

    Parameters
    ----------
    candidates : DataFrame
        As for `generic_score`, with ``stroke_hz`` and ``fast_share``.

    Returns
    -------
    bool
    """
    if _alike(candidates).max() > 0:
        return False
    energy = (candidates["size"] ** 2 * candidates["duration_s"]).to_numpy(dtype=np.float64)
    stands_out = candidates["over_rest"].to_numpy(dtype=np.float64) >= _OVER_REST[0]
    return bool(energy[_bursts(candidates)].sum() >= _BURSTS * energy[stands_out].sum() > 0)


def _ringing(candidates: pd.DataFrame) -> Array:
    return _from(np.nan_to_num(candidates["typical_quickness"].to_numpy(dtype=np.float64)), *_RINGING)


def sip_score(candidates: pd.DataFrame, parameters: SwallowParameters) -> Array:
    """Score sips by the sips beside them: one is as another, in waveform, length and size, and they keep time.

    Parameters
    ----------
    candidates, parameters
        As for `generic_score`.

    Returns
    -------
    array, shape (m,)
        0 to 1; 0 in runs of fewer than three.
    """

    def of(name: str) -> Array:
        return candidates[name].to_numpy(dtype=np.float64)

    parts = [
        plausibility(candidates, parameters),
        _from(of("run_likeness"), 0.5, 0.75),
        _upto(of("run_interval_cv"), 0.18, 0.3),
        _upto(of("run_duration_spread"), 0.25, 0.4),
        _upto(of("run_size_spread"), 0.4, 0.7),
        np.maximum(_upto(of("quickness"), _SLOW, _QUICK), _ringing(candidates)),
        _known(_from(of("log_size_ratio"), -1.1, -0.6), 1.0),
        _known(_upto(of("log_path_length_ratio"), 0.4, 0.9), 1.0),
    ]
    alone = np.where(of("run_count") >= FEWEST_SIPS, np.sqrt(np.prod(np.array(parts), axis=0)), 0.0)
    return _in_run(candidates, alone)


def generic_score(candidates: pd.DataFrame, parameters: SwallowParameters, sips: Array | None = None) -> Array:
    """Score candidates without labels.

    Parameters
    ----------
    candidates : DataFrame
        With the features of `SWALLOW_FEATURES`, ``size``, ``stream``, ``turning_points``, ``outline_fit``,
        ``over_rest``, ``quickness``, ``stroke_hz``, ``fast_share``, ``onset``, ``typical_closeness`` and
        ``typical_quickness``.
    parameters : SwallowParameters
    sips : array, shape (m,), optional
        Their `sip_score`, where it is known already.

    Returns
    -------
    array, shape (m,)
        0 to 1.
    """
    alike = _alike(candidates)
    one = alike * _by_likeness(candidates, parameters) + (1 - alike) * _by_outline(candidates, parameters)
    over = candidates["over_rest"].to_numpy(dtype=np.float64) * np.where(_in_pairs(candidates), _PAIR, 1.0)
    above = np.sqrt(_from(over, *_OVER_REST))
    sips = sip_score(candidates, parameters) if sips is None else sips
    score: Array = above * np.maximum(one, sips)
    return score


def accept_generic(candidates: pd.DataFrame, parameters: SwallowParameters) -> npt.NDArray[np.bool_]:
    """Say which candidates are taken for swallows where there is no trained classifier, shape (m,)."""
    accepted: npt.NDArray[np.bool_] = candidates["score"].to_numpy(dtype=float) >= parameters.generic_score
    return accepted


def sure_sips(candidates: pd.DataFrame, parameters: SwallowParameters) -> npt.NDArray[np.intp]:
    """Say which candidates are sips by the sips beside them, and to which run of sips each belongs.

    Parameters
    ----------
    candidates : DataFrame
        ``recording_id, pause_before_s, sip_score, score``; each recording by onset.
    parameters : SwallowParameters

    Returns
    -------
    array of int, shape (m,)
        Number of the run; -1 for what is no sure sip. A sip stands out of rest as every swallow does.
    """
    other = candidates["recording_id"].ne(candidates["recording_id"].shift())
    run = np.cumsum(other | (candidates["pause_before_s"] > RUN_PAUSE_S))
    sure = (candidates["sip_score"] >= _SURE_SIP) & accept_generic(candidates, parameters)
    runs: npt.NDArray[np.intp] = np.where(sure, run, -1).astype(np.intp)
    return runs
