"""A set judged for the log of a person: through the one job, to the report, to the entry."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.errors import FormcheckError
from formcheck.job import Outcome, SetJob, judge_set
from formcheck.log.enter import rebuild
from formcheck.log.person import PersonRecord
from formcheck.log.store import changing, open_log, put_person, sets_of
from formcheck.log.today import LogAsk
from formcheck.pose.store import read_track, write_track
from formcheck.report.contract import check

DATA = Path(__file__).parents[1] / "data"
# Judged as the clip shows it: without a tempo asked, clean_side is clean.
ASKED = Prescription(target_reps=5)


def judged(tmp_path: Path, track: str, day: int, name: str = "ana", **values: Any) -> Outcome:
    """Judge a saved pose for a person's log, as recorded on a day of March."""
    recorded_at = datetime(2026, 3, day, 18, tzinfo=UTC)
    job = SetJob(
        (DATA / f"{track}.parquet",),
        tmp_path / "reports" / f"{track}_{day}",
        prescription=ASKED,
        drawing=False,
        log=LogAsk(name, tmp_path / "log.sqlite", recorded_at),
    )
    return judge_set(replace(job, **values))


def report_of(outcome: Outcome) -> dict[str, Any]:
    report: dict[str, Any] = json.loads((outcome.folder / "report.json").read_text("utf-8"))
    check(report)
    return report


def entries(tmp_path: Path) -> list[str]:
    with open_log(tmp_path / "log.sqlite") as log:
        return [Path(one.folder).name for one in sets_of(log)]


@pytest.fixture(scope="module")
def two_sets(tmp_path_factory: pytest.TempPathFactory) -> tuple[Outcome, Outcome, Path]:
    tmp_path = tmp_path_factory.mktemp("weeks")
    first = judged(tmp_path, "clean_side", 2)
    # The same reps again as another clip: as clean a set, three days later.
    track = replace(read_track(DATA / "clean_side.parquet"), source_sha256="b" * 64)
    write_track(track, tmp_path / "repeated.parquet")
    second = judged(tmp_path, "repeated", 5, clips=(tmp_path / "repeated.parquet",))
    return first, second, tmp_path


def test_the_report_says_whose_set_it_is_and_meets_its_contract(
    two_sets: tuple[Outcome, Outcome, Path],
) -> None:
    first, second, tmp_path = two_sets
    report = report_of(first)
    assert (report["person"], report["recorded_at"]) == ("ana", "2026-03-02T18:00:00Z")
    assert report["log"]["since"] is None
    assert entries(tmp_path) == ["clean_side_2", "repeated_5"]
    assert "In the log of ana" in str(second.entered)


def test_one_set_at_the_top_is_held_back_and_the_second_steps_up(
    two_sets: tuple[Outcome, Outcome, Path],
) -> None:
    first, second, _ = two_sets
    one, two = report_of(first), report_of(second)
    assert one["log"]["direction_alone"] == "harder"
    assert one["next_step"]["direction"] == "same"
    assert any("once more in a row" in why for why in one["next_step"]["why"])
    assert one["next_step"]["surface_change_cm"] is None
    assert two["next_step"]["direction"] == "harder"
    assert two["log"]["rests_on"] == ["2026-03-02", "2026-03-05"]


def test_the_page_says_what_changed_since_the_last_set_of_the_variation(
    two_sets: tuple[Outcome, Outcome, Path],
) -> None:
    _, second, _ = two_sets
    report = report_of(second)
    assert report["log"]["since"] == "2026-03-02"
    page = (second.folder / "report.html").read_text(encoding="utf-8")
    assert "Since the last set of this variation, 2026-03-02" in page
    assert report["log"]["changed"][0] in page


def test_the_log_is_made_again_from_the_folders_alone(
    two_sets: tuple[Outcome, Outcome, Path],
) -> None:
    _, _, tmp_path = two_sets
    other = tmp_path / "other.sqlite"
    assert rebuild(tmp_path / "reports", other).left_out == ()
    with open_log(other) as one, open_log(tmp_path / "log.sqlite") as two:
        assert sets_of(one) == sets_of(two)


def test_the_same_set_judged_again_replaces_its_entry_and_is_not_its_own_past(
    tmp_path: Path,
) -> None:
    first = judged(tmp_path, "clean_side", 2)
    again = judged(tmp_path, "clean_side", 2, out=tmp_path / "again", prescription=replace(
        ASKED, tempo=parse_tempo("2-1-X-1")))  # fmt: skip
    assert first.entered is not None and first.entered.replaced is None
    assert again.entered is not None and again.entered.replaced is not None
    assert report_of(again)["log"]["since"] is None
    assert entries(tmp_path) == ["again"]


def test_what_the_log_knows_of_the_person_is_used_and_what_is_told_wins(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    kept = PersonRecord("Ana", "female", 1.68, body_mass=(("2026-01-05", 61.0),))
    with open_log(path, write=True) as log, changing(log, path):
        put_person(log, kept)
    asked = report_of(judged(tmp_path, "clean_side", 2))["prescription"]
    assert (asked["stature_m"], asked["body_mass_kg"], asked["sex"]) == (1.68, 61.0, "female")
    told = report_of(judged(tmp_path, "portrait60", 3, person=Person(body_mass_kg=60.0)))
    assert (told["person"], told["prescription"]["body_mass_kg"]) == ("Ana", 60.0)
    assert told["prescription"]["stature_m"] == 1.68


def test_a_clip_in_which_nobody_does_a_rep_is_not_entered(tmp_path: Path) -> None:
    track = read_track(DATA / "clean_side.parquet")
    standing = replace(track, xy_px=np.full_like(track.xy_px, np.nan))
    write_track(standing, tmp_path / "nobody.parquet")
    nobody = judged(tmp_path, "clean_side", 2, clips=(tmp_path / "nobody.parquet",))
    assert (nobody.entered, nobody.weeks) == (None, None)
    assert entries(tmp_path) == []
    assert rebuild(tmp_path / "reports", tmp_path / "log.sqlite", "ana").entered == 0


def test_what_is_no_name_is_told_before_any_work(tmp_path: Path) -> None:
    with pytest.raises(FormcheckError, match="cannot be a person's name"):
        judged(tmp_path, "clean_side", 2, name="\u202e")
    assert not (tmp_path / "reports").exists()


def test_a_log_that_cannot_be_opened_is_told_before_any_work(tmp_path: Path) -> None:
    (tmp_path / "log.sqlite").write_bytes(b"no log at all" * 100)
    with pytest.raises(FormcheckError, match="damaged"):
        judged(tmp_path, "clean_side", 2)
    assert not (tmp_path / "reports").exists()
