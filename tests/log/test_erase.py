"""Erasing a person removes what formcheck made of them, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.log import store
from formcheck.log.enter import Recorded, enter
from formcheck.log.entry import SetEntry
from formcheck.log.erase import remove_reports
from formcheck.log.store import open_log
from formcheck.pose.store import read_track, write_track
from tests.log.made_up import FIRST, write_report

TRACK = Path(__file__).parents[1] / "data" / "clean_front.parquet"


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def entered(folder: Path, person: str = "ana", sha256: str = "a" * 64) -> SetEntry:
    made = write_report(folder, sha256)
    for name in ("report.html", "reps.csv", "annotated.mp4", "landmarks.parquet"):
        (made / name).write_bytes(b"made")
    return enter(made, person, Recorded(FIRST, "given"), folder.parent / "log.sqlite").entry


def test_the_report_goes_with_its_folder(tmp_path: Path) -> None:
    entry = entered(tmp_path / "one")
    assert remove_reports([entry]) == []
    assert not (tmp_path / "one").exists()


def test_what_the_user_put_there_stays(tmp_path: Path) -> None:
    entry = entered(tmp_path / "one")
    (tmp_path / "one" / "set.mp4").write_bytes(b"the clip")
    remove_reports([entry])
    assert [file.name for file in (tmp_path / "one").iterdir()] == ["set.mp4"]


def test_a_folder_that_holds_anothers_report_by_now_is_left_alone(tmp_path: Path) -> None:
    before = entered(tmp_path / "one")
    entered(tmp_path / "one", "ben", "b" * 64)
    remove_reports([before])
    assert (tmp_path / "one" / "report.json").exists()


def test_a_folder_that_is_gone_is_no_trouble(tmp_path: Path) -> None:
    entry = entered(tmp_path / "one")
    assert remove_reports([replace(entry, folder=str(tmp_path / "gone"))]) == []


def test_the_poses_found_in_the_clips_go_too(tmp_path: Path) -> None:
    entry = entered(tmp_path / "one", sha256="a" * 64)
    kept = tmp_path / "cache" / "formcheck" / "tracks"
    kept.mkdir(parents=True)
    for name, sha256 in (("of_ana", "a" * 64), ("of_another", "b" * 64)):
        track = replace(read_track(TRACK), source_sha256=sha256)
        write_track(track, kept / f"{name}.parquet")
    remove_reports([entry])
    assert [file.name for file in kept.iterdir()] == ["of_another.parquet"]


def test_nobody_who_was_erased_stays_in_the_last_good_copy_whatever_ends_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    entered(tmp_path / "one")
    path = tmp_path / "log.sqlite"
    with open_log(path, write=True) as log:
        store.keep_copy(log, path)
        monkeypatch.setattr(store, "keep_copy", killed)
        with pytest.raises(KeyboardInterrupt):
            store.erase_person(log, path, "ana")
    assert not store.last_good_copy(path).exists()
