"""What was found out about files before, so that unchanged ones are not read again."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from formcheck.batch.find import ClipFile
from formcheck.locks import made_beside
from formcheck.places import cache_folder

State = list[int]


def state_of(path: Path) -> State:
    """What changes when a file does: size, times (one that no tool can set), place on disk."""
    try:
        at = path.stat()
    except OSError:
        return []
    return [at.st_size, at.st_mtime_ns, at.st_ctime_ns, at.st_ino]


class Known:
    """Kept for one folder of clips in your folder for caches; it only saves time, so a file of
    it that cannot be read or written is no error."""

    def __init__(self, folder: Path) -> None:
        home = cache_folder() or Path(os.devnull)
        name = hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:32]
        self._path = home / "folders" / f"{name}.json"
        self._files: dict[str, dict[str, Any]] = {}
        try:
            self._files = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return

    def has(self, place: str, state: State) -> bool:
        return bool(state) and self._files.get(place, {}).get("state") == state

    def clip(self, path: Path, place: str) -> ClipFile | None:
        """What the file was; None: no clip."""
        told = self._files[place]["clip"]
        return None if told is None else ClipFile(path=path, place=place, **told)

    def keep(self, place: str, state: State, found: ClipFile | None) -> None:
        told = None
        if found is not None:
            told = {k: v for k, v in asdict(found).items() if k not in ("path", "place")}
        self._files[place] = {"state": state, "clip": told}

    def write(self, places: Iterable[str]) -> None:
        """Save what is known of the files that are there."""
        there = {place: self._files[place] for place in places if place in self._files}
        with contextlib.suppress(OSError):
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with made_beside(self._path) as partial:
                partial.write_text(json.dumps(there), encoding="utf-8")
