"""Poses found before, so that asking again costs nothing.

A track is known by all that decides it: the content of the clip and of the models, the rate, the
source of the modules that find it, and the versions of the libraries they use.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from collections.abc import Callable, Collection
from dataclasses import replace
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

from formcheck.clip.info import ClipInfo
from formcheck.errors import TrackError
from formcheck.places import cache_folder
from formcheck.plain import plain
from formcheck.pose.digest import sha256_of
from formcheck.pose.landmarker import COUNTING_MODEL, OnTrack, find_pose
from formcheck.pose.model import POSE_RATE_HZ, PoseModel, find_model
from formcheck.pose.store import clip_of, read_track, write_track
from formcheck.pose.track import PoseTrack

# What decides where the landmarks are, for the same clip, models and rate: a test holds the list
# of modules to what the search imports.
DECISIVE_MODULES = (
    "clip/info.py",
    "clip/read.py",
    "clip/small.py",
    "clip/write.py",
    "files.py",
    "maths/arrays.py",
    "plain.py",
    "pose/digest.py",
    "pose/follow.py",
    "pose/landmarker.py",
    "pose/model.py",
    "pose/pace.py",
    "pose/track.py",
)
_DECISIVE_LIBRARIES = ("av", "mediapipe", "numpy")
_ABANDONED_S = 3600.0
KEEP_BYTES = 2_000_000_000  # of tracks; one of a minute at 15 Hz is about a megabyte


def find_pose_once(
    info: ClipInfo,
    model: PoseModel,
    rate_hz: float = POSE_RATE_HZ,
    processes: int = 1,
    fresh: bool = False,
    on_progress: Callable[[int, int], None] | None = None,
    on_track: OnTrack | None = None,
    small_in: Path | None = None,
) -> PoseTrack:
    """The pose track of a clip: the one found earlier unless ``fresh``, else ``find_pose``'s.

    Tracks are kept in the cache folder, up to ``KEEP_BYTES`` of them, those used last; a cache that
    cannot be read or written is no error.
    """
    sha256 = sha256_of(info.path)
    folder = _folder()
    if folder is None:
        return find_pose(info, model, rate_hz, processes, sha256, on_progress, on_track, small_in)
    path = folder / f"{_key(sha256, model, rate_hz)}.parquet"
    if not fresh:
        with contextlib.suppress(TrackError):
            kept = read_track(path)
            if (kept.source_sha256, kept.model_sha256) == (sha256, model.sha256):
                with contextlib.suppress(OSError):
                    os.utime(path)  # used just now
                return replace(kept, source_name=plain(info.path.name))
    track = find_pose(info, model, rate_hz, processes, sha256, on_progress, on_track, small_in)
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        write_track(track, path)
        _bound(folder)
        for left in folder.glob(".*.partial"):  # by a run that was killed
            if time.time() - left.stat().st_mtime > _ABANDONED_S:
                left.unlink()
    return track


def _bound(folder: Path) -> None:
    """Let go of the tracks that were used longest ago, down to what is kept."""
    found = [(path.stat(), path) for path in folder.glob("*.parquet")]
    size = sum(state.st_size for state, _ in found)
    for state, path in sorted(found, key=lambda one: one[0].st_mtime_ns)[:-1]:
        if size <= KEEP_BYTES:
            return
        path.unlink(missing_ok=True)
        size -= state.st_size


def forget(clips: Collection[str]) -> None:
    """Remove the poses found in these clips, told by their SHA-256."""
    folder = _folder()
    for path in folder.glob("*.parquet") if folder is not None else ():
        with contextlib.suppress(TrackError, OSError):
            if clip_of(path) in clips:
                path.unlink()


def _key(clip_sha256: str, model: PoseModel, rate_hz: float) -> str:
    counting = find_model(COUNTING_MODEL).sha256
    decided_by = (clip_sha256, model.sha256, counting, f"{rate_hz!r}", _search())
    return hashlib.sha256("\n".join(decided_by).encode()).hexdigest()


@cache
def _search() -> str:
    """What the search for the pose consists of, as one digest."""
    digest = hashlib.sha256()
    for module in DECISIVE_MODULES:
        digest.update(files("formcheck").joinpath(module).read_bytes())
    for library in _DECISIVE_LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()


def _folder() -> Path | None:
    home = cache_folder()
    return None if home is None else home / "tracks"
