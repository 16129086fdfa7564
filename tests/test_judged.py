"""What a program or a notebook uses: judge, look, write, judge again."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest

import formcheck
from formcheck.asked.bounds import AskedError
from formcheck.asked.tempo import TempoError
from formcheck.errors import ClipError, OutputError
from formcheck.faults.limits import LimitsError
from formcheck.judged import MEASURED_BY, Judged

DATA = Path(__file__).parent / "data"
SAGS = DATA / "hip_sag_side.parquet"


@pytest.fixture(scope="module")
def sagging() -> Judged:
    return formcheck.judge(SAGS, tempo="2-1-X-1")


def test_a_path_may_be_text(sagging: Judged) -> None:
    by_text = formcheck.judge(str(SAGS), tempo="2-1-X-1")
    assert by_text.report() == sagging.report()


def test_two_views_of_one_set_in_any_order_are_one_judgement() -> None:
    side, front = DATA / "flared_pair_side.parquet", DATA / "flared_pair_front.parquet"
    assert formcheck.judge(front, side).table().equals(formcheck.judge(side, front).table())


def test_the_table_has_a_row_an_attempt_and_units_in_its_names(sagging: Judged) -> None:
    table = sagging.table()
    assert list(table["index"]) == [1, 2, 3, 4, 5, 6]
    assert {"elbow_bottom_deg", "eccentric_s", "hip_deviation_deg_plus_minus"} <= set(table)


def test_the_faults_are_a_row_each_with_value_and_limit(sagging: Judged) -> None:
    faults = sagging.faults()
    sags = faults[(faults.key == "hip_sag") & (faults.verdict == "fault")]
    assert len(sags) and (sags.value - sags.uncertainty > sags.limit).all()


def test_no_fault_is_an_empty_table_with_the_same_columns(sagging: Judged) -> None:
    clean = formcheck.judge(DATA / "clean_side.parquet")
    assert not len(clean.faults()) and list(clean.faults()) == list(sagging.faults())


def test_judged_again_is_what_a_fresh_judgement_would_be(sagging: Judged) -> None:
    again = sagging.again(limits={"hip_sag": 8.0}, tempo="3-1-X-1")
    fresh = formcheck.judge(SAGS, tempo="3-1-X-1", limits={"hip_sag": 8.0})
    assert again.report() == fresh.report() != sagging.report()


def test_limits_given_again_are_laid_over_those_in_force(sagging: Judged) -> None:
    twice = sagging.again(limits={"hip_sag": 8.0}).again(limits={"shallow": 80.0})
    assert (twice.report()["limits"]["hip_sag"], twice.report()["limits"]["shallow"]) == (8.0, 80.0)


@pytest.mark.parametrize(
    "told",
    [
        {"prescription": formcheck.Prescription(surface="hands_raised")},
        {"person": formcheck.Person(stature_m=1.80, sex="female")},
    ],
)
def test_what_changes_measurements_is_measured_again(sagging: Judged, told: dict[str, Any]) -> None:
    again = sagging.again(**told)
    asked = told.get("prescription", sagging.analysis.prescription)
    fresh = formcheck.judge(SAGS, prescription=asked, person=told.get("person"))
    assert again.report() == fresh.report()
    assert not again.table().equals(sagging.table())


def test_the_fields_that_change_measurements_are_fields_of_a_prescription() -> None:
    assert set(MEASURED_BY) <= {field.name for field in fields(formcheck.Prescription)}


def test_what_is_written_is_what_was_judged(sagging: Judged, tmp_path: Path) -> None:
    folder = sagging.write(tmp_path / "report", drawing=False)
    assert json.loads((folder / "report.json").read_text("utf-8")) == sagging.report()
    assert (folder / "report.html").exists() and (folder / "reps.csv").exists()
    assert (
        formcheck.judge(folder / "landmarks.parquet", tempo="2-1-X-1")
        .table()
        .equals(sagging.table())
    )


def test_a_report_is_only_written_over_when_that_is_said(sagging: Judged, tmp_path: Path) -> None:
    sagging.write(tmp_path, drawing=False)
    with pytest.raises(OutputError, match="already holds a report"):
        sagging.write(tmp_path, drawing=False)
    sagging.write(tmp_path, drawing=False, overwrite=True)


def test_its_representation_fits_a_screen_and_says_what_came_out(sagging: Judged) -> None:
    for one in (sagging, sagging.analysis):
        assert len(repr(one)) < 200 and "6 attempts" in repr(one) and "hip_sag" in repr(one)


def test_two_judgements_can_be_compared(sagging: Judged) -> None:
    other = formcheck.judge(DATA / "clean_side.parquet")
    assert sagging == sagging and sagging != other
    assert sagging.analysis == sagging.analysis and sagging.analysis != other.analysis


@pytest.mark.parametrize(
    ("clips", "asked", "error", "says"),
    [
        ((), {}, AskedError, "not by 0"),
        ((SAGS, SAGS, SAGS), {}, AskedError, "not by 3"),
        ((7,), {}, AskedError, "by its path, not by a int"),
        ((SAGS,), {"tempo": "fast"}, TempoError, "is not a tempo"),
        ((SAGS,), {"tempo": 2110}, AskedError, "2-1-X-1"),
        ((SAGS,), {"limits": {"hip_sagg": 8}}, LimitsError, "hip_sagg"),
        ((SAGS,), {"views": ["sideways"]}, AskedError, "sideways"),
        ((SAGS,), {"views": ["side", "front"]}, AskedError, "once for each clip"),
        (("no such clip.mp4",), {}, ClipError, "no such clip.mp4"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(
    clips: tuple[Any, ...], asked: dict[str, Any], error: type[Exception], says: str
) -> None:
    with pytest.raises(error, match=says) as caught:
        formcheck.judge(*clips, **asked)
    assert isinstance(caught.value, formcheck.FormcheckError)


def test_the_public_names_are_shown_and_can_all_be_had() -> None:
    shown = dir(formcheck)
    assert {"judge", "Judged", "Prescription", "Person", "default_limits"} <= set(shown)
    assert all(getattr(formcheck, name) is not None for name in formcheck.__all__)


def test_asking_for_the_names_loads_no_scientific_library() -> None:
    code = "import formcheck, sys; dir(formcheck); sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
