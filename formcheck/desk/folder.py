"""What the desk keeps on disk, and what that says of each set.

Everything lies in one folder::

    sets/ID/set.json       what was asked, and the clips that were announced
    sets/ID/1.part 1.have  a clip that is arriving, and how many of its bytes are sure
    sets/ID/1.mp4          a clip that is whole, named by what it is
    sets/ID/ended.json     how judging ended; not there: still to be judged
    sets/ID/picture.jpg    its decisive moment, small
    groups/ID.json         a folder of clips that was given at once
    groups/ID.csv          the roster that lay in it, if one did: or .toml, .xlsx
    reports/ID/            its report, as “formcheck set” writes it
    labels.csv             how people see reps differently, as “formcheck agree” reads it

Where a set stands is read from these files alone, each of which appears whole or not at all. So
a restart finds what was arriving and what was waiting. Names from outside are kept as text in
set.json and never become a path.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import time
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from formcheck.batch.records import write_whole
from formcheck.desk.asked import REMEMBERED, Asked
from formcheck.errors import FormcheckError, OutputError
from formcheck.files import read_small
from formcheck.locks import hold
from formcheck.places import data_folder
from formcheck.report.folder import REPORT, put_right

State = Literal["arriving", "waiting", "judged", "empty", "failed", "cancelled"]
Ending = Literal["judged", "empty", "failed", "cancelled"]
PART_BYTES = 4 << 20  # of a clip, sent and checked at once
_ABANDONED_S = 7 * 24 * 3600.0  # a clip of which nothing came for so long is given up
_LARGEST_JSON = 50_000_000
_ID = re.compile(r"\d{8}-\d{6}-[0-9a-f]{8}")
_HEAD_BYTES = 4 * 188 + 1  # as many as tell the containers apart


class DeskError(FormcheckError):
    """The desk cannot do what was asked; ``status`` is the HTTP status that says so."""

    def __init__(self, says: str, status: int = 400) -> None:
        super().__init__(says)
        self.status = status


@dataclass(frozen=True)
class Bounds:
    """What the desk takes: bytes of one clip, sets under way at once, bytes left free on disk."""

    clip_bytes: int = 1_500_000_000
    sets_under_way: int = 100
    clips_of_group: int = 400
    free_bytes: int = 500_000_000


@dataclass(frozen=True)
class Clip:
    """A clip as announced: its ``name`` on the machine it comes from, bytes, and when it was last
    changed there (ms since 1970; 0 where that is not known)."""

    name: str
    size: int
    changed_ms: int


@dataclass(frozen=True)
class DeskSet:
    """``begun`` when it was announced, ISO 8601. ``group`` the id of the folder that it came with,
    if it did, ``called`` what it is called there, and ``places`` of its clips inside that folder;
    ``by`` what two clips were paired by, empty where somebody said that they are one set; ``note``
    why its clip is judged on its own."""

    id: str
    begun: str
    asked: Asked
    clips: tuple[Clip, ...]
    group: str = ""
    called: str = ""
    by: str = ""
    note: str = ""
    places: tuple[str, ...] = ()


@dataclass(frozen=True)
class Planned:
    """A set of a folder that is to be announced, with the fields as in ``DeskSet``."""

    called: str
    by: str
    asked: Asked
    clips: tuple[Clip, ...]
    places: tuple[str, ...]


@dataclass(frozen=True)
class Group:
    """A folder of clips that was given at once. ``name`` of the folder; ``begun`` ISO 8601;
    ``roster`` the ending of its roster's name, empty where none lay in it."""

    id: str
    name: str
    begun: str
    roster: str = ""


@dataclass(frozen=True)
class Standing:
    """Where a set stands. ``have`` sure bytes of each clip; ``ended`` how it came out."""

    state: State
    have: tuple[int, ...]
    ended: Ended | None = None

    @property
    def says(self) -> str:
        return self.ended.says if self.ended else ""


@dataclass(frozen=True)
class Ended:
    """How a set came out. ``says`` why it failed, or the answer of its report in a line;
    ``apart`` where its clips are no one set; ``fix_first`` and ``variation`` as in a summary."""

    how: Ending
    says: str = ""
    apart: bool = False
    fix_first: str | None = None
    variation: str = ""


class DeskFolder:
    """The desk's folder. Raises OutputError where it cannot be written."""

    def __init__(self, root: Path, bounds: Bounds | None = None) -> None:
        self.root = root
        self.bounds = bounds or Bounds()
        try:
            for folder in (self._sets, self._groups, self.reports):
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise OutputError(
                f"{root} cannot be written ({error.strerror}); choose another with --folder."
            ) from error

    @property
    def _sets(self) -> Path:
        return self.root / "sets"

    @property
    def _groups(self) -> Path:
        return self.root / "groups"

    @property
    def reports(self) -> Path:
        return self.root / "reports"

    def report(self, set_id: str) -> Path:
        return self.reports / set_id

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold the folder for one desk, and put right what a killed one left half-done."""
        with (self.root / "lock").open("a") as file:
            if hold(file.fileno()) is False:
                raise OutputError(
                    f"{self.root} is in use by another desk; stop that one, or choose another "
                    "folder with --folder."
                )
            put_right(self.reports)
            for left in self.root.rglob(".*.partial"):
                if left.is_file():
                    left.unlink(missing_ok=True)
            for one in self.all():
                self._settle(one)
            yield

    def all(self) -> list[DeskSet]:
        """Every set, the latest first."""
        found = (self.find(path.name) for path in sorted(self._sets.iterdir(), reverse=True))
        return [one for one in found if one is not None]

    def find(self, set_id: str) -> DeskSet | None:
        """The set of that name; None where there is none, or it is no such name."""
        if not _ID.fullmatch(set_id):
            return None
        try:
            return _read_set(self._sets / set_id / "set.json")
        except (OSError, ValueError, TypeError, KeyError):
            return None

    def announce(self, asked: Asked, clips: Sequence[Clip]) -> DeskSet:
        """A new set whose clips are to come; or the one they were announced for before, if they
        have not all arrived since. Raises DeskError."""
        self._check(clips)
        under_way = []
        for one in self.all():
            state = self.standing(one).state
            if state == "arriving" and one.clips == tuple(clips) and not one.group:
                return self._write(replace(one, asked=asked))
            if state in ("arriving", "waiting"):
                under_way.append(one)
        if len(under_way) >= self.bounds.sets_under_way:
            raise DeskError(
                f"{len(under_way)} sets are under way already; wait until some are judged.", 429
            )
        return self._write(DeskSet(*_new_id(), asked, tuple(clips)))

    def announce_group(
        self, name: str, sets: Sequence[Planned], roster: tuple[str, bytes] | None = None
    ) -> tuple[Group, list[DeskSet]]:
        """The sets of a folder of clips, and the ``roster`` in it: its name's ending, and content.

        A folder that was given before is added to: sets that are there stay. Raises DeskError.
        """
        for one in sets:
            self._check(one.clips)
        self._check_room(sum(clip.size for one in sets for clip in one.clips))
        group = self.group_of_name(name) or Group(_new_id()[0], name, _now())
        if roster is not None:
            group = replace(group, roster=roster[0])
            write_whole(self._groups / f"{group.id}{roster[0]}", roster[1])
        text = json.dumps(asdict(group), ensure_ascii=False)
        write_whole(self._groups / f"{group.id}.json", text.encode())
        there = {one.clips: one for one in self.all() if one.group == group.id}
        new = sum(one.clips not in there for one in sets)
        under_way = sum(self.standing(one).state in ("arriving", "waiting") for one in self.all())
        if new and under_way + new > self.bounds.clips_of_group:
            raise DeskError(
                f"{under_way} sets are under way already; wait until some are judged.", 429
            )
        return group, [
            there.get(one.clips)
            or self._write(
                DeskSet(
                    *_new_id(),
                    one.asked,
                    one.clips,
                    group.id,
                    one.called,
                    one.by,
                    places=one.places,
                )
            )
            for one in sets
        ]

    def roster(self, group: Group) -> Path | None:
        """The file of its roster."""
        return self._groups / f"{group.id}{group.roster}" if group.roster else None

    def group_of_name(self, name: str) -> Group | None:
        return next((one for one in self.groups() if one.name == name), None)

    def groups(self) -> list[Group]:
        """Every folder of clips that was given, the latest first."""
        found = []
        for path in sorted(self._groups.glob("*.json"), reverse=True):
            with contextlib.suppress(OSError, ValueError, TypeError):
                found.append(Group(**json.loads(read_small(path, _LARGEST_JSON))))
        return found

    def of_group(self, group: Group) -> list[DeskSet]:
        """Its sets by name."""
        return sorted(
            (one for one in self.all() if one.group == group.id), key=lambda one: one.called
        )

    def part(self, one: DeskSet, why: str) -> list[DeskSet]:
        """Each clip as a set of its own, in place of the set of both; ``why`` is noted. Raises
        DeskError."""
        paths = self.clips(one)
        if len(paths) != 2:
            raise DeskError("this set has not two clips.", 409)
        parts = []
        for n, (path, clip) in enumerate(zip(paths, one.clips, strict=True), 1):
            # Named after the set, so that a desk that was killed meanwhile makes the same ones.
            mark = f"{zlib.crc32(f'{one.id} {n}'.encode()):08x}"
            called = f"{one.called}-{n}" if one.called else ""
            alone = DeskSet(
                f"{one.id[:-8]}{mark}", one.begun, one.asked, (clip,), one.group, called, note=why,
                places=one.places[n - 1 : n],
            )  # fmt: skip
            self._link(alone, (path,))
            parts.append(self._write(alone))  # last: until then it is no set
        self.remove(one)
        return parts

    def join(self, one: DeskSet, other: DeskSet, called: str, by: str) -> DeskSet:
        """One set of two clips, both whole, in place of two sets; named after both, so that a desk
        that was killed meanwhile makes the same one."""
        mark = f"{zlib.crc32(f'{one.id} {other.id}'.encode()):08x}"
        both = DeskSet(
            f"{one.id[:-8]}{mark}", one.begun, one.asked, one.clips + other.clips, one.group,
            called, by, "", one.places + other.places,
        )  # fmt: skip
        self._link(both, self.clips(one) + self.clips(other))
        self._write(both)  # last: until then it is no set
        self.remove(one)
        self.remove(other)
        return both

    def touched_s(self, one: DeskSet) -> float:
        """When something last came of a set, seconds since 1970."""
        return max((path.stat().st_mtime for path in self._place(one).iterdir()), default=0.0)

    def _link(self, one: DeskSet, paths: Sequence[Path]) -> None:
        place = self._place(one)
        place.mkdir(parents=True, exist_ok=True, mode=0o700)
        for n, path in enumerate(paths, 1):
            with contextlib.suppress(FileExistsError):
                os.link(path, place / f"{n}{path.suffix}")

    def ask_again(self, one: DeskSet, asked: Asked) -> None:
        """Have a set judged again, held to something else; its report stays until then."""
        self._write(replace(one, asked=asked))
        (self._place(one) / "ended.json").unlink(missing_ok=True)

    def standing(self, one: DeskSet) -> Standing:
        have = tuple(
            clip.size if self._whole(one, n) else self._sure(one, n)
            for n, clip in enumerate(one.clips, 1)
        )
        try:
            kept = read_small(self._place(one) / "ended.json", _LARGEST_JSON)
            ended = Ended(**json.loads(kept))
            if ended.how != "judged" or (self.report(one.id) / REPORT).is_file():
                return Standing(ended.how, have, ended)
        except (OSError, ValueError, KeyError, TypeError):
            pass
        whole = all(self._whole(one, n) for n in range(1, len(one.clips) + 1))
        return Standing("waiting" if whole else "arriving", have)

    def clips(self, one: DeskSet) -> tuple[Path, ...]:
        """The files of a set whose clips are all whole."""
        found = (self._whole(one, n) for n in range(1, len(one.clips) + 1))
        return tuple(path for path in found if path is not None)

    def end(self, one: DeskSet, ended: Ended) -> None:
        said = json.dumps(asdict(ended), ensure_ascii=False)
        write_whole(self._place(one) / "ended.json", said.encode())

    def picture(self, one: DeskSet) -> Path:
        """The small picture of its decisive moment; it need not be there."""
        return self._place(one) / "picture.jpg"

    def stamps(self, one: DeskSet) -> tuple[int, ...]:
        """When each file was written that the outcome of a set stands in; 0 where one is not."""
        place = self._place(one)
        outcome = (place / "ended.json", self.picture(one), self.report(one.id) / REPORT)
        return tuple(map(self.stamp, outcome))

    def stamp(self, path: Path | None) -> int:
        """When a file was written, ns; 0 where there is none."""
        try:
            return path.stat().st_mtime_ns if path is not None else 0
        except OSError:
            return 0

    def remove(self, one: DeskSet) -> None:
        """Take a set away, its clips and its report."""
        with contextlib.suppress(OSError):
            (self._place(one) / "set.json").unlink(missing_ok=True)
        shutil.rmtree(self.report(one.id), ignore_errors=True)
        shutil.rmtree(self._place(one), ignore_errors=True)

    def sure_bytes(self, one: DeskSet, n: int) -> int:
        """How many bytes of clip ``n`` (from 1) have arrived for sure."""
        return one.clips[n - 1].size if self._whole(one, n) else self._sure(one, n)

    def open_part(self, one: DeskSet, n: int, first: int, length: int) -> PartWriter:
        """Take in bytes of a clip from ``first`` on. Raises DeskError."""
        if self._whole(one, n):
            raise DeskError("this clip is whole already.", 409)
        if first != (sure := self._sure(one, n)):
            raise DeskError(f"the next byte of this clip is {sure}.", 409)
        if not 0 < length <= PART_BYTES or first + length > one.clips[n - 1].size:
            raise DeskError(f"a part has at most {PART_BYTES} bytes, all within its clip.", 413)
        self._check_room(length)
        return PartWriter(self._place(one) / f"{n}.part", first)

    def keep_part(self, one: DeskSet, n: int, part: PartWriter, length: int, crc32: int) -> int:
        """Make a part that has come sure; returns the sure bytes. Raises DeskError."""
        part.close()
        if part.count != length or part.crc32 != crc32:
            raise DeskError("this part did not arrive as it was sent; send it again.", 422)
        if part.first == 0 and kind_of(part.path) is None:
            part.path.unlink(missing_ok=True)
            self.end(one, Ended("failed", _NO_CLIP.format(name=one.clips[n - 1].name)))
            raise DeskError(_NO_CLIP.format(name=one.clips[n - 1].name), 415)
        sure = part.first + length
        write_whole(self._place(one) / f"{n}.have", str(sure).encode())
        self._settle(one)
        return sure

    def remembered(self, person: str) -> Asked:
        """What was last asked of a person, capitals aside; of nobody in particular, the usual."""
        for one in self.all():
            if person and one.asked.person.casefold() == person.casefold():
                return Asked(**{name: getattr(one.asked, name) for name in REMEMBERED})
        return Asked(person=person)

    def remarks(self, one: DeskSet) -> dict[int, str]:
        """What was written beside reps, by rep."""
        try:
            kept = json.loads(read_small(self._place(one) / "remarks.json", _LARGEST_JSON))
            return {int(rep): str(says) for rep, says in kept.items()}
        except (OSError, ValueError, AttributeError):
            return {}

    def keep_remarks(self, one: DeskSet, remarks: dict[int, str]) -> None:
        text = json.dumps(remarks, ensure_ascii=False)
        write_whole(self._place(one) / "remarks.json", text.encode())

    def _place(self, one: DeskSet) -> Path:
        return self._sets / one.id

    def _write(self, one: DeskSet) -> DeskSet:
        text = json.dumps(asdict(one), ensure_ascii=False, indent=1)
        write_whole(self._place(one) / "set.json", text.encode("utf-8", errors="replace"))
        return one

    def _check(self, clips: Sequence[Clip]) -> None:
        if len(clips) not in (1, 2):
            raise DeskError("a set is one clip, or two of the same set.")
        for clip in clips:
            if clip.size <= 0:
                raise DeskError(f"{clip.name} is empty; choose the clip itself.")
            if clip.size > self.bounds.clip_bytes:
                raise DeskError(
                    f"{clip.name} has {clip.size / 1e6:.0f} MB, and at most "
                    f"{self.bounds.clip_bytes / 1e6:.0f} MB are taken; cut the set out of it, or "
                    "export it at 1080 lines.",
                    413,
                )
        self._check_room(sum(clip.size for clip in clips))

    def _check_room(self, more: int) -> None:
        if shutil.disk_usage(self.root).free < more + self.bounds.free_bytes:
            raise DeskError("the disk of the desk is nearly full; free some space there.", 507)

    def _whole(self, one: DeskSet, n: int) -> Path | None:
        for kind in ("mp4", "mkv", "ts", "parquet"):
            path = self._place(one) / f"{n}.{kind}"
            if path.is_file():
                return path
        return None

    def _sure(self, one: DeskSet, n: int) -> int:
        place = self._place(one)
        try:
            sure = int(read_small(place / f"{n}.have", 100))
            return sure if (place / f"{n}.part").stat().st_size >= sure else 0
        except (OSError, ValueError):
            return 0

    def _settle(self, one: DeskSet) -> None:
        """Name clips that have come whole; give up a set of which nothing came for long."""
        place = self._place(one)
        for n, clip in enumerate(one.clips, 1):
            part = place / f"{n}.part"
            if self._whole(one, n) is None and self._sure(one, n) == clip.size:
                os.truncate(part, clip.size)
                if clip.changed_ms:
                    with contextlib.suppress(OSError, OverflowError):
                        os.utime(part, (clip.changed_ms / 1000, clip.changed_ms / 1000))
                part.replace(place / f"{n}.{kind_of(part) or 'mp4'}")
                (place / f"{n}.have").unlink(missing_ok=True)
        quiet_s = time.time() - self.touched_s(one)
        if quiet_s > _ABANDONED_S and self.standing(one).state == "arriving":
            self.remove(one)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _new_id() -> tuple[str, str]:
    """A name that no other set has and that sorts by time, and the time."""
    now = datetime.now().astimezone()
    return f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(4)}", now.isoformat(timespec="seconds")


class PartWriter:
    """Bytes of a clip on their way to disk, counted and checked as they come."""

    def __init__(self, path: Path, first: int) -> None:
        self.path, self.first = path, first
        self.count = self.crc32 = 0
        self._file = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600), "r+b")
        self._file.seek(first)

    def write(self, data: bytes) -> None:
        self._file.write(data)
        self.count += len(data)
        self.crc32 = zlib.crc32(data, self.crc32)

    def close(self) -> None:
        self._file.close()


_NO_CLIP = (
    "{name} is no clip that can be read: give an mp4, mov, mkv, webm or ts from a camera, or "
    "landmarks.parquet of an earlier report."
)


def kind_of(path: Path) -> Literal["mp4", "mkv", "ts", "parquet"] | None:
    """What a file is by its first bytes: ISO base media, Matroska, transport stream, or a saved
    pose track; None for anything else. Whether it can be decoded is found where it is judged."""
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    if head[:4] == b"PAR1":
        return "parquet"
    if head[:4] == b"\x1a\x45\xdf\xa3":  # EBML
        return "mkv"
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):  # ISO/IEC 14496-12
        return "mp4"
    if len(head) >= _HEAD_BYTES and all(head[188 * n] == 0x47 for n in range(4)):  # H.222.0
        return "ts"
    return None


def default_folder() -> Path:
    """In the platform's folder for a user's data."""
    return data_folder() / "desk"


def read_report(folder: Path) -> dict[str, Any] | None:
    """A report as data; None where there is no whole one."""
    path = folder / REPORT
    try:
        return _read_report(path, path.stat().st_mtime_ns)
    except (OSError, ValueError):
        return None


@lru_cache(maxsize=200)
def _read_report(path: Path, _changed_ns: int) -> dict[str, Any]:
    report = json.loads(read_small(path, _LARGEST_JSON))
    if not isinstance(report, dict):
        raise ValueError("no report")
    return report


def _read_set(path: Path) -> DeskSet:
    kept = json.loads(read_small(path, _LARGEST_JSON))
    return DeskSet(
        path.parent.name,
        str(kept["begun"]),
        Asked(**kept["asked"]),
        tuple(Clip(**clip) for clip in kept["clips"]),
        **{name: str(kept.get(name, "")) for name in ("group", "called", "by", "note")},
        places=tuple(map(str, kept.get("places", ()))),
    )
