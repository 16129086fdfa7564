"""Files from outside: a regular file, no larger than its kind ever is; and names that fit."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

# Not every platform has each of these.
_TO_READ = os.O_RDONLY
for _name in ("O_NONBLOCK", "O_CLOEXEC", "O_BINARY"):
    _TO_READ |= getattr(os, _name, 0)


def open_regular(path: Path, largest_bytes: int | None = None) -> BinaryIO:
    """The file, open for reading.

    Raises OSError, whose ``strerror`` says why: also for a pipe or a device, which may never end
    (and is refused before it blocks), and for more than ``largest_bytes``.
    """
    try:
        file = os.fdopen(os.open(path, _TO_READ), "rb")
    except ValueError as error:  # a NUL in its name
        raise OSError(errno.EINVAL, "no file has such a name") from error
    found = os.fstat(file.fileno())
    if not stat.S_ISREG(found.st_mode):
        file.close()
        raise OSError(errno.EINVAL, "it is not a file but a device or a pipe")
    if largest_bytes is not None and found.st_size > largest_bytes:
        file.close()
        raise OSError(
            errno.EFBIG, f"it holds {found.st_size:,} bytes, and at most {largest_bytes:,} are read"
        )
    return file


def read_small(path: Path, largest_bytes: int) -> bytes:
    """All of a regular file of at most ``largest_bytes``; raises OSError like ``open_regular``."""
    with open_regular(path, largest_bytes) as file:
        return file.read(largest_bytes)


def cut_name(name: str, most_bytes: int) -> str:
    """As many signs of a file's name as fit; half a sign would be none that all can read.

    >>> cut_name("añ", 2)
    'a'
    """
    while len(os.fsencode(name)) > most_bytes:
        name = name[:-1]
    return name
