"""What the recording itself says a swallow looks like, without labels.

In: waveform, size, length and plausibility of each candidate. Out: how like each is to the most typical ones.

A person's swallows under one sensor repeat one another; words, coughs and turns of the head do not. So the
waveform with the densest company among the plausible candidates is taken for typical, and every candidate is
compared with the mean of that company: shape (over its own length, so that a longer swallow is as like as a
shorter), size and length.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from .activity import Activity, Array

__all__ = ["compare_with_typical", "waveforms"]

COMPARISONS: Final = ("pattern_likeness", "log_size_ratio", "log_duration_ratio", "log_path_ratio")

_POINTS: Final = 24
_MOST: Final = 300
_COMPANY: Final = 0.25
_FEWEST: Final = 3
_ALIKE: Final = 0.85


def waveforms(activity: Activity, onset: npt.NDArray[np.intp], end: npt.NDArray[np.intp]) -> Array:
    """Slow waveform of each candidate over its own length, shape (m, 24): unit norm, sign and base line kept."""
    at = onset[:, None] + np.linspace(0, 1, _POINTS) * (end - onset)[:, None]
    waves = activity.slow[np.rint(at).astype(np.intp)]
    scaled: Array = waves / np.maximum(np.linalg.norm(waves, axis=1, keepdims=True), np.finfo(float).tiny)
    return scaled


def compare_with_typical(
    waves: Array, size: Array, duration: Array, path: Array, plausible: Array, lone: npt.NDArray[np.bool_]
) -> dict[str, Array]:
    """Compare candidates with the typical ones.

    Parameters
    ----------
    waves : array, shape (m, p)
        From `waveforms`.
    size, duration, path : array, shape (m,)
        Largest activity, length, and path of the level over twice the amplitude.
    plausible : array, shape (m,)
        0 to 1.
    lone : array of bool, shape (m,)
        Not in a longer run: these are asked first, for a long stretch of shaking or talk may outnumber swallows.

    Returns
    -------
    dict
        ``pattern_likeness`` (correlation with the typical waveform, -1 to 1), ``log_size_ratio``,
        ``log_duration_ratio`` and ``log_path_ratio`` (logarithms over the typical ones' median). Zeros where
        fewer than three plausible candidates make a company.
    """
    m = len(waves)
    chosen = np.flatnonzero((plausible >= 0.5) & lone)
    if len(chosen) < _FEWEST:
        chosen = np.flatnonzero(plausible >= 0.5)
    if len(chosen) < _FEWEST:
        return {name: np.zeros(m) for name in COMPARISONS}
    chosen = chosen[np.unique(np.linspace(0, len(chosen) - 1, min(len(chosen), _MOST)).astype(np.intp))]
    alike = waves[chosen] @ waves[chosen].T
    count = min(max(round(_COMPANY * len(chosen)), _FEWEST), len(chosen))
    nearest = np.argsort(-alike, axis=1, kind="stable")[:, :count]
    support = np.take_along_axis(alike, nearest, axis=1).mean(axis=1)
    company = chosen[nearest[int(np.argmax(support))]]
    pattern = waves[company].mean(axis=0)
    likeness = waves @ (pattern / np.linalg.norm(pattern))
    typical = (likeness >= _ALIKE) & (plausible >= 0.5)
    if not typical.any():
        typical = np.isin(np.arange(m), company)
    tiny = np.finfo(float).tiny
    return {
        "pattern_likeness": likeness,
        "log_size_ratio": np.log(np.maximum(size, tiny) / max(float(np.median(size[typical])), tiny)),
        "log_duration_ratio": np.log(duration / float(np.median(duration[typical]))),
        "log_path_ratio": np.log(np.maximum(path, 0.1) / max(float(np.median(path[typical])), 0.1)),
    }
