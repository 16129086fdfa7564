from __future__ import annotations

import csv
import io
from pathlib import Path

import openpyxl
import pyarrow.parquet as pq
import pytest

from formcheck.batch.run import BatchOutcome
from formcheck.batch.summary import all_reps_table, described_columns, sets_table
from formcheck.job import SetJob
from tests.batch.folders import batch, fill
from tests.batch.sets import made_set

Judged = tuple[Path, Path, BatchOutcome]


def test_every_rep_of_every_set_is_in_one_table_and_every_column_says_what_it_is(
    judged: Judged,
) -> None:
    table = pq.read_table(judged[1] / "reps.parquet")
    frame = table.to_pandas()
    assert set(frame["set"]) == {"anna/flared", "anna/sag", "bo/short", "cy/pike"}
    assert set(frame["person"]) == {"anna", "bo", "cy"}
    assert frame["index"].tolist()[:5] == [1, 2, 3, 4, 5]
    assert frame["elbow_bottom_deg"].between(30, 180).all()
    for field in table.schema:
        assert field.metadata[b"description"], field.name
    assert table.schema.field("elbow_bottom_deg").metadata[b"description"].endswith(b"(deg)")


def test_the_table_of_sets_has_a_row_a_set_and_numbers_as_numbers(judged: Judged) -> None:
    with (judged[1] / "summary.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["set"]: row for row in csv.DictReader(file)}
    assert rows["anna/sag"]["fix_first"] == "hip_sag"
    assert rows["anna/sag"]["faults"].startswith("hip_sag: ")
    assert rows["anna/flared"]["views"] == "side; front"
    assert rows["anna/flared"]["paired_by"] == "names"
    assert int(rows["bo/short"]["attempts"]) == 6 and float(rows["bo/short"]["elbow_bottom_deg"])


def test_a_failed_set_stands_in_the_table_with_its_reason() -> None:
    row = sets_table([made_set("a/1", status="failed")]).iloc[0]
    assert (row["status"], row["reason"]) == ("failed", "dark")


def test_no_set_gives_empty_tables() -> None:
    assert len(sets_table([])) == 0
    reps = all_reps_table([])
    assert len(reps) == 0 and all(described_columns(reps).values())


def test_a_workbook_has_sets_reps_and_what_the_columns_mean(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"cy/pike.parquet": "pike_side"})
    batch(clips, tmp_path / "out", each=SetJob((), xlsx=True))
    book = openpyxl.load_workbook(tmp_path / "out/summary.xlsx")
    assert book.sheetnames == ["sets", "reps", "columns"]
    assert book["sets"].max_row == 2
    meaning = {row[0].value: row[1].value for row in book["columns"].iter_rows(min_row=2)}
    assert all(cell.value in meaning for cell in book["reps"][1])
    batch(clips, tmp_path / "out")
    assert not (tmp_path / "out/summary.xlsx").exists()


@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_no_name_is_a_formula_in_a_spreadsheet(sign: str) -> None:
    from formcheck.batch.summary import _csv, _xlsx

    sets = [made_set(f"{sign}SUM(A1)/x", ("hip_sag",))]
    text = _csv(sets_table(sets)).decode()
    assert f"\n{sign}" not in text and f",{sign}SUM" not in text
    book = openpyxl.load_workbook(io.BytesIO(_xlsx(sets_table(sets), all_reps_table(sets))))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert any(f"'{sign}SUM(A1)" in str(cell.value) for cell in cells)
    assert not [cell.value for cell in cells if cell.data_type == "f"]
