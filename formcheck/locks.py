"""Files and folders held by one process; the system lets go of them however the process ends.

Windows holds files and no folders. What is written for it was not run there.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

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
