"""Raw files to numbers, one module a format; which module reads a file is told by its name alone."""

from __future__ import annotations

import stat
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .model import Peek, RawChannel, RawFile, ReadError
from .room import DEFAULT_LARGEST_BYTES, Room, available_bytes
from .suffixes import FORMATS, file_format

if TYPE_CHECKING:  # by its name at run time; here so that a changed reader changes the hash of what reads with it
    from . import edf, motion, parquet, tdms, text  # noqa: F401

__all__ = ["Peek", "RawChannel", "RawFile", "ReadError", "peek", "read_raw"]

_LARGEST = 1e30
"""No volts, ohms or degrees. Instruments write 9.9E37 for infinity, 9.91E37 for no number (SCPI-1999; from memory)."""


def _reader(path: Path) -> Any:
    """Load the module of a file's format, if the file is there and has something in it."""
    form = file_format(path)
    if form is None:
        raise ReadError(f"there is no reader for {path.name!r}; export it as one of: {', '.join(FORMATS)}")
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise ReadError("the file is not there") from None
    except (OSError, ValueError) as error:
        # a loop of links, a name that is too long, a folder without permission
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ReadError(f"the file cannot be reached ({why.lower()}); copy it to an ordinary place and name") from None
    if not stat.S_ISREG(found.st_mode):
        raise ReadError("not an ordinary file; copy the recording itself there")
    if found.st_size == 0:
        raise ReadError("the file is empty")
    return import_module(f".{form}", __name__)


def _guarded(read: Callable[..., Any], path: Path, *arguments: Any) -> Any:
    """Call a reader; what the system or a format's library raises becomes a reason in words."""
    try:
        return read(path, *arguments)
    except ReadError:
        raise
    except MemoryError as error:
        raise ReadError("the file does not fit into the memory of this machine; split the recording") from error
    except OSError as error:
        raise ReadError(f"the file cannot be read ({(error.strerror or str(error)).lower()}); copy it again") from error
    except Exception as error:  # a damaged file may make a format's library stumble over anything
        raise ReadError(
            f"the file cannot be read ({type(error).__name__}: {error}); export or copy it again"
        ) from error


def peek(path: Path, columns: Sequence[str] = ()) -> Peek:
    """Open a raw file only as far as its columns, rate and length need.

    Parameters
    ----------
    path : Path
        The file.
    columns : sequence of str, optional
        Names that are looked for: the line of a text file that has them is its header.

    Returns
    -------
    Peek

    Raises
    ------
    ReadError
        Where `read_raw` would for what is seen so far; the reason is in words.
    """
    seen: Peek = _guarded(_reader(path).peek, path, columns)
    return seen


def _without_infinite(raw: RawFile) -> RawFile:
    """Take infinite and as good as infinite values, by which instruments mark what is over range, as missing."""
    channels, faults = dict(raw.channels), list(raw.faults)
    for name, channel in raw.channels.items():
        over = np.abs(channel.values) > _LARGEST
        count = int(np.count_nonzero(over))
        if count:
            channels[name] = replace(channel, values=np.where(over, np.nan, channel.values))
            noun, verb = (
                ("sample", "is over range and counts") if count == 1 else ("samples", "are over range and count")
            )
            first = int(np.argmax(over)) + 1
            faults.append(f"{count} {noun} of column {name!r} {verb} as missing (first: sample {first})")
    return replace(raw, channels=channels, faults=tuple(faults))


def read_raw(path: Path, columns: Sequence[str] | None = None, largest_bytes: int = DEFAULT_LARGEST_BYTES) -> RawFile:
    """Read a raw file.

    Parameters
    ----------
    path : Path
        The file; its suffix says its format (`suffixes.FORMATS`). The format's module is loaded on first
        use, so that a job pays only for the formats it meets.
    columns : sequence of str, optional
        Columns or channels wanted; all numeric ones if not given. One that is not there is left out of
        ``channels``: compare with ``names``.
    largest_bytes : int, optional
        A file that is larger when unpacked is refused before it is read, and so is one that the machine's memory
        cannot hold.

    Returns
    -------
    RawFile

    Raises
    ------
    ReadError
        If the file is not there, damaged, or not what its suffix says; the reason is in words.
    """
    raw: RawFile = _guarded(_reader(path).read, path, columns, Room(largest_bytes, available_bytes()))
    return _without_infinite(raw)
