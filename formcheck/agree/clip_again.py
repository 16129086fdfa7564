"""Find the clip of a saved report again: by its content, whatever it is called by now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

from formcheck.pose.digest import sha256_of


def find_clip(
    was: Path | None, sha256: str, folder: Path, places: Sequence[Path] = ()
) -> Path | None:
    """The clip with this content: where it ``was``, in one of ``places`` (files, or folders with
    all below them), in the report's ``folder`` or beside it.

    Looking at a file takes as long as reading it. So one of the same name comes first, and only
    files of the same kind are looked at; where the name is not told, in ``places`` alone.
    """
    there = list(_files(places, below=True))
    if was is not None:
        there = [was, *there, *_files((folder, folder.parent), below=False)]
        there = [path for path in there if path.suffix.lower() == was.suffix.lower()]
        there.sort(key=lambda path: path.name != was.name)
    return next((path for path in there if _content(path) == sha256), None)


def _files(places: Sequence[Path], below: bool) -> Iterator[Path]:
    for place in places:
        if place.is_dir():
            yield from sorted(place.rglob("*") if below else place.iterdir())
        else:
            yield place


def _content(path: Path) -> str | None:
    """A file's content; None where it is none, or cannot be read."""
    try:
        now = path.stat()
        return _read(path, now.st_mtime_ns, now.st_size) if path.is_file() else None
    except OSError:
        return None


@lru_cache(maxsize=4096)
def _read(path: Path, mtime_ns: int, size: int) -> str:
    """Many reports look through the same clips; one that changes is read again."""
    return sha256_of(path)
