"""Which of the lab's own words leave the lab, and what stands for those that do not.

In: a checked study and the columns that the user allows by name. Out: every column of free text with its fate, the
names that stand for ids in what is shared, and a `Problem` for an allowed column that is not there or may not leave.
Ages, sexes, sides, volumes, rates and units have a fixed form and leave; everything else that a person typed stays
unless it is named. An id that is a plain number, such as ``sub-07``, says nothing and stays as it is.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ..errors import Problem
from ..records import Recording, Study
from .parameters import ShareParameters

__all__ = ["FreeText", "Pseudonyms", "free_text", "pseudonyms", "share_problems"]

_PLAIN: Final = {"sub": r"sub-\d{1,4}", "ses": r"ses-\d{1,3}", "rater": r"rater\d{1,3}"}
_DATE: Final = re.compile(
    r"(?<!\d)(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})"
    r"|(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01]))(?!\d)"
)
_PERSONAL: Final = re.compile(
    r"(?:.*_)?(?:(?:first|last|full|family|given|sur|patient|person)?_?names?|forename|initials|birth|birthday|birthdate"
    r"|dob|address|street|phone|telephone|mobile|e?mail|mrn|ssn|insurance)(?:_.*)?",
    re.IGNORECASE,
)
_OF_OURS: Final = ("channels.name", "participants.participant_id", "recordings.recording_id", "recordings.session_id",
    "sensors.sensor_id", "labels.rater", "participants.group")  # fmt: skip
_SETTING: Final = "share.allow_columns"


@dataclass(frozen=True)
class FreeText:
    """One column of the lab's own words.

    Parameters
    ----------
    column : str
        Sheet and column, as the setting names it.
    values : tuple of str
        The different cells, sorted.
    cells : int
        Cells that have a value.
    instead : str
        What is written where it does not leave.
    allowed : bool
        Whether the user named it.
    """

    column: str
    values: tuple[str, ...]
    cells: int
    instead: str
    allowed: bool

    @property
    def dated(self) -> bool:
        """Whether a cell is a date."""
        return any(_DATE.search(value) for value in self.values)

    @property
    def personal(self) -> bool:
        """Whether the column's name says that it tells who somebody is."""
        return self.column not in _OF_OURS and _PERSONAL.fullmatch(self.column.partition(".")[2]) is not None


@dataclass(frozen=True)
class Pseudonyms:
    """What stands for each id in what is shared; an id of which nothing need be hidden stands for itself."""

    participants: Mapping[str, str]
    sessions: Mapping[str, str]
    sensors: Mapping[str, str]
    raters: Mapping[str, str]


def _numbered(ids: Iterable[str], stem: str, plain: str | None, allowed: bool) -> dict[str, str]:
    """Give each id itself where all are plain or may leave, else a number in their order."""
    known = sorted(set(ids))
    if allowed or (plain is not None and all(re.fullmatch(plain, name) for name in known)):
        return {name: name for name in known}
    width = len(str(len(known)))
    return {name: f"{stem}{number:0{width}d}" for number, name in enumerate(known, start=1)}


def pseudonyms(study: Study, parameters: ShareParameters) -> Pseudonyms:
    """Name people, sessions, sensors and raters as they are named in what is shared."""
    allowed = set(parameters.allow_columns or ())
    recordings = study.recordings.values()
    return Pseudonyms(
        _numbered(study.participants, "sub-", _PLAIN["sub"], "participants.participant_id" in allowed),
        _numbered(_sessions(recordings), "ses-", _PLAIN["ses"], "recordings.session_id" in allowed),
        _numbered(study.sensors, "sensor-", None, "sensors.sensor_id" in allowed),
        _numbered((r for one in recordings for r in one.labels), "rater", _PLAIN["rater"], "labels.rater" in allowed),
    )


def _sessions(recordings: Iterable[Recording]) -> list[str]:
    return [r.session_id for r in recordings if r.session_id is not None]


def _own(rows: Sequence[Mapping[str, str]]) -> dict[str, list[str]]:
    """Gather the lab's own columns of a sheet."""
    found: dict[str, list[str]] = {}
    for row in rows:
        for name, value in row.items():
            found.setdefault(name, []).append(value)
    return found


def free_text(study: Study, parameters: ShareParameters) -> list[FreeText]:
    """List every column of the study that holds words of the lab's own, sheet by sheet."""
    people, recordings = list(study.participants.values()), list(study.recordings.values())
    raters = [rater for recording in recordings for rater in recording.labels]
    columns: dict[str, tuple[list[str], str]] = {}
    hidden = {
        "participants.participant_id": (list(study.participants), "sub", "sub- and a number"),
        "recordings.session_id": (_sessions(recordings), "ses", "ses- and a number"),
        "labels.rater": (raters, "rater", "rater and a number"),
    }
    for column, (ids, kind, instead) in hidden.items():
        if not all(re.fullmatch(_PLAIN[kind], name) for name in ids):
            columns[column] = (ids, instead)
    groups = [person.group for person in people if person.group is not None]
    if groups:
        columns["participants.group"] = (groups, "nothing")
    for name, values in _own([person.extra for person in people]).items():
        columns[f"participants.{name}"] = (values, "nothing")
    columns["recordings.recording_id"] = (list(study.recordings), "the name of the file in the shared folder")
    for name, values in _own([recording.extra for recording in recordings]).items():
        columns[f"recordings.{name}"] = (values, "nothing")
    names = [channel.name for recording in recordings for channel in recording.channels]
    columns["channels.name"] = (names, "the tracked point and the units")
    if study.sensors:
        columns["sensors.sensor_id"] = (list(study.sensors), "sensor- and a number")
    allowed = set(parameters.allow_columns or ())
    return [
        FreeText(column, tuple(sorted(set(values))), len(values), instead, column in allowed)
        for column, (values, instead) in sorted(columns.items())
    ]


def share_problems(study: Study, parameters: ShareParameters, file: str) -> list[Problem]:
    """Find allowed columns that are not there, or that may not leave whoever allows it.

    Parameters
    ----------
    study : Study
    parameters : ShareParameters
    file : str
        Name of the config files for the messages.
    """
    known = {text.column: text for text in free_text(study, parameters)}
    problems = []
    for column in parameters.allow_columns or ():

        def fault(message: str, remedy: str, column: str = column) -> None:
            problems.append(Problem(file, message, remedy, column=_SETTING, value=column))

        if column not in known:
            near = difflib.get_close_matches(column, known, n=1)
            # A column of ours that this study does not use may be named all the same.
            if column not in _OF_OURS:
                remedy = f"did you mean {near[0]!r}" if near else f"use one of: {', '.join(known)}"
                fault("no such column of free text in this study", remedy)
        elif known[column].personal:
            fault("by its name it tells who somebody is, and does not leave the lab", "take it out of the list")
        elif known[column].dated:
            remedy = "take it out of the list; write days since a first visit into a column of their own instead"
            fault("holds dates, which do not leave the lab", remedy)
    return problems
