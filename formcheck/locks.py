"""Files and folders held by one process; the system lets go of them however the process ends.

So a file that is being written beside its place can be told from one that a killed process left.

Windows holds files and no folders. What is written for it was not run there.
"""

from __future__ import annotations

import contextlib
import glob
import os
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from formcheck.files import cut_name

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_FAR = 1 << 30  # a byte that is held and never written, since Windows keeps others from reading it


def hold(file: int, wait: bool = False) -> bool | None:
    """Hold an open file or folder by its descriptor until it is closed.

    False when another process holds it; ``wait`` waits until it does not. None where the file
    system knows no locks.
    """
    try:
        if sys.platform == "win32":
            os.lseek(file, _FAR, os.SEEK_SET)
            msvcrt.locking(file, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return None
    return True


def open_folder(folder: Path) -> int | None:
    """A descriptor of a folder, to hold it by; None where folders cannot be held.

    Raises OSError when it is no folder, or cannot be opened.
    """
    if sys.platform == "win32":
        return None
    return os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)


PARTIAL = ".partial"  # ends the name of what is not whole yet
_NAME_BYTES = 100  # of a file's name in that of the one beside it


@contextmanager
def made_beside(path: Path, mode: int = 0o666) -> Iterator[Path]:
    """A new, empty file beside ``path``, which takes its place when the block ends well.

    On any error it goes and ``path`` stays as it was. What killed processes left beside the same
    path goes too. ``mode`` of a new file, as for ``os.open``. Raises OSError.
    """
    start = f".{cut_name(path.name, _NAME_BYTES)}."
    for left in path.parent.glob(f"{glob.escape(start)}*{PARTIAL}"):
        _remove_abandoned(left)
    partial, file = _held_new(path, start, mode)
    try:
        yield partial
        os.fsync(file)
        if sys.platform == "win32":  # an open file cannot be renamed there
            os.close(file)
        partial.replace(path)
    finally:
        with contextlib.suppress(OSError):
            os.close(file)
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)


def _held_new(path: Path, start: str, mode: int) -> tuple[Path, int]:
    while True:
        partial = path.with_name(f"{start}{secrets.token_hex(4)}{PARTIAL}")
        file = os.open(partial, os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)
        # Somebody who looks for what was abandoned may have been quicker than this.
        if hold(file) is not False and partial.exists():
            return partial, file
        os.close(file)


def _remove_abandoned(left: Path) -> None:
    """Remove a file that no process holds; unknown counts as held."""
    with contextlib.suppress(OSError):
        file = os.open(left, os.O_RDWR)
        try:
            if hold(file):
                left.unlink()
        finally:
            os.close(file)
