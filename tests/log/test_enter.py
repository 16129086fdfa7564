"""Reports enter the log, and the log is made again from their folders."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import av
import numpy as np
import pytest

from formcheck.clip.read import probe
from formcheck.log.enter import Recorded, ReportError, enter, rebuild, recorded_of
from formcheck.log.store import open_log, sets_of
from tests.log.made_up import FIRST, write_report

GIVEN = Recorded(FIRST, "given")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


def in_log(path: Path) -> list[tuple[str, str, str]]:
    with open_log(path) as log:
        return [(one.person, one.recorded_at, Path(one.folder).name) for one in sets_of(log)]


def clip(path: Path, created: str | None) -> Path:
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
        if created:
            out.metadata["creation_time"] = created
        stream = out.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 64
        picture = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8))
        for _ in range(3):
            out.mux(stream.encode(picture))
        out.mux(stream.encode())
    return path


def test_the_report_says_whose_it_is_and_when_so_that_folders_can_make_the_log_again(
    tmp_path: Path, path: Path
) -> None:
    folder = write_report(tmp_path / "reports" / "one")
    entered = enter(folder, "ana", GIVEN, path)
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert (report["person"], report["recorded_at"]) == ("ana", "2026-03-02T17:30:00Z")
    assert report["recorded_from"] == "given"
    assert in_log(path) == [("ana", "2026-03-02T17:30:00Z", "one")]
    path.unlink()
    assert rebuild(tmp_path / "reports", path).entered == 1
    with open_log(path) as log:
        assert sets_of(log) == [entered.entry]


def test_a_set_judged_again_replaces_its_entry_and_says_so(tmp_path: Path, path: Path) -> None:
    first = enter(write_report(tmp_path / "one"), "ana", GIVEN, path)
    again = enter(write_report(tmp_path / "two"), "ana", GIVEN, path)
    assert "replaced" not in str(first)
    assert "its entry is replaced" in str(again)
    moved = enter(write_report(tmp_path / "three"), "ben", GIVEN, path)
    assert "until now ana's" in str(moved)
    assert in_log(path) == [("ben", "2026-03-02T17:30:00Z", "three")]


def test_a_rebuilt_folder_loses_what_is_gone_and_keeps_what_lies_elsewhere(
    tmp_path: Path, path: Path
) -> None:
    enter(write_report(tmp_path / "a" / "one", "1" * 64), "ana", GIVEN, path)
    enter(write_report(tmp_path / "a" / "two", "2" * 64), "ana", GIVEN, path)
    enter(write_report(tmp_path / "b" / "three", "3" * 64), "ana", GIVEN, path)
    (tmp_path / "a" / "two" / "report.json").unlink()
    done = rebuild(tmp_path / "a", path)
    assert (done.entered, done.dropped) == (1, 2)
    assert sorted(folder for _, _, folder in in_log(path)) == ["one", "three"]


def test_rebuild_leaves_out_what_it_cannot_enter_and_says_why(tmp_path: Path, path: Path) -> None:
    write_report(tmp_path / "r" / "nobody", "1" * 64)
    (tmp_path / "r" / "cut").mkdir()
    (tmp_path / "r" / "cut" / "report.json").write_text('{"schema": "form', encoding="utf-8")
    (tmp_path / "r" / "other").mkdir()
    (tmp_path / "r" / "other" / "report.json").write_text("{}", encoding="utf-8")
    done = rebuild(tmp_path / "r", path)
    assert done.entered == 0
    said = {where.name: why for where, why in done.left_out}
    assert "names no person" in said["nobody"]
    assert "is no report" in said["cut"]
    assert "is no report" in said["other"]
    assert rebuild(tmp_path / "r", path, "ana").entered == 1


def test_of_two_reports_of_one_clip_the_one_judged_last_is_entered(
    tmp_path: Path, path: Path
) -> None:
    old = write_report(tmp_path / "r" / "z_old", person="ana", recorded_at="2026-03-02T17:30:00Z",
                       recorded_from="clip")  # fmt: skip
    write_report(tmp_path / "r" / "a_new", person="ana", recorded_at="2026-03-02T17:30:00Z",
                 recorded_from="clip")  # fmt: skip
    earlier = (old / "report.json").stat().st_mtime - 100
    os.utime(old / "report.json", (earlier, earlier))
    assert rebuild(tmp_path / "r", path).entered == 1
    assert [folder for _, _, folder in in_log(path)] == ["a_new"]


def test_a_folder_without_a_report_is_told(tmp_path: Path, path: Path) -> None:
    with pytest.raises(ReportError, match="cannot be read"):
        enter(tmp_path, "ana", GIVEN, path)
    with pytest.raises(ReportError, match="not a folder"):
        rebuild(tmp_path / "nowhere", path)
    assert not path.exists()


def own_time(path: Path) -> datetime | None:
    return probe(path).recorded_at


def test_the_time_is_the_recordings_own(tmp_path: Path) -> None:
    filmed = clip(tmp_path / "set.mp4", "2026-03-02T17:30:00Z")
    assert recorded_of([filmed], [own_time(filmed)]) == Recorded(FIRST, "clip")


@pytest.mark.parametrize("created", [None, "1970-01-01T00:00:00Z", "2199-01-01T00:00:00Z"])
def test_a_clock_that_was_never_set_is_not_believed(tmp_path: Path, created: str | None) -> None:
    filmed = clip(tmp_path / "set.mp4", created)
    os.utime(filmed, (FIRST.timestamp(), FIRST.timestamp()))
    assert recorded_of([filmed], [own_time(filmed)]) == Recorded(FIRST, "file")


def test_a_given_time_wins_and_now_is_the_last_resort(tmp_path: Path) -> None:
    given = FIRST + timedelta(days=1)
    filmed = clip(tmp_path / "set.mp4", "2026-03-02T17:30:00Z")
    assert recorded_of([filmed], [own_time(filmed)], given) == Recorded(given, "given")
    none = recorded_of([tmp_path / "gone.mp4"])
    assert none.source == "now"
    assert abs(none.at - datetime.now(UTC)) < timedelta(minutes=1)


def test_a_pose_track_has_the_time_that_its_report_says(tmp_path: Path) -> None:
    folder = write_report(tmp_path / "one", recorded_at="2026-03-02T17:30:00Z",
                          recorded_from="clip", person="ana")  # fmt: skip
    (folder / "landmarks.parquet").write_bytes(b"")
    assert recorded_of([folder / "landmarks.parquet"]) == Recorded(FIRST, "clip")
