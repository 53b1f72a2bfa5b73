"""How large a raw file may be when it is unpacked: what the setting allows, and never more than the machine can hold.

In: the setting and what the system says about memory. Out: a `Room`, which refuses what does not fit before it is
read. A few kilobytes of a packed file can stand for terabytes.
"""

from __future__ import annotations

import os
import resource
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from .model import ReadError

__all__ = ["DEFAULT_LARGEST_BYTES", "Room", "available_bytes"]

DEFAULT_LARGEST_BYTES: Final = 8_000_000_000
"""A day of eight channels at 1 kHz, as numbers, is 5.5 GB (ours)."""
_CGROUPS = Path("/sys/fs/cgroup")


def _words(size: float) -> str:
    return f"{size / 1e9:.3g} GB" if size >= 1e8 else f"{size / 1e6:.3g} MB"


def _number_in(path: Path) -> int | None:
    try:
        return int(path.read_text(encoding="ascii"))
    except (OSError, ValueError):  # not there, or the word "max"
        return None


def _group_room() -> list[int]:
    """List what the control groups of this process, such as a batch system's job, have left."""
    try:
        lines = Path("/proc/self/cgroup").read_text(encoding="utf-8").splitlines()
    except OSError:
        return []
    left = []
    for inside in (line.split("::", 1)[1] for line in lines if "::" in line):
        group = _CGROUPS / inside.lstrip("/")
        for folder in (group, *group.parents):
            most, used = _number_in(folder / "memory.max"), _number_in(folder / "memory.current")
            if most is not None and used is not None:
                left.append(most - used)
    return left


def available_bytes() -> int:
    """Give the memory that this process can still take, as the system tells it."""
    rooms = _group_room()
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        rooms += [1024 * int(line.split()[1]) for line in lines if line.startswith("MemAvailable:")]
    except OSError:
        rooms.append(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    if limit != resource.RLIM_INFINITY:
        rooms.append(limit)
    return max(min(rooms), 0)


@dataclass(frozen=True)
class Room:
    """How large a raw file may be.

    Parameters
    ----------
    allowed : int
        Bytes of a raw file when unpacked, as the setting says.
    available : int
        Bytes of memory that there are.
    """

    allowed: int
    available: int

    def most(self, copies: float = 1.0) -> int:
        """Give the largest size in bytes of something that is in memory ``copies`` times while it is read."""
        return min(self.allowed, int(self.available / copies))

    def refuse(self, size: float, copies: float = 1.0, *, at_least: bool = False) -> None:
        """Refuse a file that unpacks to more than there is room for.

        Parameters
        ----------
        size : float
            Bytes when unpacked.
        copies : float
            How often they are in memory while they are read.
        at_least : bool
            Whether the size is not known beyond that.

        Raises
        ------
        ReadError
        """
        if size <= self.most(copies):
            return
        unpacks = f"unpacked the file has {'more than ' if at_least else ''}{_words(size)}"
        if size > self.allowed:
            raise ReadError(
                f"{unpacks}, more than the {_words(self.allowed)} that the setting largest_unpacked_gb allows;"
                " split the recording, or raise the setting if the file is what it should be"
            )
        raise ReadError(
            f"{unpacks} and needs {_words(size * copies)} of memory while it is read, and this machine has"
            f" {_words(self.available)} available; split the recording, or give the job more memory"
        )
