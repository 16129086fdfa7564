"""Find the clips in a folder by what is in them, not by what they are called."""

from __future__ import annotations

import calendar
import mimetypes
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from formcheck.clip.read import glance, probe
from formcheck.errors import ClipError, TrackError
from formcheck.files import open_regular
from formcheck.pose.digest import sha256_of
from formcheck.pose.store import read_track

REPORT = "report.json"  # a folder that holds one is a report, not a place for clips
_UNFINISHED = {".part", ".partial", ".crdownload", ".download", ".tmp", ".filepart"}
# ISO base media brands of still pictures and of sound (ISO/IEC 23008-12; MP4 registry).
_NO_CLIP_BRANDS = {b"heic", b"heix", b"mif1", b"avif", b"M4A ", b"M4B "}
_MIN_YEAR = 2000  # a clock that was never set says 1904 or 1970
# 20260417_181530 and 2026-04-17 18.15.30, as cameras name their files (common practice).
_NAMED_TIME = re.compile(
    r"(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)[-_. T]*(\d\d)[-_.:h]?(\d\d)[-_.:m]?(\d\d)"
)


@dataclass(frozen=True)
class ClipFile:
    """A clip, or a saved pose track, as it lies in the folder.

    ``place`` its path inside the folder, with ``/``. ``duration_s`` 0 where it cannot be read,
    and ``unreadable`` then says why. ``recorded_s`` when its recording began or ended (phones
    differ) by its own clock, and ``named_s`` by its file name, each in seconds since one
    moment of its own; None where not told. They are compared among themselves and written
    nowhere.
    """

    path: Path
    place: str
    sha256: str
    duration_s: float
    recorded_s: float | None = None
    named_s: float | None = None
    unreadable: str | None = None


def files_in(folder: Path, out: Path | None = None) -> Iterator[Path]:
    """Every file that could be a clip, in order of name, those of ``out`` and of reports aside."""
    left_out = out.resolve() if out is not None else None
    for top, folders, files in os.walk(folder):
        here = Path(top)
        folders[:] = sorted(
            name
            for name in folders
            if not name.startswith(".") and (here / name).resolve() != left_out
        )
        if REPORT in files or (left_out is not None and here.resolve() == left_out):
            # A report's own clip is no set; clips beside summaries of an earlier run are.
            if here != folder:
                folders[:] = []
            continue
        for name in sorted(files):
            path = here / name
            if not name.startswith((".", "~")) and path.suffix.lower() not in _UNFINISHED:
                yield path


def look_at(path: Path, place: str) -> ClipFile | None:
    """What a file is: a clip, or None. One that should be a clip but cannot be read says why."""
    if path.suffix == ".parquet":
        return _track_at(path, place)
    if not _is_clip(path):
        return None
    try:
        info = probe(path)
    except ClipError as error:
        return ClipFile(path, place, _digest(path), 0.0, unreadable=str(error))
    return ClipFile(path, place, _digest(path), info.duration_s, _recorded_s(path), _named_s(place))


def _digest(path: Path) -> str:
    """Empty where the file may not be read."""
    try:
        return sha256_of(path)
    except OSError:
        return ""


def _is_clip(path: Path) -> bool:
    """By its content; what says it is a clip but cannot be opened is one too, a broken one."""
    try:
        found = glance(path)
    except OSError:
        found = None
    if found is None:
        return _brand(path) not in {*_NO_CLIP_BRANDS, None} or _named_a_clip(path)
    if found.shows:
        return _brand(path) not in _NO_CLIP_BRANDS
    return _named_a_clip(path)  # a clip that lost its picture


def _brand(path: Path) -> bytes | None:
    """The ISO base media brand of the file, None where it is none of these."""
    try:
        with path.open("rb") as file:
            head = file.read(12)
    except OSError:
        return None
    return head[8:12] if head[4:8] == b"ftyp" else None


def _named_a_clip(path: Path) -> bool:
    kind, _ = mimetypes.guess_type(path.name)
    return kind is not None and kind.startswith("video/")


def _track_at(path: Path, place: str) -> ClipFile | None:
    try:
        with open_regular(path) as file:
            names = set(pq.read_schema(file).names)
    except (OSError, pa.ArrowException):
        names = {"t_s"}  # let the reader of tracks say what is wrong
    if "t_s" not in names:
        return None
    try:
        track = read_track(path)
    except TrackError as error:
        return ClipFile(path, place, _digest(path), 0.0, unreadable=str(error))
    return ClipFile(path, place, _digest(path), track.duration_s, named_s=_named_s(place))


def _recorded_s(path: Path) -> float | None:
    found = glance(path)
    said = found.recorded if found is not None else ""
    match = re.match(r"(\d{4})-(\d\d)-(\d\d)[T ](\d\d):(\d\d):(\d\d)", said)
    return _seconds(match) if match else None


def _named_s(place: str) -> float | None:
    match = _NAMED_TIME.search(place.rpartition("/")[2])
    return _seconds(match) if match else None


def _seconds(match: re.Match[str]) -> float | None:
    year, month, day, hour, minute, second = (int(part) for part in match.groups())
    if year < _MIN_YEAR or not (1 <= month <= 12 and 1 <= day <= 31 and hour < 24 and minute < 60):
        return None
    return float(calendar.timegm((year, month, day, hour, minute, second)))
