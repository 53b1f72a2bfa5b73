"""Windows to bouts: rest, turns and normal or limping gait over time, with the limping side and its evidence.

In: the rule-made states of each recording (they tile it) and its windows with probabilities. Out: bouts. Rest, turns
and what is neither come from the rules of gait detection; the classifier parts gait into normal and limping. Every
bout says what made it: ``out_of_fold`` (a model that never saw this person), ``final`` (the stored model, for people
without labels), ``rule`` (published limits), and carries a caution where it should be doubted.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..vocabulary import GAIT_STATES
from .state_parameters import StateParameters
from .timeline import changes, decode, owned_spans

__all__ = ["BOUT_COLUMNS", "GAIT", "bouts_of_all"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

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


@dataclass(frozen=True)
class _Windows:
    """Columns of windows as arrays: of many short recordings frames take longer to make than what is done to them."""

    time: FloatArray
    duration: FloatArray
    limping: FloatArray
    left: FloatArray
    caution: NDArray[np.object_]
    middles: FloatArray

    @classmethod
    def of(cls, frame: pd.DataFrame) -> Self:
        return cls(
            time=frame["time"].to_numpy(dtype=float),
            duration=frame["duration"].to_numpy(dtype=float),
            limping=frame["probability_limping"].to_numpy(dtype=float),
            left=frame["probability_left"].to_numpy(dtype=float),
            caution=frame["caution"].to_numpy(dtype=object),
            middles=frame[[name for name in MIDDLES if name in frame]].to_numpy(dtype=float),
        )

    def part(self, at: slice | IntArray) -> Self:
        return type(self)(*(array[at] for array in vars(self).values()))

    def in_order(self, at: IntArray) -> Self:
        """Take those at some places, in order of time."""
        return self.part(at[np.argsort(self.time[at], kind="stable")])


@dataclass(frozen=True)
class _States:
    """Columns of states as arrays; `walk` is -1, and `turns_known` None, where it is not known."""

    onset: FloatArray
    duration: FloatArray
    kind: NDArray[np.object_]
    walk: NDArray[np.object_]
    turns_known: NDArray[np.object_]

    @classmethod
    def of(cls, frame: pd.DataFrame) -> Self:
        kind = frame["trial_type"].to_numpy(dtype=object)
        touching = np.array([0 if _walking(k) else -1 for k in kind], dtype=object)
        unknown = np.full(len(frame), None, dtype=object)
        return cls(
            onset=frame["onset"].to_numpy(dtype=float),
            duration=frame["duration"].to_numpy(dtype=float),
            kind=kind,
            walk=frame["walk"].to_numpy(dtype=object) if "walk" in frame else touching,
            turns_known=frame["turns_known"].to_numpy(dtype=object) if "turns_known" in frame else unknown,
        )

    def in_order(self, at: IntArray) -> Self:
        """Take those at some places, in order of time."""
        at = at[np.argsort(self.onset[at], kind="stable")]
        return type(self)(*(array[at] for array in vars(self).values()))


def _walking(kind: object) -> bool:
    return kind in (GAIT, "turn")


def _pieces(
    start: float, end: float, windows: _Windows, parameters: StateParameters, prediction: str
) -> list[dict[str, Any]]:
    """Make the bouts of one walk from its windows (in order of time)."""
    plain = {"limping_side": None, "side_probability": np.nan, "probability": np.nan}
    p, centres, length, left, flags = (
        windows.limping, windows.time, windows.duration, windows.left, windows.caution,
    )  # fmt: skip
    if not len(p) or not np.isfinite(p).any():
        why = "too few strides to classify" if not len(p) else "no feature that the classifier knows"
        return [{"onset": start, "duration": end - start, "trial_type": GAIT, **plain, "caution": why}]
    edges = owned_spans(centres, start, end)
    path = decode(np.column_stack([1.0 - p, p]), edges, length, parameters.bout_min_s)
    bounds = np.concatenate([[start], changes(path, edges, centres, length, windows.middles), [end]])
    owned = np.diff(edges)
    pieces: list[dict[str, Any]] = []
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


def _cut(pieces: Iterable[dict[str, Any]], spans: list[tuple[float, float]]) -> list[dict[str, Any]]:
    """Keep the parts of the pieces that lie in the gait spans of the walk (turns inside it are cut out)."""
    out = []
    for piece in pieces:
        onset, end = piece["onset"], piece["onset"] + piece["duration"]
        for a, b in spans:
            low, high = max(onset, a), min(end, b)
            if high > low:
                out.append({**piece, "onset": low, "duration": high - low})
    return out


def _rows_of(states: _States, windows: _Windows, parameters: StateParameters, prediction: str) -> list[dict[str, Any]]:
    """Make the bouts of one recording from its states and windows, both in order of time."""
    rows: list[dict[str, Any]] = []
    kind, onset = states.kind.tolist(), states.onset
    end = onset + states.duration
    walking = [_walking(k) for k in kind]
    shown = states.turns_known.tolist()
    for a, b in _runs(list(zip(walking, states.walk.tolist(), strict=True))):
        if not walking[a]:
            rows += [{"onset": onset[i], "duration": end[i] - onset[i], "trial_type": kind[i]} for i in range(a, b)]
            continue
        start, stop = float(onset[a]), float(end[b - 1])
        own = windows.part(slice(*np.searchsorted(windows.time, [start, stop], side="left")))
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
    for row in rows:
        row["prediction"] = prediction if row["trial_type"] in GAIT_STATES else "rule"
    return _joined(sorted(rows, key=lambda row: float(row["onset"])))


def _joined(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Join rows of rest, turn and the like that touch and are of one kind; gait pieces come joined already."""
    keep: list[dict[str, Any]] = []
    for row in rows:
        last = keep[-1] if keep else row
        alike = row["trial_type"] == last["trial_type"] and row["trial_type"] not in GAIT_STATES
        if last is not row and alike and abs(row["onset"] - (last["onset"] + last["duration"])) < 1e-6:
            last["duration"] = row["onset"] + row["duration"] - last["onset"]
            continue
        keep.append(row)
    return keep


def _frame_of(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Make a frame of `BOUT_COLUMNS` of the rows of any number of recordings."""
    frame = pd.DataFrame(index=range(len(rows)))
    for name in BOUT_COLUMNS:
        if name in ("onset", "duration", "probability", "side_probability"):
            frame[name] = np.array([row.get(name, np.nan) for row in rows], dtype=float)
        else:
            words = pd.Series([row.get(name) for row in rows], dtype=object)
            frame[name] = words.astype("boolean") if name == "turns_known" else words
    return frame


def _places(frame: pd.DataFrame) -> dict[str, IntArray]:
    """Find the rows of each recording."""
    number, names = pd.factorize(frame["recording_id"].to_numpy(dtype=object))
    order = np.argsort(number, kind="stable")
    ends = np.cumsum(np.bincount(number, minlength=len(names)))
    return (
        {str(name): order[a:b] for name, a, b in zip(names, [0, *ends[:-1]], ends, strict=True)} if len(names) else {}
    )


def bouts_of_all(
    states: pd.DataFrame, windows: pd.DataFrame, parameters: StateParameters, default: str
) -> pd.DataFrame:
    """Make the bouts of every recording that has states.

    Parameters
    ----------
    states : DataFrame
        ``recording_id, onset, duration, trial_type`` (rest, gait, turn, ...) and, where known, ``walk``: rows of one
        walk share a number of 0 or more; without it touching gait and turn rows are one walk; ``turns_known`` where it
        is known.
    windows : DataFrame
        ``recording_id, time, duration, probability_limping, probability_left`` (of a limp being left), ``caution``;
        what made the probabilities is the ``prediction`` of a recording's first window.
    parameters : StateParameters
        Minimum bout length and when to be unsure.
    default : str
        What is said to have made those of a recording without windows.

    Returns
    -------
    DataFrame
        `BOUT_COLUMNS` by recording in order of time; neighbours of one kind are joined.
    """
    whole, seen = _States.of(states), _Windows.of(windows)
    made_by = windows["prediction"].to_numpy(dtype=object)
    at_states, at_windows = _places(states), _places(windows)
    rows: list[dict[str, Any]] = []
    for name in sorted(at_states):
        at = at_windows.get(name, np.empty(0, dtype=np.intp))
        word = str(made_by[at[0]]) if len(at) else default
        found = _rows_of(whole.in_order(at_states[name]), seen.in_order(at), parameters, word)
        rows += [{"recording_id": name, **row} for row in found]
    return _frame_of(rows)
