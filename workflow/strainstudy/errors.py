"""What can be wrong with a study, said once and in full.

`StudyError` carries every problem found before work starts; `RecordingError` is one recording that cannot
be used, which never stops the others unless the study asks for it (setting ``strict``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Problem", "RecordingError", "StudyError", "caution_lines", "counted", "further_rows", "some_of"]


def some_of(names: Sequence[str], most: int, between: str = ", ") -> str:
    """Name the first ones and count the rest."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return between.join(names[:most]) + more


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """Write a number with its noun, whose plural has an s if none is given."""
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def further_rows(rows: Sequence[object]) -> str:
    """Say how many rows have the same fault as the first one, which is named: nothing if it is the only one."""
    more = len(rows) - 1
    return "" if more == 0 else f" (and {more} further row{'s' if more > 1 else ''})"


@dataclass(frozen=True)
class Problem:
    """One fault of the input, or one thing that is unlikely, and its remedy.

    Parameters
    ----------
    file : str
        File as the user wrote it, relative to the study folder where it lies in there.
    message : str
        What is wrong, as a clause without a full stop.
    remedy : str
        What to do about it, as a clause without a full stop.
    row : int, optional
        Line number in the file as an editor counts it (the header is line 1).
    column : str, optional
        Column name, or the dotted name of a setting.
    value : str, optional
        The offending value as it stands in the file.
    caution : bool
        Unlikely, not impossible: it is said and stops nothing.
    """

    file: str
    message: str
    remedy: str
    row: int | None = None
    column: str | None = None
    value: str | None = None
    caution: bool = False

    def __str__(self) -> str:
        where = [self.file]
        if self.row is not None:
            where.append(f"row {self.row}")
        if self.column is not None:
            where.append(f"column {self.column}")
        if self.value is not None:
            where.append(f"value {self.value!r}")
        return f"{', '.join(where)}: {self.message}; {self.remedy}."


class StudyError(Exception):
    """The study cannot be worked on as it stands.

    Parameters
    ----------
    problems : sequence of Problem
        All problems of all files, in the order they are to be shown. Cautions among them are shown apart.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problem for problem in problems if not problem.caution)
        self.cautions = tuple(problem for problem in problems if problem.caution)
        super().__init__(tuple(problems))

    def __str__(self) -> str:
        n = len(self.problems)
        head = f"{n} problem{'s' if n != 1 else ''} found; nothing was run:"
        lines = [head, *(f"  {problem}" for problem in self.problems)]
        return "\n".join([*lines, *caution_lines(self.cautions)])


def caution_lines(cautions: Sequence[Problem]) -> list[str]:
    """Show what is unlikely and stops nothing: no line if there is nothing."""
    if not cautions:
        return []
    n = len(cautions)
    head = "1 caution, which stops nothing:" if n == 1 else f"{n} cautions, which stop nothing:"
    return [head, *(f"  {caution}" for caution in cautions)]


class RecordingError(Exception):
    """One recording cannot be used.

    Parameters
    ----------
    recording_id : str
        The recording.
    reason : str
        What is wrong and what to do, in words for the person who made the recording.
    """

    def __init__(self, recording_id: str, reason: str) -> None:
        self.recording_id = recording_id
        self.reason = reason
        super().__init__(recording_id, reason)

    def __str__(self) -> str:
        return f"recording {self.recording_id}: {self.reason}"
