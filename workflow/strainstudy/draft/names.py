"""What the names of files and folders tell: who, when, which task, which sensor.

In: paths below a folder, and a pattern if the user gives one. Out: what each path says; nothing is taken for granted
that no word of the path says. The words are common practice in labs, no source; ``sub-`` and ``ses-`` are of BIDS.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Final

from ..errors import Problem, StudyError
from ..io.readers.suffixes import FORMATS
from ..vocabulary import BENCH_TASKS, TASKS

__all__ = ["PLACEHOLDERS", "Named", "Pattern", "default_pattern_words", "read_name", "stem_of"]

PLACEHOLDERS: Final = ("participant", "session", "task", "sensor", "any")
_EDGE: Final = r"(?:(?<=^)|(?<=[_/. -]))"
_END: Final = r"(?=$|[_/. -])"
_PARTICIPANT: Final = re.compile(
    rf"{_EDGE}(?:sub(?:ject)?|subj|participant|person|patient|pat|vp|p|s)[-_ ]?(?P<id>\d+|(?<=sub-)[a-z0-9]+){_END}",
    re.IGNORECASE,
)
_SESSION: Final = re.compile(
    rf"{_EDGE}(?:session|sess|ses|visit|day|v|t|d)[-_ ]?(?P<id>\d+|(?<=ses-)[a-z0-9]+){_END}", re.IGNORECASE
)
_VOLUME: Final = re.compile(rf"{_EDGE}(?P<id>\d+(?:\.\d+)?)[-_ ]?ml{_END}", re.IGNORECASE)
_TASK_WORDS: Final = {
    "walk": ("walk", "walking", "gait", "treadmill", "overground"),
    "bend": ("bend", "bends", "bending", "calib", "calibration", "flexion", "goniometer"),
    "swallow": ("swallow", "swallows", "swallowing", "water", "drink", "drinking", "saliva"),
    "free": ("free", "daily", "adl"),
    "stretch": ("stretch", "stretching", "cyclic", "cycles", "tensile", "steps"),
    "tap": ("tap", "taps", "tapping"),
}
_PASSED_OVER: Final = ("bench", "raw", "data", "rec", "recording", "run", "trial", "test", "sensor")


@dataclass(frozen=True)
class Named:
    """What a path says.

    Parameters
    ----------
    file : str
        Path relative to the folder.
    participant_id, session_id, task, sensor_id : str or None
        As the sheets have them.
    volume_ml : str or None
        Number before ``ml``.
    """

    file: str
    participant_id: str | None = None
    session_id: str | None = None
    task: str | None = None
    sensor_id: str | None = None
    volume_ml: str | None = None


class Pattern:
    """A pattern of paths such as ``{participant}/{session}_{task}``, matched from the right, without the suffix.

    Parameters
    ----------
    text : str
        Placeholders of `PLACEHOLDERS`; each stands for letters, digits, ``-`` and ``.``, and ``{any}`` for anything
        within one name.

    Raises
    ------
    StudyError
        If a placeholder is unknown or there twice, or there is none.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        names = re.findall(r"\{([^{}]*)\}", text)
        known = [name for name in names if name in PLACEHOLDERS]
        twice = {name for name in names if names.count(name) > 1 and name != "any"}
        if names != known or twice or not names:
            remedy = f"use each of {', '.join(f'{{{name}}}' for name in PLACEHOLDERS[:-1])} at most once, and {{any}}"
            raise StudyError([Problem("--pattern", "not a pattern of paths", remedy, value=text)])
        parts = re.split(r"\{([^{}]*)\}", text)
        body = "".join(
            re.escape(part) if i % 2 == 0 else "[^/]*" if part == "any" else rf"(?P<{part}>[A-Za-z0-9.-]+)"
            for i, part in enumerate(parts)
        )
        self._compiled = re.compile(rf"(?:.*/)?{body}")

    def read(self, file: str) -> Named | None:
        """Take a path apart; None where the pattern does not fit it."""
        found = self._compiled.fullmatch(stem_of(file, whole=True))
        if found is None:
            return None
        given = found.groupdict()
        task = given.get("task")
        return Named(
            file,
            _prefixed("sub-", given.get("participant")),
            _prefixed("ses-", given.get("session")),
            None if task is None else task if task in TASKS else _task(task),
            given.get("sensor"),
            _group(_VOLUME, file),
        )


def stem_of(file: str, *, whole: bool = False) -> str:
    """Give a file's name without its suffix, ``.csv.gz`` taken as one; with its folders if ``whole``."""
    name = file if whole else PurePosixPath(file).name
    for suffix in sorted(FORMATS, key=len, reverse=True):
        if name.lower().endswith(suffix):
            return name[: -len(suffix)]
    return name


def _prefixed(prefix: str, text: str | None) -> str | None:
    """Make an id of the study format: prefix, then letters and digits."""
    if text is None:
        return None
    body = re.sub(r"[^A-Za-z0-9]", "", text.removeprefix(prefix))
    return f"{prefix}{body}" if body else None


def _group(pattern: re.Pattern[str], text: str) -> str | None:
    found = pattern.search(text)
    return None if found is None else found["id"]


def _words(text: str) -> list[str]:
    return [word for word in re.split(r"[^a-z]+", text.lower()) if word]


def _task(text: str) -> str | None:
    """Find the one task that the words of a text name; None for none, and for two."""
    words = set(_words(text))
    found = [task for task, names in _TASK_WORDS.items() if words & set(names)]
    return found[0] if len(found) == 1 else None


def default_pattern_words() -> str:
    """Say in words how names are read where the user gives no pattern."""
    tasks = "; ".join(f"{task}: {', '.join(names)}" for task, names in _TASK_WORDS.items())
    return (
        "a participant is a number behind sub-, subject, participant, person, patient, p or s; a session one behind "
        "ses-, session, visit, day, v, t or d; a volume a number before ml; a task one of these words "
        f"({tasks}); on the bench the sensor is what the name holds beside these."
    )


def _sensor(stem: str) -> str | None:
    """Take what is left of a bench file's name when session, task and fillers are gone."""
    left = _VOLUME.sub("", _SESSION.sub("", stem))
    words = {name for names in _TASK_WORDS.values() for name in names} | set(_PASSED_OVER)
    parts = [part for part in re.split(r"[_ .]+", left) if part and part.lower() not in words and not part.isdigit()]
    return "_".join(parts) or None


def read_name(file: str, pattern: Pattern | None = None) -> Named:
    """Say what a path tells.

    Parameters
    ----------
    file : str
        Path relative to the folder, with forward slashes.
    pattern : Pattern, optional
        The user's own; a path that it does not fit says nothing.

    Returns
    -------
    Named
    """
    if pattern is not None:
        found = pattern.read(file) or Named(file)
    else:
        stem, folders = stem_of(file), PurePosixPath(file).parent.as_posix()
        # the name itself goes before the folders around it
        found = Named(
            file,
            _prefixed("sub-", _group(_PARTICIPANT, stem) or _group(_PARTICIPANT, folders)),
            _prefixed("ses-", _group(_SESSION, stem) or _group(_SESSION, folders)),
            _task(stem) or _task(folders),
            volume_ml=_group(_VOLUME, stem) or _group(_VOLUME, folders),
        )
        if found.task in BENCH_TASKS:
            found = replace(found, participant_id=None, sensor_id=_sensor(stem))
    return found
