from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from formcheck.analysis import Analysis
from formcheck.errors import OutputError
from formcheck.report.contract import report_dict
from formcheck.report.tables import check_xlsx, reps_table, write_csv, write_xlsx
from tests.report.conftest import nobody

HOSTILE = ["=1+1", "+1", "-1+2", "@SUM(A1)", "\tx", "\rx"]


def test_numbers_stay_numbers_and_unmeasured_cells_stay_empty(
    sagging: Analysis, tmp_path: Path
) -> None:
    write_csv(reps_table(report_dict(sagging)), tmp_path / "reps.csv")
    table = pd.read_csv(tmp_path / "reps.csv")
    assert list(table["index"]) == [1, 2, 3, 4, 5, 6]
    assert table["elbow_bottom_deg"].dtype == "float64"
    assert table["hip_deviation_deg"].dtype == "float64"
    assert table["hand_spacing_ratio"].isna().all()
    assert "hip_sag" in table["faults"].iloc[-1].split("; ")


def test_the_first_line_holds_the_contracts_field_names(written_csv: Path) -> None:
    with written_csv.open(newline="", encoding="utf-8") as file:
        first = next(csv.reader(file))
    assert first[:2] == ["index", "attempt"]


@pytest.fixture
def written_csv(sagging: Analysis, tmp_path: Path) -> Path:
    write_csv(reps_table(report_dict(sagging)), tmp_path / "reps.csv")
    return tmp_path / "reps.csv"


@pytest.mark.parametrize("text", HOSTILE)
def test_text_that_would_run_as_a_formula_is_made_safe(sagging: Analysis, text: str) -> None:
    report = report_dict(sagging)
    report["reps"][0]["why_not_counted"] = text
    cell = reps_table(report)["why_not_counted"].iloc[0]
    assert cell == "'" + text


def test_a_negative_number_is_not_taken_for_a_formula(sagging: Analysis) -> None:
    report = report_dict(sagging)
    report["reps"][0]["hip_deviation_deg"] = -3.5
    assert reps_table(report)["hip_deviation_deg"].iloc[0] == -3.5


def test_the_workbook_holds_the_same_cells_with_types(sagging: Analysis, tmp_path: Path) -> None:
    table = reps_table(report_dict(sagging))
    write_xlsx(table, tmp_path / "reps.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "reps.xlsx").active
    assert sheet is not None
    head = [cell.value for cell in sheet[1]]
    assert head == list(table.columns)
    depth = sheet.cell(2, head.index("elbow_bottom_deg") + 1)
    assert depth.data_type == "n"
    assert depth.value == table["elbow_bottom_deg"].iloc[0]


def test_a_set_without_reps_still_gives_a_table(tmp_path: Path) -> None:
    write_csv(reps_table(report_dict(nobody())), tmp_path / "reps.csv")
    assert pd.read_csv(tmp_path / "reps.csv").empty


def test_the_workbook_says_what_each_value_is(sagging: Analysis, tmp_path: Path) -> None:
    write_xlsx(reps_table(report_dict(sagging)), tmp_path / "reps.xlsx")
    about = pd.read_excel(tmp_path / "reps.xlsx", sheet_name="values").set_index("key")
    assert about.loc["hip_deviation_deg", "unit"] == "deg"
    assert set(about.index) <= set(report_dict(sagging)["reps"][0])


def test_without_the_workbook_library_one_sentence_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    with pytest.raises(OutputError, match=r"pip install 'formcheck\[xlsx\]'"):
        check_xlsx()
