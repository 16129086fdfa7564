"""Poses found before, by the content of clip and model, so that asking again costs nothing."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path

from formcheck.clip.read import ClipInfo
from formcheck.errors import TrackError
from formcheck.pose.digest import sha256_of
from formcheck.pose.landmarker import find_pose
from formcheck.pose.model import POSE_RATE_HZ, PoseModel
from formcheck.pose.store import read_track, write_track
from formcheck.pose.track import PoseTrack

_FOUND_BY = 1  # raise when the same clip and model would give other landmarks
_KEEP = 200  # tracks, about half a megabyte each


def find_pose_once(
    info: ClipInfo,
    model: PoseModel,
    rate_hz: float = POSE_RATE_HZ,
    processes: int = 0,
    fresh: bool = False,
    on_progress: Callable[[int, int], None] | None = None,
) -> PoseTrack:
    """The pose track of a clip: the one found earlier unless ``fresh``, else ``find_pose``'s.

    Tracks are kept under ``$XDG_CACHE_HOME/formcheck``; a cache that cannot be read or written
    is no error.
    """
    sha256 = sha256_of(info.path)
    path = _folder() / f"{_FOUND_BY}-{sha256[:32]}-{model.sha256[:16]}-{rate_hz:g}.parquet"
    if not fresh:
        with contextlib.suppress(TrackError):
            return replace(read_track(path), source_name=info.path.name)
    track = find_pose(info, model, rate_hz, processes, sha256, on_progress)
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_track(track, path)
        oldest_first = sorted(path.parent.glob("*.parquet"), key=lambda kept: kept.stat().st_mtime)
        for kept in oldest_first[:-_KEEP]:
            kept.unlink()
    return track


def forget(clips: Collection[str]) -> None:
    """Remove the poses found in these clips, told by their SHA-256."""
    for path in _folder().glob("*.parquet"):
        with contextlib.suppress(TrackError, OSError):
            if read_track(path).source_sha256 in clips:
                path.unlink()


def _folder() -> Path:
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(home) / "formcheck" / "tracks"
