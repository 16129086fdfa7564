"""The battery: files, names and numbers that went wrong, or were made to, and what is said of them.

A case is a name, how its file is made (small, in the test), and words that must appear. They were
collected from hostile and unlucky inputs that once ended in a traceback, a hang, gigabytes or a
wrong answer; every command that reads such a file is held to all of them (``test_battery.py``).
"""

from __future__ import annotations

import json
import os
import struct
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from formcheck.pose.store import read_track, write_track
from formcheck.pose.track import REQUIRED
from tests.clip.clips import make_clip, make_sound

STEADY = [n / 30 for n in range(20)]
SIZE = {"width": 640, "height": 360}
GOOD_TRACK = Path(__file__).parents[1] / "data" / "too_fast_side.parquet"


@dataclass(frozen=True)
class Bad:
    """One bad file: its ``name``, how to ``make`` it there, and what must be ``said`` of it."""

    name: str
    make: Callable[[Path], object]
    said: str


def text(content: str | bytes) -> Callable[[Path], object]:
    data = content.encode() if isinstance(content, str) else content
    return lambda path: path.write_bytes(data)


def clip(times_s: list[float] = STEADY, **asked: Any) -> Callable[[Path], object]:
    return lambda path: make_clip(path, times_s, **asked)


def part_of_a_clip(share: float, suffix: str = ".mp4", **asked: Any) -> Callable[[Path], object]:
    def make(path: Path) -> None:
        whole = make_clip(path.with_name(f"whole{suffix}"), STEADY, **asked)
        data = whole.read_bytes()
        whole.unlink()
        path.write_bytes(data[: int(share * len(data))])

    return make


def clip_with(old: bytes, new: bytes) -> Callable[[Path], object]:
    """A good clip in which some bytes were replaced by as many others."""

    def make(path: Path) -> None:
        data = make_clip(path, STEADY).read_bytes()
        assert old in data and len(old) == len(new)
        path.write_bytes(data.replace(old, new))

    return make


def claimed_frames(path: Path) -> None:
    """Its sample tables claim four thousand million pictures."""
    data = bytearray(make_clip(path, STEADY).read_bytes())
    for table in (b"stsz", b"stts", b"stco"):
        at = data.index(table) + 8
        at += 4 if table == b"stsz" else 0
        data[at : at + 4] = struct.pack(">I", 0xFFFFFFFF)
    path.write_bytes(data)


def loop(path: Path) -> None:
    path.symlink_to(path)


CLIPS = [
    Bad("absent.mp4", lambda path: None, "no such file"),
    Bad("empty.mp4", text(""), "is empty"),
    Bad("text.mp4", text("This is no clip.\n" * 99), "not a video"),
    Bad("zeros.mp4", text(bytes(100_000)), "not a video"),
    Bad("noise.mp4", text(np.random.default_rng(0).bytes(100_000)), "not a video"),
    Bad("folder.mp4", lambda path: path.mkdir(), "is a folder"),
    Bad("pipe.mp4", os.mkfifo, "a device or a pipe"),
    Bad("loop.mp4", loop, "cannot be read"),
    Bad("dangling.mp4", lambda path: path.symlink_to("nowhere"), "no such file"),
    Bad("cut_in_half.mp4", part_of_a_clip(0.5), "cut off"),
    Bad("cut_at_once.mp4", part_of_a_clip(0.02), "cut off"),
    Bad("cut.webm", part_of_a_clip(0.3, ".webm", codec="libvpx-vp9"), "cut.webm"),
    Bad("raw.h264", clip(), "not a video"),
    Bad("old.avi", clip(), "not a video"),
    Bad("sound.mp4", make_sound, "only sound"),
    Bad("single.mp4", clip([0.0]), "a single picture"),
    Bad("tiny.mp4", clip(width=16, height=16), "pictures of 16×16"),
    Bad("flat.mp4", clip(width=2000, height=16), "pictures of 2000×16"),
    Bad("lossless.mkv", clip(codec="ffv1"), "not read (ffv1)"),
    Bad("endless.mkv", clip([19.0 * n for n in range(200)]), "minutes long"),
    Bad("nanoseconds.mp4", clip([n / 9000 for n in range(60)]), "times cannot be right"),
    Bad("unknown_codec.mp4", clip_with(b"avc1", b"zzz1"), "unknown_codec.mp4"),
    Bad("no_times.mp4", clip_with(b"stts", b"zzzz"), "no_times.mp4"),
    Bad("claims.mp4", claimed_frames, "claims.mp4"),
    Bad("list.mp4", text("ffconcat version 1.0\nfile /etc/hostname\n"), "not a video"),
    Bad("live.m3u8", text("#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nhttp://127.0.0.1:9/a\n"),
        "not a video"),
    Bad("session.sdp", text("v=0\nc=IN IP4 127.0.0.1\nm=video 5004 RTP/AVP 96\n"), "not a video"),
    Bad("http:a.mp4", text("no"), "not a video"),
    Bad("\x1b[2Jescape.mp4", text("no"), "⟨U+001B⟩[2Jescape.mp4 is not a video"),
    Bad("\u202eturned.mp4", text("no"), "⟨U+202E⟩turned.mp4 is not a video"),
    Bad(os.fsdecode(b"n\xff.mp4"), text("no"), "⟨U+DCFF⟩.mp4 is not a video"),
]  # fmt: skip


def track(metadata: object = SIZE, **columns: Any) -> Callable[[Path], object]:
    """A track of the needed joints with this header, and these columns in place of good ones."""

    def make(path: Path) -> None:
        rows = 40
        good: dict[str, Any] = {"t_s": [n / 15 for n in range(rows)]}
        for joint in REQUIRED:
            good |= {f"{joint}_x": [100.0] * rows, f"{joint}_y": [50.0] * rows}
        table = pa.table({**good, **columns})
        said = metadata if isinstance(metadata, str) else json.dumps(metadata)
        pq.write_table(table.replace_schema_metadata({"formcheck": said}), path)

    return make


def rows(count: int) -> Callable[[Path], object]:
    def make(path: Path) -> None:
        index = pa.array(np.zeros(count, np.int8))
        same = pa.DictionaryArray.from_arrays(index, pa.array([1.0]))
        names = ["t_s", *(f"{joint}_{axis}" for joint in REQUIRED for axis in "xy")]
        table = pa.table(dict.fromkeys(names, same))
        pq.write_table(table.replace_schema_metadata({"formcheck": json.dumps(SIZE)}), path)

    return make


def rotten(path: Path) -> None:
    """A byte of its data changed, as a disk or a copy may."""
    write_track(read_track(GOOD_TRACK), path)
    data = bytearray(path.read_bytes())
    data[len(data) // 3] ^= 0x40
    path.write_bytes(data)


def wide(value: float) -> list[float]:
    return [value] * 40


TRACKS = [
    Bad("absent.parquet", lambda path: None, "no such file"),
    Bad("empty.parquet", text(""), "not a readable Parquet"),
    Bad("text.parquet", text("hello"), "not a readable Parquet"),
    Bad("magic.parquet", text(b"PAR1" + bytes(100) + b"PAR1"), "not a readable Parquet"),
    Bad("folder.parquet", lambda path: path.mkdir(), "is a folder"),
    Bad("pipe.parquet", os.mkfifo, "a device or a pipe"),
    Bad("capitals.PARQUET", text("hello"), "not a readable Parquet"),
    Bad("rotten.parquet", rotten, "damaged"),
    Bad("rows.parquet", rows(1_000_000), "1,000,000 rows"),
    Bad("no_header.parquet", track(""), "not JSON"),
    Bad("list.parquet", track([1, 2]), "not a JSON object"),
    Bad("number.parquet", track("7"), "not a JSON object"),
    Bad("nan.parquet", track('{"width": NaN, "height": 9}'), "not JSON"),
    Bad("infinite.parquet", track('{"width": 1e999, "height": 9}'), "“width”"),
    Bad("digits.parquet", track(f'{{"width": {"9" * 400}, "height": 9}}'), "“width”"),
    Bad("deep.parquet", track("[" * 50_000), "not JSON"),
    Bad("text_size.parquet", track({**SIZE, "width": "640"}), "“width”"),
    Bad("negative.parquet", track({**SIZE, "height": -1}), "“height”"),
    Bad("source.parquet", track({**SIZE, "source": "a.mp4"}), "“source”"),
    Bad("model.parquet", track({**SIZE, "model": {"sha256": 7}}), "“model”"),
    Bad("notes.parquet", track({**SIZE, "notes": {"a": 1}}), "“notes”"),
    Bad("years.parquet", track({**SIZE, "duration_s": 1e9}), "“duration_s”"),
    Bad("unix.parquet", track(t_s=[1.7e9 + n / 15 for n in range(40)]), "first picture"),
    Bad("jump.parquet", track(t_s=[n / 15 for n in range(39)] + [1e8]), "first picture"),
    Bad("backwards.parquet", track(t_s=[-n / 15 for n in range(40)]), "does not increase"),
    Bad("nanoseconds.parquet", track(t_s=[n * 1e-9 for n in range(40)]), "in seconds"),
    Bad("holes.parquet", track(t_s=[0.0, float("nan"), *range(1, 39)]), "t_s has gaps"),
    Bad("words.parquet", track(left_hip_x=["a"] * 40), "not numeric"),
    Bad("lists.parquet", track(left_hip_x=[[1.0]] * 40), "not numeric"),
    Bad("beyond.parquet", track(left_hip_x=wide(1e300)), "far outside"),
    Bad("percent.parquet", track(left_hip_vis=wide(50.0)), "outside 0 to 1"),
]

LIMITS = [
    Bad("absent.toml", lambda path: None, "cannot be read"),
    Bad("folder.toml", lambda path: path.mkdir(), "cannot be read"),
    Bad("pipe.toml", os.mkfifo, "a device or a pipe"),
    Bad("large.toml", text("#" * 5_000_000), "at most"),
    Bad("bytes.toml", text(b"\xff\xfe\x00"), "not a limits file"),
    Bad("broken.toml", text("[hip_sag\nvalue = 8"), "line 1"),
    Bad("deep.toml", text("hip_sag = " + "[" * 20_000), "deep.toml"),
    Bad("unknown.toml", text("hip_sagg = 8"), "“hip_sagg” is no limit"),
    Bad("escape.toml", text('"\\u001b[2J" = 8'), "⟨U+001B⟩[2J"),
    Bad("huge.toml", text("hip_sag = 1e308"), "huge.toml"),
    Bad("negative.toml", text("hip_sag = -8"), "negative.toml"),
    Bad("nan.toml", text("hip_sag = nan"), "nan.toml"),
    Bad("digits.toml", text(f"hip_sag = {'9' * 400}"), "digits.toml"),
    Bad("word.toml", text("[hip_sag]\nvalue = 'much'"), "word.toml"),
]

ROSTERS = [
    Bad("absent.csv", lambda path: None, "absent.csv"),
    Bad("folder.csv", lambda path: path.mkdir(), "folder.csv"),
    Bad("pipe.csv", os.mkfifo, "pipe.csv"),
    Bad("empty.csv", text(""), "empty.csv"),
    Bad("bytes.csv", text(b"\xff\xfe\x00\x01" * 99), "bytes.csv"),
    Bad("columns.csv", text("a,b\n1,2\n"), "columns.csv"),
    Bad("broken.toml", text("[[set]\n"), "broken.toml"),
    Bad("deep.toml", text("a = " + "[" * 20_000), "deep.toml"),
    Bad("no_book.xlsx", text("hello"), "no_book.xlsx"),
    Bad("other.docx", text("hello"), "other.docx"),
]

LOGS = [
    Bad("folder.sqlite", lambda path: path.mkdir(), "folder.sqlite"),
    Bad("pipe.sqlite", os.mkfifo, "pipe.sqlite"),
    Bad("text.sqlite", text("This is no log.\n" * 99), "text.sqlite"),
    Bad("noise.sqlite", text(b"SQLite format 3\x00" + bytes(5000)), "noise.sqlite"),
]

EXPORTS = [
    Bad("absent.jsonl", lambda path: None, "absent.jsonl"),
    Bad("folder.jsonl", lambda path: path.mkdir(), "folder.jsonl"),
    Bad("pipe.jsonl", os.mkfifo, "pipe.jsonl"),
    Bad("text.jsonl", text("hello\n"), "text.jsonl"),
    Bad("deep.jsonl", text("[" * 100_000 + "\n"), "deep.jsonl"),
    Bad("bytes.jsonl", text(b"\xff\xfe\x00"), "bytes.jsonl"),
    Bad("keys.jsonl", text('{"a": 1}\n'), "keys.jsonl"),
]


def bundle(first: bytes, second: bytes) -> Callable[[Path], object]:
    def make(path: Path) -> None:
        with zipfile.ZipFile(path, "w") as out:
            out.writestr("pose_detector.tflite", first)
            out.writestr("pose_landmarks_detector.tflite", second)

    return make


MODELS = [
    Bad("absent.task", lambda path: None, "is no landmark model"),
    Bad("folder.task", lambda path: path.mkdir(), "folder.task"),
    Bad("pipe.task", os.mkfifo, "pipe.task"),
    Bad("text.task", text("hello"), "not a readable landmark bundle"),
    Bad("junk.task", bundle(b"hello", b"hello"), "no TensorFlow Lite network"),
    Bad("cut.task", text(b"PK\x03\x04" + bytes(999)), "not a readable landmark bundle"),
]


def report(content: str | bytes) -> Callable[[Path], object]:
    """A folder with this for a report, and a good track."""

    def make(path: Path) -> None:
        path.mkdir()
        text(content)(path / "report.json")
        (path / "landmarks.parquet").write_bytes(GOOD_TRACK.read_bytes())

    return make


def report_that_is(make: Callable[[Path], object]) -> Callable[[Path], object]:
    def folder(path: Path) -> None:
        path.mkdir()
        make(path / "report.json")

    return folder


REPORTS = [
    Bad("absent", lambda path: None, "absent"),
    Bad("file", text("hello"), "file"),
    Bad("nothing", lambda path: path.mkdir(), "nothing"),
    Bad("empty", report(""), "empty"),
    Bad("broken", report("{"), "broken"),
    Bad("bytes", report(b"\xff\xfe\x00"), "bytes"),
    Bad("list", report("[1]"), "list"),
    Bad("deep", report("[" * 100_000), "deep"),
    Bad("other", report('{"schema": "other/1"}'), "other"),
    Bad("bare", report('{"schema": "formcheck.report/1"}'), "bare"),
    Bad("wrong", report('{"schema": "formcheck.report/1", "reps": 7, "clips": {"a": 1}}'), "wrong"),
    Bad("folder", report_that_is(lambda path: path.mkdir()), "folder"),
    Bad("pipe", report_that_is(os.mkfifo), "pipe"),
]

LABELS = [
    Bad("absent.csv", lambda path: None, "absent.csv"),
    Bad("folder.csv", lambda path: path.mkdir(), "folder.csv"),
    Bad("pipe.csv", os.mkfifo, "pipe.csv"),
    Bad("empty.csv", text(""), "empty.csv"),
    Bad("bytes.csv", text(b"\xff\xfe\x00\x01" * 99), "bytes.csv"),
    Bad("columns.csv", text("a,b\n1,2\n"), "columns.csv"),
    Bad("no_book.xlsx", text("hello"), "no_book.xlsx"),
]
