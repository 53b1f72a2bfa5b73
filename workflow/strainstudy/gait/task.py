"""Gait windows as rows to learn from: which state the rater gave, which leg a limp is on, what is used in training.

In: windows of all recordings and the labels of the reference rater. Out: windows with their labels, the `Task` and
the `Rows`. A limp that the rater gave no side is put on the person's affected side, else on the side that the
published timing rule points to: a mirrored training needs some side, and any name for it will do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from ..learn.feature_rows import Rows, Task, TextArray
from ..vocabulary import SIDES, STATES
from .feature_specs import GROUPS, FeatureSpec
from .limits import rule_side
from .state_parameters import StateParameters
from .timeline import label_windows
from .windows import GAIT_FEATURES

__all__ = ["LEFT", "RIGHT", "gait_rows", "gait_task", "labelled_windows"]

LEFT, RIGHT = "limping_left", "limping_right"
VARIANTS = ("both_knees_degrees", "both_knees", "one_knee_degrees", "one_knee")
"""One stored model for each kind of recording, best first: both knees or one, with degrees or without."""
LEARN_EVERY = 3
"""Training uses every third window: with windows of six strides each stride is then seen twice."""


def _columns(name: str, specs: Sequence[FeatureSpec]) -> list[str]:
    return [
        s.name
        for s in specs
        if s.knees in (("one", "both") if name.startswith("both") else ("one", "alone"))
        and (s.group != "amplitude" or name.endswith("degrees"))
    ]


def gait_task(specs: Sequence[FeatureSpec] = GAIT_FEATURES) -> Task:
    """Say what is learnt from gait windows: normal, limping on the left, limping on the right."""
    used = [s for s in specs if s.group in GROUPS]
    return Task(
        columns=tuple(s.name for s in used),
        classes=("normal_gait", LEFT, RIGHT),
        report={LEFT: "limping_gait", RIGHT: "limping_gait"},
        odd={s.name: s.group for s in used if s.mirror == "odd"},
        swap={LEFT: RIGHT, RIGHT: LEFT},
        alone=frozenset(s.name for s in used if s.knees == "alone"),
        reference="normal_gait",
        variants={name: frozenset(_columns(name, used)) for name in VARIANTS},
    )


def _learnt_labels(windows: pd.DataFrame, affected: Mapping[str, str], parameters: StateParameters) -> TextArray:
    """Class to learn of each window: a limp on the side the rater gave, else the person's, else the rule's."""
    y = np.full(len(windows), None, dtype=object)
    label = windows["label"].to_numpy(dtype=object)
    side = windows["label_side"].to_numpy(dtype=object)
    unit = windows["unit"].to_numpy(dtype=object)
    person = windows["participant_id"].to_numpy(dtype=object)
    leaning = rule_side(windows, parameters)
    y[label == "normal_gait"] = "normal_gait"
    for name in sorted(set(unit[label == "limping_gait"].tolist())):
        at = (unit == name) & (label == "limping_gait")
        given = side[at][0] or affected.get(person[at][0])
        if given not in SIDES:
            known = leaning[at][np.isfinite(leaning[at])]
            given = "left" if known.size and float(np.median(known)) > 0.5 else "right"
        y[at] = LEFT if given == "left" else RIGHT
    return y


def gait_rows(windows: pd.DataFrame, task: Task, affected: Mapping[str, str], parameters: StateParameters) -> Rows:
    """Make rows to learn from.

    Parameters
    ----------
    windows : DataFrame
        Features and ``recording_id, participant_id, label, label_side, unit``, in order of recording and time.
    task : Task
        From `gait_task`.
    affected : mapping of participant_id to 'left', 'right'
        Affected side of those who have one; used for a limp that the rater gave no side.
    parameters : StateParameters
        For the side of limps of which nobody said the side.

    Returns
    -------
    Rows
    """
    return Rows(
        x=windows[list(task.columns)].to_numpy(dtype=float),
        y=_learnt_labels(windows, affected, parameters),
        groups=windows["participant_id"].to_numpy(dtype=object),
        units=windows["unit"].to_numpy(dtype=object),
        blocks=windows["recording_id"].to_numpy(dtype=object),
        learn=(windows.groupby(["recording_id", "unit"], sort=False).cumcount() % LEARN_EVERY == 0).to_numpy(),
    )


def labelled_windows(
    windows: pd.DataFrame, labels: Mapping[str, pd.DataFrame], parameters: StateParameters
) -> pd.DataFrame:
    """Sort windows by recording and time and add ``label``, ``label_side``, ``unit``, ``touched`` of the rater."""
    windows = windows.sort_values(["recording_id", "time"], kind="stable", ignore_index=True)
    known = label_windows(windows, labels, parameters.label_overlap_min)
    return windows.assign(
        label=known["label"], label_side=known["side"], unit=known["unit"], touched=_touched(windows, labels)
    )


def _touched(windows: pd.DataFrame, labels: Mapping[str, pd.DataFrame]) -> list[bool]:
    """Tell of each window whether a label of any state lies in part of it."""
    spans = {}
    for recording, sheet in labels.items():
        own = sheet[sheet["trial_type"].isin(STATES)]
        onset = own["onset"].to_numpy(dtype=float)
        spans[str(recording)] = onset, onset + own["duration"].to_numpy(dtype=float)
    nothing = np.empty(0), np.empty(0)
    found = []
    for recording, onset, duration in zip(windows["recording_id"], windows["onset"], windows["duration"], strict=True):
        first, last = spans.get(str(recording), nothing)
        found.append(bool(((first < onset + duration) & (last > onset)).any()))
    return found
