"""A saved report holds all that a verdict rests on."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.agree.measured import (
    MeasuredSet,
    SavedReportError,
    measured_set,
    read_set,
    read_sets,
    report_folders,
)
from formcheck.analysis import Analysis, analyse, rejudge
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.limit_sets import limit_sets
from formcheck.pose.store import read_track
from formcheck.report.contract import report_dict

TRACKS = Path(__file__).parents[1] / "data"
NAMES = sorted(path.stem for path in TRACKS.glob("*.parquet"))


def analysed(name: str) -> Analysis:
    asked = Prescription(tempo=parse_tempo("2-1-X-1"), rep_range=(8, 12))
    return analyse([read_track(TRACKS / f"{name}.parquet")], asked)


def saved(analysis: Analysis, folder: Path) -> Path:
    folder.mkdir(parents=True)
    (folder / "report.json").write_text(json.dumps(report_dict(analysis)), encoding="utf-8")
    return folder


def verdicts(one: MeasuredSet | Analysis, **again: object) -> list[object]:
    results = one.judged(**again) if isinstance(one, MeasuredSet) else one.reps  # type: ignore[arg-type]
    return [(r.rep.index, r.attempt, sorted((f.key, f.verdict) for f in r.faults)) for r in results]


@pytest.mark.parametrize("name", NAMES)
def test_a_saved_report_is_judged_again_as_the_set_itself_would_be(
    name: str, tmp_path: Path
) -> None:
    analysis = analysed(name)
    read = read_set(saved(analysis, tmp_path / name))
    assert read.name == name and read.prescription == analysis.prescription
    assert verdicts(read) == verdicts(analysis) == verdicts(measured_set(analysis, name))
    for one in limit_sets().values():
        assert verdicts(read, limits=one.limits) == verdicts(rejudge(analysis, one.limits))
    faster = replace(analysis.prescription, tempo=parse_tempo("1-0-1-0"), standard="ninety-degree")
    again = rejudge(analysis, analysis.limits, faster)
    assert verdicts(read, prescription=faster) == verdicts(again)


def test_report_folders_are_found_wherever_they_lie(tmp_path: Path) -> None:
    analysis = analysed("clean_side")
    one = saved(analysis, tmp_path / "mon" / "anna")
    two = saved(analysis, tmp_path / "tue" / "anna")
    saved(analysis, tmp_path / "tue" / ".anna.partial")
    assert report_folders([tmp_path]) == (one, two)
    assert report_folders([one, tmp_path]) == (one, two)
    assert [s.name for s in read_sets([one, two])] == ["mon/anna", "tue/anna"]
    assert [s.name for s in read_sets([two])] == ["anna"]


def test_a_folder_without_a_report_is_told(tmp_path: Path) -> None:
    with pytest.raises(SavedReportError, match="no saved report"):
        report_folders([tmp_path])


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{", '{"schema": "formcheck.report/1"}', '{"schema": 9}', "[" * 9000, "\x00"],
)
def test_what_is_no_report_is_one_sentence(text: str, tmp_path: Path) -> None:
    (tmp_path / "report.json").write_text(text, encoding="utf-8")
    with pytest.raises(SavedReportError) as caught:
        read_set(tmp_path)
    assert "report.json" in str(caught.value) and "again" in str(caught.value)
