"""A look into the raw files before any work: columns, times, lengths, and labels that lie beyond the end.

In: a checked study. Out: problems. A label beyond the end of its recording is a fault, unless the raw file itself tells
that its end is missing; what is wrong with a raw file is a caution, since a run goes on without a recording that it
cannot use, and says so in the table of recordings. Under the setting ``strict`` a run would stop there, so it is a
fault then.
"""

from __future__ import annotations

import difflib
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ..errors import Problem, further_rows, some_of
from ..io.labels import LABEL_COLUMNS
from ..io.readers import Peek, ReadError, peek, read_raw
from ..io.readers.extent import Extent, read_extent
from ..io.sheets import read_sheet
from ..records import Channel, Recording, Study
from ..signal.timebase import TimeBaseError, stamp_unit, time_base
from ..vocabulary import BODY_POINTS, RESPONSE_UNITS
from .labelling import labels_in, length_problems, meaning_problems
from .rules import CHANNELS

__all__ = ["Looked", "look_into_files"]

_MOST_NAMES: Final = 12
"""Columns that a message names one by one (ours)."""
_GOES_ON: Final = "the run goes on without the recording"
_CUT: Final = "the file ends early: copy it again from the recorder, else what lies beyond it is passed over"


_MUCH_LONGER: Final = 1.3
"""Labels that end at this many times a length that is only estimated from the file's size lie beyond it (ours)."""


@dataclass(frozen=True)
class _Settings:
    """What is a gap between stamps, and from what share on two rates differ."""

    gap_steps: float
    rate_tolerance: float


@dataclass(frozen=True)
class Looked:
    """What a raw file shows at a glance.

    Parameters
    ----------
    channels : tuple of Channel
        Those of the sheet that are in the file and not marked bad.
    length_s : float or None
        None where the file would have to be read for it.
    rate : float or None
        Hz, by the stamps, the file or the sheet.
    about_s : float or None
        What the length is likely to be where it is not known.
    """

    channels: tuple[Channel, ...]
    length_s: float | None
    rate: float | None
    about_s: float | None = None


def _is_it(name: str, names: Sequence[str]) -> str:
    """Name the column that is probably meant, else those there are."""
    same = [other for other in names if other.strip().lower() == name.strip().lower()]
    near = same or difflib.get_close_matches(name, names, n=1)
    return f"is it {near[0]!r}?" if near else f"the file has {some_of(names, _MOST_NAMES)}"


def _said(recording: Recording, message: str, remedy: str, column: str | None = None) -> Problem:
    return Problem(
        recording.file, f"recording {recording.recording_id}: {message}", remedy, column=column, caution=True
    )


def _column_problems(recording: Recording, names: Sequence[str]) -> list[Problem]:
    problems = []
    there = [channel for channel in recording.channels if channel.name in names]
    for channel in recording.channels:
        if channel.name not in names and not channel.shared:
            message = f"the column of {channel.tracked_point} in {CHANNELS.file} is not in the file"
            problems.append(_said(recording, message, _is_it(channel.name, names), channel.name))
    if not there and recording.channels and all(channel.shared for channel in recording.channels):
        wanted = some_of([channel.name for channel in recording.channels], _MOST_NAMES)
        message = f"none of the columns of {CHANNELS.file} ({wanted}) is in the file"
        problems.append(_said(recording, message, f"{_is_it(recording.channels[0].name, names)} Else {_GOES_ON}"))
    seen: dict[tuple[str, bool], Channel] = {}
    worn: dict[str, Channel] = {}
    for channel in there:
        if channel.status == "bad":
            continue
        first = seen.setdefault((channel.tracked_point, channel.units in RESPONSE_UNITS), channel)
        if first is not channel:
            message = f"columns {first.name!r} and {channel.name!r} are both {channel.tracked_point}"
            remedy = f"name the one to use in {CHANNELS.file} in a row for this recording; else {_GOES_ON}"
            problems.append(_said(recording, message, remedy, channel.name))
        if channel.sensor_id is None or channel.units not in RESPONSE_UNITS or channel.tracked_point not in BODY_POINTS:
            continue
        first = worn.setdefault(channel.sensor_id, channel)
        if first.tracked_point != channel.tracked_point:
            message = (
                f"sensor {channel.sensor_id} is on {first.tracked_point} ({first.name!r}) and on"
                f" {channel.tracked_point} ({channel.name!r}) at the same time"
            )
            remedy = f"give each place the sensor that was on it in {CHANNELS.file}"
            problems.append(replace(_said(recording, message, remedy, channel.name), caution=False))
    return problems


def _rate_problem(recording: Recording, rate: float, source: str, settings: _Settings) -> Problem | None:
    sheet = recording.sampling_frequency
    if sheet is None or abs(rate / sheet - 1.0) <= settings.rate_tolerance:
        return None
    message = f"{source} {rate:.6g} Hz, sampling_frequency in recordings.tsv says {sheet:.6g}"
    remedy = "correct sampling_frequency, or name the unit of the stamps in the column's name (time_ms)"
    return _said(recording, message, remedy, recording.time_column)


def _by_stamps(
    recording: Recording, extent: Extent, settings: _Settings
) -> tuple[float | None, float | None, list[Problem]]:
    """Give rate and length by the time column, and what is wrong with it."""
    column, sheet = recording.time_column or "", recording.sampling_frequency
    stamps = extent.stamps[np.isfinite(extent.stamps)]
    try:
        factor = 1.0 if extent.clock else stamp_unit(stamps, column, extent.units, sheet).seconds
        base = time_base(stamps * factor, None, gap_steps=settings.gap_steps)
    except TimeBaseError as error:
        message = f"time column {column!r}: {error}"
        return (
            None,
            None,
            [_said(recording, message, f"correct it, or leave time_column empty; else {_GOES_ON}", column)],
        )
    rate = base.rate
    # a coarse clock gives no rate by the first rows alone
    odd = None if base.packets else _rate_problem(recording, rate, f"time stamps of {column!r} give", settings)
    length = None if extent.last is None else (extent.last - float(stamps[0])) * factor + 1 / rate
    return rate, length if length is None or length > 0 else None, [] if odd is None else [odd]


def _timed(
    recording: Recording, channels: tuple[Channel, ...], seen: Peek, extent: Extent | None, settings: _Settings
) -> tuple[Looked, list[Problem]]:
    """Find the rate and the length of a recording whose file could be opened."""
    column, problems = recording.time_column, list[Problem]()
    stamped = column is not None and column in seen.names
    rate, length = seen.rate or recording.sampling_frequency, None
    if stamped and extent is not None and len(extent.stamps):
        rate, length, problems = _by_stamps(recording, extent, settings)
    elif not stamped:
        odd = None if seen.rate is None else _rate_problem(recording, seen.rate, "the file says", settings)
        problems += [] if odd is None else [odd]
        samples = seen.samples if seen.samples is not None or extent is None else extent.rows
        if samples is not None and rate is not None and rate > 0:
            length = samples / rate
    about = None if extent is None or extent.rows_about is None or not rate else extent.rows_about / rate
    return Looked(channels, length, rate, about), problems


def _names(recording: Recording) -> list[str]:
    own = [] if recording.time_column is None else [recording.time_column]
    return [channel.name for channel in recording.channels] + own


def _opened(recording: Recording, length_only: bool) -> tuple[Peek, Extent | None]:
    """Open a file; for its length alone the first and last rows of a text tell the names as well."""
    names, column = _names(recording), recording.time_column
    extent = read_extent(recording.path, names, column) if length_only else None
    if extent is not None:
        return Peek(extent.names, None, extent.rows, {}, ()), extent
    seen = peek(recording.path, names)
    known = seen.rate is not None and (column is None or column not in seen.names)
    return seen, None if known else read_extent(recording.path, names, column)


def _look(
    recording: Recording, settings: _Settings, length_only: bool
) -> tuple[Looked | None, Peek | None, list[Problem]]:
    """Open one file and say what is wrong with it."""
    column = recording.time_column
    try:
        seen, extent = _opened(recording, length_only)
    except ReadError as error:
        return None, None, [_said(recording, error.reason, _GOES_ON)]
    channels = tuple(c for c in recording.channels if c.name in seen.names and c.status != "bad")
    looked, found = _timed(recording, channels, seen, extent, settings)
    problems = _column_problems(recording, seen.names)
    if column is not None and column not in seen.names:
        remedy = f"{_is_it(column, seen.time_like or seen.names)} Else correct time_column"
        problems.append(_said(recording, f"the time column {column!r} is not in the file", remedy, column))
    return looked, seen, problems + found


def _longer_look(recording: Recording, looked: Looked, seen: Peek, end: float, settings: _Settings) -> float | None:
    """Give the length of a recording, reading all of a large file only where labels go on too long for its size."""
    if looked.length_s is not None or looked.about_s is None or end < _MUCH_LONGER * looked.about_s:
        return looked.length_s
    try:
        extent = read_extent(recording.path, _names(recording), recording.time_column, surely=True)
    except ReadError:
        return None
    return _timed(recording, looked.channels, seen, extent, settings)[0].length_s


def _ends_early(recording: Recording) -> bool:
    """Say whether a file tells of itself that its end is missing, or cannot be read to its end."""
    try:
        faults = read_raw(recording.path, _names(recording)).faults
    except ReadError:
        return True
    return any("ends early" in fault for fault in faults)


def _once(beyond: Sequence[Problem]) -> Problem:
    """Make one caution of all labels beyond the end of a file that is cut."""
    return replace(beyond[0], message=beyond[0].message + further_rows(beyond), remedy=_CUT, caution=True)


def _label_problems(
    study: Study, recording: Recording, looked: Looked, seen: Peek, settings: _Settings
) -> list[Problem]:
    """Hold the labels of a recording against its length and against the channels that its file has."""
    problems = []
    sheet_points = {channel.tracked_point for channel in recording.channels}
    points = {channel.tracked_point for channel in looked.channels}
    for path in recording.labels.values():
        file = path.relative_to(study.root).as_posix()
        sheet, _ = read_sheet(path, file, LABEL_COLUMNS)
        if sheet is None:
            continue
        labels = labels_in(sheet)
        length = _longer_look(recording, looked, seen, max((label.end for label in labels), default=0.0), settings)
        if length is not None:
            beyond = length_problems(labels, length, looked.rate, file, recording.file)
            likely = any(
                "look like" in problem.remedy for problem in beyond
            )  # another unit, whatever became of the file
            if beyond and not likely and _ends_early(recording):
                beyond = [_once(beyond)]
            problems += beyond
        if points and points != sheet_points:
            # a row for every recording may name a channel that this file does not have
            problems += [p for p in meaning_problems(labels, points, file) if "channel" in p.message]
    return problems


def _in_no_file(seen: Mapping[str, Counter[bool]]) -> list[Problem]:
    """Find rows for every recording whose column is in none of the files."""
    problems = []
    for name, counts in seen.items():
        # of a single file it may be right that it has the other of two columns
        if not counts[True] and counts[False] > 1:
            message = f"this column is in none of the {counts[False]} files that could have it"
            remedy = "correct the name, or remove the row"
            problems.append(Problem(CHANNELS.file, message, remedy, column="name", value=name, caution=True))
    return problems


def _strictly(problem: Problem) -> Problem:
    remedy = problem.remedy.replace(_GOES_ON, "under the setting strict a run stops there")
    return replace(problem, remedy=remedy, caution=False)


def look_into_files(
    study: Study, *, gap_steps: float, rate_tolerance: float, strict: bool = False, only_labelled: bool = False
) -> list[Problem]:
    """Open the raw files as far as columns, rate and length need.

    Parameters
    ----------
    study : Study
        Checked.
    gap_steps, rate_tolerance : float
        The settings of ingest: what is a gap between stamps, and from what share on two rates differ.
    strict : bool
        What would reject or degrade a recording is a fault, not a caution.
    only_labelled : bool
        Look only at recordings with labels, and only for what is wrong with these.

    Returns
    -------
    list of Problem
        By recording; labels first.
    """
    settings = _Settings(gap_steps, rate_tolerance)
    of_files: list[Problem] = []
    of_labels: list[Problem] = []
    shared: dict[str, Counter[bool]] = defaultdict(Counter)
    unread: set[str] = set()
    for recording in study.recordings.values():
        if only_labelled and not recording.labels:
            continue
        looked, seen, found = _look(recording, settings, only_labelled)
        of_files += found
        if looked is None or seen is None:
            unread.update(channel.name for channel in recording.channels)
            continue
        names = {channel.name for channel in looked.channels}
        for channel in recording.channels:
            if channel.shared and channel.status != "bad" and names:
                shared[channel.name][channel.name in names] += 1
        of_labels += _label_problems(study, recording, looked, seen, settings)
    if only_labelled:
        return [*of_labels, *(p for p in of_files if not p.caution)]
    said = [*of_files, *_in_no_file({name: counts for name, counts in shared.items() if name not in unread})]
    return [*of_labels, *(map(_strictly, said) if strict else said)]
