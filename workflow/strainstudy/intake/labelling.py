"""Labels that cannot be: states at once that exclude one another, movements without a channel, times beyond the end.

In: the rows of one rater's label file, the tracked points of its recording, its length where that is known. Out:
problems with file and row. What raters do by hand is let through: adjoining states that overlap by less than half a
second, a last label that outlasts the recording by a second.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ..errors import Problem, further_rows
from ..io.sheets import Sheet, to_number
from ..vocabulary import CONFOUNDERS, INSTANTS, KNEES, LABELLED, STATES

__all__ = ["Label", "copied_problems", "labels_in", "length_problems", "meaning_problems"]

# Two raters marking one change in a video differ by up to half a second; adjoining states that overlap by less are the
# hand, not a contradiction. Rule of thumb: common practice, no source.
_OVERLAP_S: Final = 0.5
# Clocks of a camera and a recorder drift apart; rule of thumb: common practice, no source.
_BEYOND_S, _BEYOND_SHARE = 1.0, 0.01
_NEARLY_ALL: Final = 0.5
"""Share of the labels that begin beyond the end, above which their unit is doubted and not the recording's length
(ours)."""
_LABELLED_SHARE: Final = 0.2
"""Of a recording; labels that would cover less of it in another unit rather belong to another recording."""
# Nobody turns or swallows for as long; a whole turn takes seconds, a swallow one. From memory.
_LONGEST_S: Final = {"turn": 120.0, "swallow": 60.0}
# Sprinters need 0.4 s for a stride (from memory); contacts of one leg nearer than this are not in seconds.
_SHORTEST_STRIDE_S: Final = 0.15
_LONGEST_STRIDE_S: Final = 60.0
"""Nobody walks with strides of a minute: contacts farther apart are not in seconds (ours)."""
_A_SECOND_IN_MS: Final = 800.0
"""Lengths from here on may be milliseconds: about those of one swallow or turn (ours)."""
_LONG_ENOUGH_TO_TELL: Final = 5
"""Of so few labels nothing is told by their distances or by their being the same in two files (ours)."""
# A knee that is bent as far as it goes is at 2.8 rad (160 degrees, from memory).
_DEEPEST_RAD: Final = 3.0
_LASTING: Final = (*STATES, *CONFOUNDERS, "knee_bend", "artefact", LABELLED)
_KNEE_KINDS: Final = (*INSTANTS, "knee_bend")
_THROAT_KINDS: Final = ("swallow", *CONFOUNDERS)


@dataclass(frozen=True)
class Label:
    """One row of a label file whose onset is a number: times in s, 0 for a duration that is missing or negative."""

    row: int
    onset: float
    duration: float
    kind: str
    side: str | None
    value: float | None
    cells: dict[str, str | None]

    @property
    def end(self) -> float:
        """Onset and duration together."""
        return self.onset + self.duration


def labels_in(sheet: Sheet) -> list[Label]:
    """Take the rows of a label file that have an onset, whatever else is wrong with them."""
    frame = sheet.frame
    names = [str(name) for name in frame.columns]
    found = []
    for row in frame.itertuples(index=True, name=None):
        cells = dict(zip(names, row[1:], strict=True))
        onset = to_number(cells.get("onset"))
        if onset is not None:
            duration = max(to_number(cells.get("duration")) or 0.0, 0.0)
            kind, side = cells.get("trial_type") or "", cells.get("side")
            found.append(Label(int(row[0]), onset, duration, kind, side, to_number(cells.get("value")), cells))
    return found


def _at(file: str, label: Label, column: str, message: str, remedy: str) -> Problem:
    return Problem(file, message, remedy, row=label.row, column=column, value=label.cells.get(column))


def _contradict(one: Label, other: Label) -> str | None:
    """Say why two labels of one rater cannot both be, or nothing."""
    if one.kind in STATES and other.kind in STATES and one.kind != other.kind:
        return f"{one.kind} while the same rater has {other.kind}"
    sides = one.side is not None and other.side is not None
    if one.kind == other.kind == "limping_gait" and sides and one.side != other.side:
        return f"limping on the {one.side} while the same rater has limping on the {other.side}"
    same_knee = one.kind == other.kind == "knee_bend" and sides and one.side == other.side
    if same_knee and one.value is not None and other.value is not None and one.value != other.value:
        return f"a bend of {one.value:g} degrees while the same knee has one of {other.value:g}"
    return None


def _contradictions(labels: Sequence[Label], file: str) -> list[Problem]:
    """Find labels that exclude one another and overlap: each later one is said once, with the earlier one's row."""
    problems = []
    # of labels that say the same only the one that lasts longest can overlap a later one the most
    going_on: dict[tuple[str, str | None, float | None], Label] = {}
    for label in sorted(labels, key=lambda each: (each.onset, each.row)):
        if label.kind not in (*STATES, "knee_bend"):
            continue
        going_on = {key: earlier for key, earlier in going_on.items() if earlier.end - label.onset > _OVERLAP_S}
        for earlier in going_on.values():
            shared = min(earlier.end, label.end) - label.onset
            message = _contradict(label, earlier) if shared > _OVERLAP_S else None
            if message is not None:
                told = f"{message} (row {earlier.row}, {shared:.3g} s at once)"
                remedy = f"correct onset or duration of one; up to {_OVERLAP_S:g} s of overlap is let through"
                problems.append(_at(file, label, "onset", told, remedy))
                break
        key = (label.kind, label.side, label.value)
        if key not in going_on or going_on[key].end < label.end:
            going_on[key] = label
    return problems


def _impossible_lengths(labels: Sequence[Label], file: str) -> list[Problem]:
    problems = []
    for label in labels:
        if label.kind in _LASTING and to_number(label.cells.get("duration")) == 0:
            message, remedy = f"{label.kind} that lasts no time", "give its duration in seconds, or remove it"
            problems.append(_at(file, label, "duration", message, remedy))
    for kind, longest in _LONGEST_S.items():
        own = [label for label in labels if label.kind == kind and label.duration > longest]
        if own:
            typical = float(np.median([label.duration for label in own]))
            likely = "; these look like milliseconds" if _A_SECOND_IN_MS <= typical <= 1e3 * longest else ""
            remedy = f"give its duration in seconds{likely}"
            problems.append(_at(file, own[0], "duration", f"no {kind} lasts so long{further_rows(own)}", remedy))
    return problems


def _without_channel(labels: Sequence[Label], points: Collection[str], file: str) -> list[Problem]:
    """Find movements of a part of the body that the recording has no channel of, once for each kind."""
    problems = []
    knees = [side for side, point in KNEES.items() if point in points]
    for kind in (*_KNEE_KINDS, *_THROAT_KINDS):
        own = [label for label in labels if label.kind == kind]
        if not own:
            continue
        part = "throat" if kind in _THROAT_KINDS else "knee"
        if (part == "throat" and "throat" not in points) or (part == "knee" and not knees):
            message = f"{kind} in a recording without a channel of {'the throat' if part == 'throat' else 'a knee'}"
            remedy = "add the channel to channels.tsv, or remove the label"
            problems.append(_at(file, own[0], "trial_type", message + further_rows(own), remedy))
        elif part == "knee":
            other = [label for label in own if label.side in KNEES and label.side not in knees]
            if other:
                message = f"{kind} on the side whose knee has no channel in this recording{further_rows(other)}"
                remedy = "add the channel if there is one; else nothing detected can be compared with it"
                problems.append(replace(_at(file, other[0], "side", message, remedy), caution=True))
    return problems


def _odd_strides(labels: Sequence[Label], file: str) -> list[Problem]:
    """Find contacts of one leg whose distances are no strides in seconds."""
    for side in KNEES:
        own = sorted((x for x in labels if x.kind == "initial_contact" and x.side == side), key=lambda x: x.onset)
        if len(own) <= _LONG_ENOUGH_TO_TELL:
            continue
        stride = float(np.median(np.diff([label.onset for label in own])))
        if stride < _SHORTEST_STRIDE_S:
            unit = "minutes" if 0.3 <= 60 * stride <= 10 else None
        elif stride > _LONGEST_STRIDE_S:
            unit = "milliseconds" if stride >= 300 else "samples"
        else:
            continue
        fast = stride < _SHORTEST_STRIDE_S
        message = (
            f"every {stride:.3g} s one initial contact of the {side} leg: {'faster' if fast else 'slower'} than walking"
        )
        remedy = "give onset and duration in seconds" + (f"; these look like {unit}" if unit is not None else "")
        told = _at(file, own[0], "onset", message, remedy)
        return [told if fast else replace(told, caution=True)]
    return []


def _angles_in_radians(labels: Sequence[Label], file: str) -> list[Problem]:
    bends = [label for label in labels if label.kind == "knee_bend" and label.value is not None]
    deepest = max((abs(label.value or 0.0) for label in bends), default=0.0)
    if len({label.value for label in bends}) < 2 or deepest > _DEEPEST_RAD:
        return []
    message = f"implausible: of {len(bends)} bends none is deeper than {deepest:.3g} degrees"
    remedy = "give angles in degrees; these look like radians"
    return [replace(_at(file, bends[0], "value", message, remedy), caution=True)]


def copied_problems(files: Mapping[str, Sequence[Label]]) -> list[Problem]:
    """Find label files that hold the very same labels: a copy tells nothing of how well two raters agree.

    Parameters
    ----------
    files : mapping of str to sequence of Label
        Labels by the name of their file.

    Returns
    -------
    list of Problem
        Cautions, one for each copy. Files of a few labels may well be equal.
    """
    problems = []
    first: dict[tuple[tuple[object, ...], ...], str] = {}
    for file, labels in files.items():
        if len(labels) <= _LONG_ENOUGH_TO_TELL:
            continue
        same = tuple((x.onset, x.duration, x.kind, x.side, x.value) for x in labels)
        original = first.setdefault(same, file)
        if original != file:
            message = f"the same {len(labels)} labels, to the last digit, as {original}"
            remedy = "remove one of the two if it is a copy: agreement with a copy is no agreement"
            problems.append(Problem(file, message, remedy, caution=True))
    return problems


def meaning_problems(labels: Sequence[Label], points: Collection[str] | None, file: str) -> list[Problem]:
    """Find labels of one rater that cannot be, from the labels and the channels of the recording alone.

    Parameters
    ----------
    labels : sequence of Label
        Of one file.
    points : collection of str or None
        Tracked points that the recording has channels of; None if they are not known.
    file : str
        Name of the file for messages.

    Returns
    -------
    list of Problem
        By row. What is unlikely and a knee on the side without a channel are cautions, everything else faults.
    """
    problems = _impossible_lengths(labels, file) + _odd_strides(labels, file) + _angles_in_radians(labels, file)
    if points is not None:
        problems += _without_channel(labels, points, file)
    known = {(p.row, p.column) for p in problems}
    problems += [p for p in _contradictions(labels, file) if (p.row, p.column) not in known]
    before = [label for label in labels if label.end < -_BEYOND_S]
    if before:
        message = f"lies before the first sample of the recording{further_rows(before)}"
        remedy = "give onsets in seconds from the first stored sample"
        problems.append(_at(file, before[0], "onset", message, remedy))
    return sorted(problems, key=lambda p: p.row or 0)


def _likely_unit(labels: Sequence[Label], length: float, rate: float | None) -> str | None:
    """Name the unit under which the labels would fit into the recording."""
    last = max(label.end for label in labels)
    units = [("milliseconds", 1e-3), ("microseconds", 1e-6)]
    if rate is not None and rate > 0:
        units.insert(0 if abs(rate / 1e3 - 1) > 0.05 else 1, ("samples", 1 / rate))
    # A rater goes on to somewhere near the end; of two units that fit, the one that fills the recording better.
    fits = [(last * factor / length, name) for name, factor in units if last * factor <= length * 1.05 + _BEYOND_S]
    return max(fits)[1] if fits and max(fits)[0] > _LABELLED_SHARE else None


def length_problems(labels: Sequence[Label], length: float, rate: float | None, file: str, raw: str) -> list[Problem]:
    """Find labels beyond the end of their recording.

    Parameters
    ----------
    labels : sequence of Label
        Of one file.
    length : float
        Of the recording, s.
    rate : float or None
        Samples per second, for labels that count samples.
    file, raw : str
        Names of the label file and of the raw file for messages.

    Returns
    -------
    list of Problem
        Where nearly all lie beyond the end one problem for the file, with the likely unit; else one for each row.
    """
    limit = length + max(_BEYOND_S, _BEYOND_SHARE * length)
    outside = [label for label in labels if label.end > limit]
    if not outside:
        return []
    ends = f"the recording is {length:.6g} s long ({raw})"
    starts_beyond = [label for label in labels if label.onset > limit]
    if len(labels) >= 2 and len(starts_beyond) > _NEARLY_ALL * len(labels):
        unit = _likely_unit(labels, length, rate)
        likely = (
            f"these look like {unit}; give seconds"
            if unit is not None
            else "give onsets in seconds from its first sample"
        )
        remedy = f"{likely}, or see whether the file belongs to another recording"
        first = starts_beyond[0]
        message = f"{len(starts_beyond)} of {len(labels)} labels begin beyond the end: {ends}"
        return [_at(file, first, "onset", message, remedy)]
    problems = []
    for label in outside:
        beyond = label.onset > limit
        column = "onset" if beyond else "duration"
        what = "begins" if beyond else f"ends {label.end - length:.3g} s"
        message = f"{label.kind} {what} beyond the end: {ends}"
        remedy = "correct it, or remove it if the raw file was cut" if beyond else "correct its duration, in seconds"
        problems.append(_at(file, label, column, message, remedy))
    return problems
