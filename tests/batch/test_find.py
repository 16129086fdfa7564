from __future__ import annotations

import os
import shutil
from pathlib import Path

import av
import pandas as pd
import pytest
from PIL import Image

from formcheck.batch.find import files_in, look_at
from formcheck.batch.known import Known, state_of
from tests.batch.folders import TRACKS
from tests.clip.clips import make_clip, make_sound

STEADY = [n / 30 for n in range(15)]


def names_in(folder: Path, out: Path | None = None) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in files_in(folder, out)]


def test_a_clip_is_known_by_its_content_whatever_it_is_called(tmp_path: Path) -> None:
    clip = make_clip(tmp_path / "clip.mp4", STEADY)
    for name in ("clip", "clip.txt", "clip.jpg"):
        shutil.copy(clip, tmp_path / name)
        found = look_at(tmp_path / name, name)
        assert found is not None and found.unreadable is None
        assert found.duration_s == pytest.approx(0.5)


def test_what_is_no_clip_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("Anna was tired.\n" * 40)
    (tmp_path / "empty").touch()
    for kind in ("png", "jpg", "gif"):
        Image.new("RGB", (64, 48), "teal").save(tmp_path / f"photo.{kind}")
    (tmp_path / "photo.heic").write_bytes(b"\0\0\0\x18ftypheic" + bytes(64))
    make_sound(tmp_path / "song.m4a")
    (tmp_path / "table.parquet").write_bytes((TRACKS / "clean_side.parquet").read_bytes())
    for path in sorted(tmp_path.iterdir()):
        if path.name != "table.parquet":
            assert look_at(path, path.name) is None, path.name


def test_a_clip_that_cannot_be_read_is_found_and_says_why(tmp_path: Path) -> None:
    whole = make_clip(tmp_path / "whole.mp4", STEADY).read_bytes()
    (tmp_path / "cut.bin").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "text.mp4").write_text("not a video")
    (tmp_path / "track.parquet").write_text("not a table")
    for name in ("cut.bin", "text.mp4", "track.parquet"):
        found = look_at(tmp_path / name, name)
        assert found is not None and found.unreadable and name in found.unreadable


def test_a_saved_track_is_a_clip_and_another_table_is_not(tmp_path: Path) -> None:
    found = look_at(TRACKS / "clean_side.parquet", "clean_side.parquet")
    assert found is not None and found.duration_s > 10
    pd.DataFrame({"set": ["a"]}).to_parquet(tmp_path / "reps.parquet")
    assert look_at(tmp_path / "reps.parquet", "reps.parquet") is None


def test_reports_results_hidden_and_unfinished_files_are_left_alone(tmp_path: Path) -> None:
    for name in (
        "a.mp4", "anna/b.mp4", ".hidden.mp4", "c.mp4.part", "~d.mp4", ".stash/e.mp4",
        "out/anna/f.mp4", "old_report/annotated.mp4", "old_report/report.json",
    ):  # fmt: skip
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    assert names_in(tmp_path, tmp_path / "out") == ["a.mp4", "anna/b.mp4"]


def test_the_time_of_recording_comes_from_the_clip_or_its_name(tmp_path: Path) -> None:
    clip = make_clip(tmp_path / "VID_20260417_181530.mp4", STEADY)
    dated = tmp_path / "dated.mp4"
    with av.open(str(clip)) as source, av.open(str(dated), "w") as sink:
        sink.metadata["creation_time"] = "2026-04-17T18:15:30.000000Z"
        stream = sink.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                sink.mux(packet)
    by_name, by_clock = look_at(clip, clip.name), look_at(dated, dated.name)
    assert by_name is not None and by_clock is not None
    assert by_name.named_s is not None and by_name.named_s == by_clock.recorded_s
    assert by_clock.named_s is None


def test_unchanged_files_are_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "clips").mkdir()
    clip = make_clip(tmp_path / "clips" / "a.mp4", STEADY)
    known = Known(clip.parent)
    assert not known.has("a.mp4", state_of(clip))
    found = look_at(clip, "a.mp4")
    known.keep("a.mp4", state_of(clip), found)
    known.write(["a.mp4"])
    again = Known(clip.parent)
    assert again.has("a.mp4", state_of(clip)) and again.clip(clip, "a.mp4") == found
    content, before = clip.read_bytes(), clip.stat()
    clip.write_bytes(content[:-1] + b"?")  # as long, and its time set back
    os.utime(clip, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert not again.has("a.mp4", state_of(clip))
