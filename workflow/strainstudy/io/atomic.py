"""Files that appear whole or not at all, whatever happens to the process or the machine.

They are written beside their place and renamed over it. A machine that loses power may still have the new name but not
yet what is in the file. What cannot be made again is therefore brought to the disk first, one file at a time; all that
a job made is brought there once, before the job counts as done (`bring_to_disk`).
"""

from __future__ import annotations

import ctypes
import errno
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["PART", "bring_to_disk", "replacing", "write_bytes", "write_text"]

PART = re.compile(r"\.(?P<name>.+)\.(?P<process>[0-9]{1,9})\.part", re.DOTALL)
"""Name of an unfinished file: that of the file it is to become, and the number of the process that writes it."""
_NO_WAIT = {errno.EINVAL, errno.ENOTSUP, errno.EROFS, errno.ENOSYS}
"""What a file system answers that has nothing to wait for."""


def _wait(path: Path, how: str) -> None:
    """Call a function of the system on an open file or folder that waits for the disk."""
    file = os.open(path, os.O_RDONLY)
    try:
        if how == "fsync":
            os.fsync(file)
        elif ctypes.CDLL(None, use_errno=True).syncfs(file) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(path))
    except OSError as error:
        if error.errno not in _NO_WAIT:
            raise
    finally:
        os.close(file)


def bring_to_disk(folder: Path) -> None:
    """Wait until everything in the file system of a folder is on the disk.

    Raises
    ------
    OSError
        If something could not be written after all, as on a full disk behind a network.
    """
    if hasattr(ctypes.CDLL(None), "syncfs"):
        _wait(folder, "syncfs")
    else:
        os.sync()


@contextmanager
def replacing(path: Path, *, lasting: bool = False) -> Iterator[Path]:
    """Give a temporary path beside ``path``; on a clean exit it takes ``path``'s place, else it is removed.

    With ``lasting`` the file is on the disk before it takes that place, and so is its name before this returns: for
    what cannot be made again.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield temporary
        if lasting:
            _wait(temporary, "fsync")
        temporary.replace(path)
        if lasting:
            _wait(path.parent, "fsync")
    finally:
        temporary.unlink(missing_ok=True)


def write_bytes(path: Path, content: bytes, *, lasting: bool = False) -> None:
    """Write bytes so that a reader sees the old file or the new one, never a part."""
    with replacing(path, lasting=lasting) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, content: str, *, lasting: bool = False) -> None:
    """Write UTF-8 text with the line ends it has, whole or not at all."""
    write_bytes(path, content.encode("utf-8"), lasting=lasting)
