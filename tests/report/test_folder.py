"""A report folder appears whole or not at all, whatever happens and whoever else writes there."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from formcheck.errors import OutputError
from formcheck.report import folder
from formcheck.report.folder import MADE, REPORT, check_free, made_whole, put_right


def report(out: Path, word: str, *names: str) -> Path:
    out.mkdir(exist_ok=True)
    for name in names or ("annotated.mp4", "report.html", REPORT):
        (out / name).write_text(word)
    return out


def words(out: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in out.iterdir()}


def test_a_folder_appears_whole(tmp_path: Path) -> None:
    out = tmp_path / "new" / "report"
    with made_whole(out) as scratch:
        report(scratch, "new")
        assert not out.exists()
    assert set(words(out)) == {"annotated.mp4", "report.html", REPORT}
    assert [path.name for path in tmp_path.iterdir()] == ["new"]


def test_a_failure_leaves_everything_as_it_was(tmp_path: Path) -> None:
    out = report(tmp_path / "report", "earlier")
    with pytest.raises(UnicodeEncodeError), made_whole(out, overwrite=True) as scratch:
        (scratch / REPORT).write_text("\ud800", encoding="utf-8")
    assert set(words(out).values()) == {"earlier"}


def test_an_earlier_report_goes_whole_and_other_files_stay(tmp_path: Path) -> None:
    report(tmp_path, "earlier", "annotated.mp4", REPORT, "mine.txt")
    with made_whole(tmp_path, overwrite=True) as scratch:
        report(scratch, "new", REPORT)
    assert words(tmp_path) == {"mine.txt": "earlier", REPORT: "new"}


def test_an_existing_report_is_not_replaced_unasked(tmp_path: Path) -> None:
    check_free(tmp_path, overwrite=False)
    check_free(tmp_path / "absent", overwrite=False)
    (tmp_path / "reps.csv").touch()
    with pytest.raises(OutputError, match="--overwrite"):
        check_free(tmp_path, overwrite=False)
    check_free(tmp_path, overwrite=True)


def test_of_two_runs_into_one_folder_the_later_one_loses_nothing_of_the_first(
    tmp_path: Path,
) -> None:
    out = tmp_path / "report"

    def slow() -> None:
        with made_whole(out) as scratch:
            report(scratch, "slow")
            with made_whole(out) as other:
                report(other, "fast")

    with pytest.raises(OutputError, match="already holds a report"):
        slow()
    assert set(words(out).values()) == {"fast"}
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


@pytest.mark.parametrize("overwrite", [False, True])
def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path, overwrite: bool) -> None:
    (tmp_path / "file").touch()
    for out in (tmp_path / "file", tmp_path / "file" / "report"):
        with pytest.raises(OutputError), made_whole(out, overwrite):
            pass


def test_a_folder_in_place_of_a_file_is_refused_before_anything_is_touched(tmp_path: Path) -> None:
    out = report(tmp_path / "report", "earlier", "annotated.mp4")
    (out / REPORT).mkdir()
    with (
        pytest.raises(OutputError, match=r"report\.json is a folder"),
        made_whole(out, overwrite=True),
    ):
        raise AssertionError("the work was begun")
    assert (out / "annotated.mp4").read_text() == "earlier"


@pytest.mark.parametrize("link", [False, True])
def test_what_was_given_to_be_judged_is_never_replaced(tmp_path: Path, link: bool) -> None:
    out = report(tmp_path / "report", "mine", "annotated.mp4")
    given = out / "annotated.mp4"
    if link:
        given = tmp_path / "link.mp4"
        given.symlink_to(out / "annotated.mp4")
    with pytest.raises(OutputError, match="was given to be judged"):
        check_free(out, overwrite=True, inputs=[given])


@pytest.mark.parametrize("name", ["x" * 300, "a\0b"])
def test_a_name_no_folder_can_have_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises((OutputError, ValueError)), made_whole(tmp_path / name):
        pass


def test_a_long_or_undecodable_name_is_no_trouble(tmp_path: Path) -> None:
    for name in ("ü" * 120, os.fsdecode(b"n\xff\xfe")):
        with made_whole(tmp_path / name) as scratch:
            report(scratch, "new")
        assert (tmp_path / name / REPORT).exists()


def test_a_folder_that_cannot_be_written_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(folder, "mkdtemp", refuse)  # file modes do not bind the root user
    with pytest.raises(OutputError, match="cannot be written"), made_whole(tmp_path / "report"):
        pass


def test_a_working_folder_that_was_deleted_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    with pytest.raises(OutputError, match="cannot be written"), made_whole(Path("report")):
        pass


@pytest.mark.parametrize("after", range(7))
def test_a_move_that_fails_half_way_puts_the_earlier_report_back(
    tmp_path: Path, after: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = report(tmp_path / "report", "earlier")
    rename, moves = Path.rename, iter(range(100))

    def fails(path: Path, target: Path) -> Path:
        if next(moves) == after:
            raise OSError(5, "Input/output error")
        return rename(path, target)

    def replace_it() -> None:
        with made_whole(out, overwrite=True) as scratch:
            report(scratch, "new", "annotated.mp4", "report.html", "reps.csv", REPORT)
            monkeypatch.setattr(Path, "rename", fails)

    with pytest.raises(OutputError):
        replace_it()
    monkeypatch.undo()
    assert words(out) == dict.fromkeys(("annotated.mp4", "report.html", REPORT), "earlier")


KILLED = """
import os, signal, sys
from pathlib import Path
from formcheck.report.folder import made_whole
out, after, how = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
rename, moves = Path.rename, iter(range(100))
def dies(path, target):
    if next(moves) == after:
        os.kill(os.getpid(), how)
    return rename(path, target)
Path.rename = dies
with made_whole(out, overwrite=True) as scratch:
    for name in ("annotated.mp4", "report.html", "reps.csv", "report.json"):
        (scratch / name).write_text("new")
"""


@pytest.mark.parametrize("after", range(9))
def test_a_run_killed_at_any_moment_leaves_the_earlier_report_or_the_new_one(
    tmp_path: Path, after: int
) -> None:
    out = report(tmp_path / "report", "earlier")
    (out / "mine.txt").write_text("mine")
    call = [sys.executable, "-c", KILLED, str(out), str(after), str(int(signal.SIGKILL))]
    killed = subprocess.run(call).returncode != 0
    assert killed == (after < 8)
    put_right(out)
    left = words(out)
    assert left.pop("mine.txt") == "mine"
    assert len(set(left.values())) == 1
    assert set(left.values()) == {"earlier" if killed else "new"}


def test_the_scratch_folder_of_a_killed_run_goes_and_that_of_a_live_one_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dead = tmp_path / ".report.abc.partial"
    report(dead, "half")
    with made_whole(tmp_path / "report") as scratch:
        assert not dead.exists()
        report(scratch, "new")
        put_right(tmp_path)
        assert scratch.exists()


def test_a_scratch_folder_cannot_be_swept_away_before_its_run_holds_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sweepers = []
    real = tempfile.mkdtemp

    def while_another_sweeps(**named: str) -> str:
        made = real(**named)
        sweepers.append(threading.Thread(target=put_right, args=(tmp_path,)))
        sweepers[-1].start()
        sweepers[-1].join(0.2)
        return made

    monkeypatch.setattr(folder, "mkdtemp", while_another_sweeps)
    with made_whole(tmp_path / "report") as scratch:
        sweepers[0].join(10)
        assert scratch.exists()


def test_a_whole_report_is_known_by_the_file_that_comes_last() -> None:
    assert MADE[-1] == REPORT
