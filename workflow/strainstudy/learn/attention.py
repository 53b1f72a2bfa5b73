"""Where a human should look: the worst mistakes, and the spans whose labels would teach most.

In: predictions of every window, by the classifier or the rule that stands in for it. Out: two lists of spans with
reasons. A span to label next is one whose prediction is not sure, that is unlike what is labelled in other people, and
that has no label yet; these three are multiplied (uncertainty and density-weighted sampling: Settles 2009, Active
Learning Literature Survey, sections 3.1 and 3.6; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from .feature_rows import log_loss
from .parameters import LearnParameters

__all__ = ["LABEL_NEXT_COLUMNS", "MISTAKE_COLUMNS", "label_next", "mistakes", "novelty"]

FloatArray = NDArray[np.float64]

SPAN_S = 15.0
"""Longest span listed: enough to judge, short enough to watch."""
MISTAKE_ROWS = 20
"""Mistakes that are listed (ours)."""
LABELLED_WORTH = 0.2
"""A label that is already there and agrees teaches little when it is given again."""
DISPUTED_WORTH = 0.6
"""Worth of a label that the prediction contradicts; one that is missing has 1 (ours)."""
_NEED = {
    "no": 1.0,
    "in part": LABELLED_WORTH,
    "unpredicted": LABELLED_WORTH,
    "agrees": LABELLED_WORTH,
    "disputed": DISPUTED_WORTH,
}
"""What a further label is worth, by what there is."""
SURE = 0.3
"""Uncertainty, 0 to 1, from which the prediction of a stretch is said not to be sure (ours)."""
NOVEL = 0.6
"""Novelty, 0 to 1, from which a stretch is said to be unlike what is labelled in other people (ours)."""

MISTAKE_COLUMNS = (
    "rank", "recording_id", "participant_id", "onset", "duration", "label", "predicted", "probability", "log_loss",
)  # fmt: skip
LABEL_NEXT_COLUMNS = (
    "rank", "recording_id", "participant_id", "onset", "duration", "predicted", "probability", "uncertainty",
    "novelty", "labelled", "worth", "reason",
)  # fmt: skip


def novelty(x: FloatArray, known: NDArray[np.bool_], groups: NDArray[np.object_]) -> FloatArray:
    """How unlike the labelled windows of other people each window is, shape (n,), 0 to 1.

    Distance to the nearest of them in robustly scaled features, as a share of itself plus the median of those
    distances between labelled windows: one half is as far as labelled windows of different people usually are.
    """
    if not known.any():
        return np.ones(len(x))
    x = x[:, np.isfinite(x[known]).any(axis=0)]
    centre = np.nanmedian(x[known], axis=0)
    spread = np.nanquantile(x[known], 0.75, axis=0) - np.nanquantile(x[known], 0.25, axis=0)
    keep = np.isfinite(centre) & (spread > 0)
    z = np.clip(np.nan_to_num((x[:, keep] - centre[keep]) / spread[keep], nan=0.0), -10.0, 10.0)
    nearest = np.full(len(x), np.inf)
    for person in sorted(set(groups.tolist())):
        at = groups == person
        others = z[known & ~at]
        if not len(others):
            continue
        square = (z[at] ** 2).sum(axis=1)[:, None] + (others**2).sum(axis=1) - 2 * z[at] @ others.T
        nearest[at] = np.sqrt(np.maximum(square, 0.0).min(axis=1))
    usual = float(np.median(nearest[known])) if np.isfinite(nearest[known]).all() else 1.0
    usual = usual if usual > 0 else 1.0
    with np.errstate(invalid="ignore"):
        return np.where(np.isfinite(nearest), nearest / (nearest + usual), 1.0)


def _spans(windows: pd.DataFrame, key: pd.Series) -> list[NDArray[np.intp]]:
    """Neighbouring windows of a recording with the same key, cut so that no span's centres cover more than `SPAN_S`."""
    spans: list[list[int]] = []
    recording = windows["recording_id"].tolist()
    time = windows["time"].to_numpy(dtype=float)
    duration = windows["duration"].to_numpy(dtype=float)
    keys = key.tolist()
    for i in range(len(windows)):
        if spans:
            last = spans[-1][-1]
            alike = recording[i] == recording[last] and keys[i] == keys[last]
            near = time[i] - time[last] < duration[last]
            if alike and near and time[i] - time[spans[-1][0]] <= SPAN_S:
                spans[-1].append(i)
                continue
        spans.append([i])
    return [np.array(s, dtype=np.intp) for s in spans]


def _bounds(windows: pd.DataFrame, at: NDArray[np.intp]) -> tuple[float, float]:
    onset = windows["onset"].to_numpy(dtype=float)[at]
    end = onset + windows["duration"].to_numpy(dtype=float)[at]
    return float(onset.min()), float(end.max() - onset.min())


def mistakes(windows: pd.DataFrame, p: FloatArray, classes: Sequence[str]) -> pd.DataFrame:
    """List the spans where out-of-fold prediction and label disagree most, worst first.

    Parameters
    ----------
    windows : DataFrame
        ``recording_id, participant_id, onset, duration, time, label`` in order of recording and time.
    p : array, shape (n,)
        Probability of the second class.
    classes : sequence of str
        The two classes that are told apart.

    Returns
    -------
    DataFrame
        `MISTAKE_COLUMNS`; ``probability`` is that of the predicted state, ``log_loss`` summed over the windows.
    """
    label = windows["label"].to_numpy(dtype=object)
    predicted = np.where(p >= 0.5, classes[1], classes[0])
    wrong = np.array([v is not None for v in label]) & np.isfinite(p) & (predicted != label)
    loss = log_loss(np.where(label == classes[1], p, 1.0 - p))
    some = windows[wrong].reset_index(drop=True)
    p, loss = p[wrong], loss[wrong]
    rows = []
    for at in _spans(some, some["label"]):
        onset, duration = _bounds(some, at)
        first = at[0]
        chance = float(p[at].mean())
        rows.append(
            (
                some["recording_id"].iloc[first],
                some["participant_id"].iloc[first],
                onset,
                duration,
                some["label"].iloc[first],
                classes[int(chance >= 0.5)],
                max(chance, 1.0 - chance),
                float(loss[at].sum()),
            )
        )
    frame = pd.DataFrame(rows, columns=list(MISTAKE_COLUMNS[1:]))
    frame = frame.sort_values("log_loss", ascending=False, kind="stable", ignore_index=True).head(MISTAKE_ROWS)
    frame.insert(0, "rank", np.arange(1, len(frame) + 1))
    return frame


def _reason(uncertainty: float, new: float, state: str) -> str:
    parts = []
    if uncertainty >= SURE:
        parts.append("the prediction is not sure")
    if new >= NOVEL:
        parts.append("unlike anything labelled in other people")
    parts.append(
        {
            "no": "no label yet",
            "agrees": "labelled already, and the prediction agrees",
            "disputed": "label and prediction disagree: look again",
            "unpredicted": "labelled already, and nothing was predicted",
            "in part": "labelled in part, or as several states",
        }[state]
    )
    return "; ".join(parts)


def _state(label: str | None, predicted: str | None, touched: bool) -> str:
    """Say in a word whether a window is labelled, and whether the prediction agrees."""
    if label is None:
        return "in part" if touched else "no"
    if predicted is None:
        return "unpredicted"
    return "agrees" if label == predicted else "disputed"


def label_next(
    windows: pd.DataFrame, p: FloatArray, classes: Sequence[str], new: FloatArray, parameters: LearnParameters
) -> pd.DataFrame:
    """List the spans whose labels would teach most, best first.

    Parameters
    ----------
    windows : DataFrame
        As for `mistakes`, of all recordings; ``touched`` where a label of any state lies in part of a window that none
        covers.
    p, classes
        As for `mistakes`.
    new : array, shape (n,)
        `novelty` of each window.
    parameters : LearnParameters
        ``label_next_rows``.

    Returns
    -------
    DataFrame
        `LABEL_NEXT_COLUMNS`; nothing that is labelled, sure, as predicted and like the rest. A recording gives its
        next-best span half the worth of its best, and so on, so that the list reaches many recordings.
    """
    label = windows["label"].to_numpy(dtype=object)
    uncertain = np.where(np.isfinite(p), 1.0 - np.abs(2.0 * np.nan_to_num(p) - 1.0), 1.0)
    predicted = [None if np.isnan(v) else classes[int(v >= 0.5)] for v in p]
    touched = windows["touched"].tolist() if "touched" in windows else [False] * len(windows)
    state = np.array([_state(*row) for row in zip(label, predicted, touched, strict=True)], dtype=object)
    rows = []
    for at in _spans(windows, pd.Series(state, index=windows.index)):
        onset, duration = _bounds(windows, at)
        kind = str(state[at[0]])
        uncertainty, freshness = float(uncertain[at].mean()), float(new[at].mean())
        # A confident mistake is not uncertain, yet one of label and model is wrong there.
        doubt = max(uncertainty, 0.5) if kind == "disputed" else uncertainty
        if kind == "agrees" and uncertainty < SURE and freshness < NOVEL:
            continue  # nothing speaks for labelling it again
        worth = doubt * freshness * _NEED[kind]
        chance = float(np.nanmean(p[at])) if np.isfinite(p[at]).any() else float("nan")
        known = np.isfinite(chance)
        rows.append(
            {
                "recording_id": windows["recording_id"].iloc[at[0]],
                "participant_id": windows["participant_id"].iloc[at[0]],
                "onset": onset,
                "duration": duration,
                "predicted": (classes[int(chance >= 0.5)]) if known else None,
                "probability": max(chance, 1.0 - chance) if known else float("nan"),
                "uncertainty": uncertainty,
                "novelty": freshness,
                "labelled": kind,
                "worth": worth,
                "reason": _reason(uncertainty, freshness, kind),
            }
        )
    frame = pd.DataFrame(rows, columns=[c for c in LABEL_NEXT_COLUMNS if c != "rank"])
    frame = frame.sort_values(["worth", "recording_id", "onset"], ascending=[False, True, True], kind="stable")
    turn = frame.groupby("recording_id", sort=False).cumcount().to_numpy()
    frame = frame.assign(worth=frame["worth"] * 0.5**turn)
    frame = frame.sort_values(["worth", "recording_id", "onset"], ascending=[False, True, True], kind="stable")
    frame = frame[frame["worth"] > 0].head(parameters.label_next_rows).reset_index(drop=True)
    frame.insert(0, "rank", np.arange(1, len(frame) + 1))
    return frame[list(LABEL_NEXT_COLUMNS)]
