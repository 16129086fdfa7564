"""A hold that somebody checked with a stick becomes the person's own straight line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from formcheck.asked.person import HipOffset, Person
from formcheck.cli import app
from formcheck.judged import judge
from formcheck.log.calibrate import CalibrationError, calibrated
from formcheck.log.store import find_person, open_log
from formcheck.pose.model import DEFAULT_MODEL
from formcheck.pose.store import read_track, write_track
from tests.log.made_up import write_hold

DATA = Path(__file__).parents[1] / "data"


@pytest.fixture(scope="module")
def hold(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_hold(tmp_path_factory.mktemp("hold") / "hold.parquet")


def test_the_hold_reads_the_line_and_says_the_error_with_and_without(hold: Path) -> None:
    found = calibrated(hold, None, DEFAULT_MODEL)
    line = judge(hold).analysis.hold
    assert line is not None
    assert found.reading_deg == pytest.approx(line.line_deg.value)
    assert found.after_deg < found.before_deg
    assert found.hold.share > 0  # read as a sag


def test_what_the_hold_read_is_taken_off_the_same_bodys_sets(hold: Path) -> None:
    found = calibrated(hold, None, DEFAULT_MODEL).hold
    lines = [
        judge(DATA / "clean_side.parquet", person=Person(hip_offset=offset)).analysis
        for offset in (None, HipOffset(found.share, 0.01), HipOffset(found.share + 0.02, 0.01))
    ]
    for reps in zip(*(line.reps for line in lines), strict=True):
        unknown, known, further = (rep.values["hip_deviation_deg"] for rep in reps)
        assert known.plus_minus < unknown.plus_minus
        assert further.value < known.value  # the more of it is the landmark's, the less the hips'


@pytest.mark.parametrize(
    ("track", "what"), [("clean_side", "5 reps"), ("clean_front", "5 reps"), ("oblique", "reps")]
)
def test_a_clip_that_is_no_hold_is_refused(track: str, what: str) -> None:
    with pytest.raises(CalibrationError, match=what):
        calibrated(DATA / f"{track}.parquet", None, DEFAULT_MODEL)


def test_a_hold_that_sags_far_was_not_checked(hold: Path, tmp_path: Path) -> None:
    track = read_track(hold)
    sagging = track.xy_px.copy()
    hips = [23, 24]  # of the landmark model's 33 points
    sagging[:, hips, 1] += 40.0
    write_track(replace(track, xy_px=sagging), tmp_path / "sagging.parquet")
    with pytest.raises(CalibrationError, match="tailbone"):
        calibrated(tmp_path / "sagging.parquet", None, DEFAULT_MODEL)


def test_the_command_keeps_it_for_the_person(hold: Path, tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    result = CliRunner().invoke(app, ["person", "calibrate", "ana", str(hold), "--log", str(path)])
    assert result.exit_code == 0, result.output
    assert "without this" in result.stdout
    with open_log(path) as log:
        ana = find_person(log, "ana")
    assert ana.hip_offset is not None
    assert ana.hip_offset.clip == "clean_side.mp4"
