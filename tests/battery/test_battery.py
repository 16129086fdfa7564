"""Every bad input to every command that reads it: a sentence, the documented exit code, in time.

No traceback, under 20 s, under 1.5 GB, and what was there before is untouched.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from formcheck.cli import app
from formcheck.job import SetJob, judge_set
from tests.battery.cases import (
    CLIPS,
    EXPORTS,
    GOOD_TRACK,
    LABELS,
    LIMITS,
    LOGS,
    MODELS,
    REPORTS,
    ROSTERS,
    TRACKS,
    Bad,
)
from tests.battery.fuzz import MOST_BYTES, MOST_S, peak_bytes
from tests.clip.clips import make_clip

EARLIER = ("report.json", "report.html", "annotated.mp4", "mine.txt")


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def out(tmp_path: Path) -> Iterator[Path]:
    """A folder with an earlier report, in which nothing may have changed afterwards."""
    folder = tmp_path / "report"
    folder.mkdir()
    for name in EARLIER:
        (folder / name).write_text(f"earlier {name}")
    yield folder
    assert {path.name: path.read_text() for path in folder.iterdir()} == {
        name: f"earlier {name}" for name in EARLIER
    }


def run(*arguments: object) -> Result:
    signal.signal(signal.SIGALRM, _hangs)
    signal.setitimer(signal.ITIMER_REAL, MOST_S)
    try:
        return run_long(*arguments)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


def _hangs(*_: object) -> None:
    raise AssertionError(f"no end after {MOST_S:.0f} s")


def refused(result: Result, exit_code: int, said: str) -> None:
    assert result.exit_code == exit_code, result.output
    assert said in result.stderr
    assert "Traceback" not in result.output and "\x1b" not in result.output
    told = [line for line in result.stderr.splitlines() if line.startswith("formcheck: ")]
    assert len(told) == 1 and told[0].endswith(".")


def made(bad: Bad, folder: Path) -> Path:
    path = folder / bad.name
    bad.make(path)
    return path


def name(bad: Bad) -> str:
    return ascii(bad.name)[1:-1]


@dataclass(frozen=True)
class Read:
    """Bad files of one kind, the exit code for them, and the commands that read them: ``{}`` is
    the file, ``{judged}`` a report, ``{out}`` a folder that holds an earlier one."""

    bad: Sequence[Bad]
    exit_code: int
    commands: Sequence[str]


TO_OUT = "--out {out} --overwrite"
READ = {
    "clip or track": Read(
        CLIPS + TRACKS, 3, [f"set {{}} {TO_OUT}", "person calibrate ana {} --log new.sqlite"]
    ),
    "limits": Read(
        LIMITS, 2,
        [f"set {GOOD_TRACK} --limits {{}} {TO_OUT}", "limits --limits {}",
         "again {judged} --limits {} --write", "batch empty --limits {} --out sets"],
    ),
    "model": Read(
        MODELS, 2,
        [f"set clip.mp4 --model {{}} {TO_OUT}", "batch empty --model {} --out sets",
         "person calibrate ana clip.mp4 --model {} --log new.sqlite"],
    ),
    "roster": Read(ROSTERS, 2, ["batch empty --roster {} --out sets"]),
    "log": Read(
        LOGS, 2,
        ["log show --log {}", "log trend --log {}", "log page --log {}",
         "log export new.jsonl --log {}", "log import good.jsonl --log {}",
         "log rebuild {judged} --person ana --log {}", "person show Ada --log {}",
         "person set Ada --stature 170 --log {}", "person erase Ada --yes --log {}"],
    ),
    "export": Read(EXPORTS, 2, ["log import {} --log new.sqlite"]),
    "labels": Read(LABELS, 2, ["agree {} {judged} --out agreement"]),
}  # fmt: skip
_EACH = [(kind, command) for kind, read in READ.items() for command in read.commands]


def _every(kind: str, command: str) -> int:
    """What reads clips as “set” does is given each fourth in the suite, and all when asked."""
    again = kind == "clip or track" and not command.startswith("set")
    return 4 if again and "FORMCHECK_ALL_BAD" not in os.environ else 1


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """The bad files of every kind."""
    folder = tmp_path_factory.mktemp("bad")
    files = {}
    for kind, read in READ.items():
        place = folder / kind
        place.mkdir()
        files[kind] = [made(bad, place) for bad in read.bad]
    return files


@pytest.mark.parametrize(("kind", "command"), _EACH)
def test_bad_files_to_every_command_that_reads_them(
    kind: str,
    command: str,
    made_once: dict[str, list[Path]],
    judged: Path,
    out: Path,
    tmp_path: Path,
) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "good.jsonl").touch()
    if "clip.mp4" in command:
        make_clip(tmp_path / "clip.mp4", [n / 30 for n in range(4)])
    before = {path.name: path.read_bytes() for path in judged.iterdir()}
    read = READ[kind]
    for bad, path in list(zip(read.bad, made_once[kind], strict=True))[:: _every(kind, command)]:
        given = {"{}": path, "{judged}": judged, "{out}": out}
        refused(run(*(given.get(word, word) for word in command.split())),
                READ[kind].exit_code, bad.said)  # fmt: skip
    assert {path.name: path.read_bytes() for path in judged.iterdir()} == before
    made_anew = {path.name for path in tmp_path.iterdir()} - {
        "empty", "good.jsonl", "clip.mp4", "report", "cache", "data", "sets", "new.sqlite",
        "new.last-good.sqlite", "new.sqlite-wal", "new.sqlite-shm",
    }  # fmt: skip
    assert not made_anew


def test_sixty_bad_files_and_more_are_given_to_every_command_that_reads_clips() -> None:
    assert len(CLIPS + TRACKS) >= 60


@pytest.mark.parametrize("bad", LIMITS, ids=name)
def test_bad_limits_given_to_be_checked(bad: Bad, tmp_path: Path) -> None:
    result = run("limits", "check", made(bad, tmp_path))
    assert result.exit_code == 2
    assert bad.name in result.output and "\x1b" not in result.output


REREADING = [
    ("again", "{}", "--tempo", "2-1-X-1"),
    ("agree", "labels.csv", "{}"),
    ("log", "rebuild", "{}"),
]


@pytest.mark.parametrize("command", REREADING, ids=lambda command: command[0])
@pytest.mark.parametrize("bad", REPORTS, ids=name)
def test_a_bad_report_is_told_of_or_passed_over(
    bad: Bad, command: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "labels.csv").write_text("set,rep,fault,verdict,who,when\na,1,shallow,yes,Ada,\n")
    folder = made(bad, tmp_path)
    result = run(*(str(folder) if word == "{}" else word for word in command))
    assert result.exit_code in (0, 2, 3)
    assert "Traceback" not in result.output
    assert result.exit_code == 0 or bad.said in result.stderr


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A good report."""
    return judge_set(SetJob((GOOD_TRACK,), tmp_path_factory.mktemp("judged") / "a")).folder


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--added-load-kg", "inf"), "an added load"),
        (("--added-load-kg", "nan"), "--added-load-kg"),
        (("--added-load-kg", "-1"), "--added-load-kg"),
        (("--stature-m", "nan"), "--stature-m"),
        (("--body-mass-kg", "1e308"), "--body-mass-kg"),
        (("--pose-rate", "inf"), "--pose-rate"),
        (("--reps", "9" * 400), "the reps asked for"),
        (("--tempo", "nan-1-X-1"), "not a tempo"),
        (("--view", "above"), "is no view"),
        (("--person", ""), ""),
    ],
)
def test_numbers_and_words_that_cannot_be(arguments: tuple[str, ...], said: str, out: Path) -> None:
    result = run("set", GOOD_TRACK, "--out", out, "--overwrite", *arguments)
    assert result.exit_code == 2, result.output
    assert said in result.stderr


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("", "no folder has such a name"),
        ("x" * 300, "cannot be written"),
        ("file/report", "written"),
        ("a\0b", "no folder has such a name"),
        ("/proc/report", "written"),
    ],
)
def test_places_where_no_report_can_be(place: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    result = run("set", GOOD_TRACK, "--out", place)
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert not (tmp_path / "report.json").exists()


def test_a_batch_of_all_that_is_bad_judges_what_is_good(tmp_path: Path) -> None:
    folder = tmp_path / "clips"
    folder.mkdir()
    # Links and pipes are no files of the folder; what does not exist is not in it.
    bad = [one for one in CLIPS + TRACKS if one.name not in _NOT_IN_A_FOLDER]
    for one in bad:
        made(one, folder)
    (folder / "good.parquet").write_bytes(GOOD_TRACK.read_bytes())
    began = time.monotonic()
    result = run_long("batch", folder, "--out", tmp_path / "sets", "--no-drawing", "--workers", 2)
    assert time.monotonic() - began < 240
    assert result.exit_code == 5, result.output
    assert "Traceback" not in result.output and "\x1b" not in result.output
    assert (tmp_path / "sets" / "good" / "report.json").exists()
    summary = (tmp_path / "sets" / "summary.html").read_text(encoding="utf-8")
    for one in bad:
        if one.name.endswith((".mp4", ".parquet")):
            assert one.said.split("⟩")[-1] in summary, one.name


_NOT_IN_A_FOLDER = {
    "absent.mp4", "dangling.mp4", "loop.mp4", "pipe.mp4", "folder.mp4", "absent.parquet",
    "folder.parquet", "pipe.parquet",
}  # fmt: skip


def run_long(*arguments: object) -> Result:
    """The command, however long it takes."""
    result = CliRunner().invoke(app, [str(one) for one in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert peak_bytes() < MOST_BYTES
    return result
