"""Killed at any moment, with a rival, or on a full disk: no report is lost or half there."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from formcheck.job import SetJob, judge_set
from formcheck.report.contract import check
from tests.battery.cases import GOOD_TRACK

pytestmark = pytest.mark.slow

RUN = [sys.executable, "-c", "from formcheck.cli import app; app()"]
FILES = {"landmarks.parquet", "report.html", "report.json", "reps.csv"}


def start(out: Path, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*RUN, "set", str(GOOD_TRACK), "--out", str(out), *more],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )


def whole(out: Path) -> dict[str, object]:
    """The report, which must be whole and of one run."""
    assert {path.name for path in out.iterdir() if not path.name.startswith(".")} == FILES
    report: dict[str, object] = json.loads((out / "report.json").read_text(encoding="utf-8"))
    check(report)
    html = (out / "report.html").read_text(encoding="utf-8")
    asked = report["prescription"]
    assert isinstance(asked, dict)
    assert (asked["tempo"] or "") in html  # the page is of the same run
    return report


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return judge_set(SetJob((GOOD_TRACK,), tmp_path_factory.mktemp("judged") / "a")).folder


@pytest.fixture
def out(judged: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(judged, tmp_path / "report"))


def test_killed_at_random_moments_a_report_stays_whole(out: Path) -> None:
    began = time.monotonic()
    assert start(out, "--overwrite").wait() == 0
    usual_s = time.monotonic() - began
    moments = random.Random(16)
    for n in range(int(os.environ.get("FORMCHECK_KILLS", "2"))):
        running = start(out, "--overwrite", "--tempo", f"{n % 9}-1-X-1")
        time.sleep(usual_s * moments.uniform(0.4, 1.1))
        running.kill()
        running.communicate()
        whole(out)
    assert start(out, "--overwrite").wait() == 0
    assert {path.name for path in out.iterdir()} == FILES  # and nothing is left of those killed


def test_of_two_at_once_one_writes_and_the_other_says_so(tmp_path: Path) -> None:
    both = [start(tmp_path / "report") for _ in range(2)]
    told = [running.communicate()[1] for running in both]
    codes = [running.returncode for running in both]
    assert sorted(codes) == [0, 2]
    assert "already holds a report" in told[codes.index(2)]
    whole(tmp_path / "report")
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_a_disk_without_room_leaves_the_earlier_report(out: Path) -> None:
    earlier = {path.name: path.read_bytes() for path in out.iterdir()}
    command = [*RUN, "set", str(GOOD_TRACK), "--out", str(out), "--overwrite"]
    # No file may grow larger than this: a full disk, as far as writing goes.
    limited = ["bash", "-c", 'ulimit -f 30; "$@"', "-", *command]
    done = subprocess.run(limited, capture_output=True, text=True)
    assert done.returncode == 2
    assert "could not be written" in done.stderr and done.stderr.count("\n") == 1
    assert {path.name: path.read_bytes() for path in out.iterdir()} == earlier
