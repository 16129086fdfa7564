"""Labels come from spreadsheets: what is meant is read, what is wrong is told with its row."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest

from formcheck.agree.labels import (
    COLUMNS,
    Label,
    LabelsError,
    labels_from,
    labels_table,
    raters,
    read_labels,
)
from formcheck.errors import Exit

KEYS = ("hip_sag", "shallow")
HEAD = "set,rep,fault,verdict,who,when\n"


def written(folder: Path, text: str, name: str = "labels.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode("utf-8"))
    return path


def complaint(path: Path) -> str:
    with pytest.raises(LabelsError) as caught:
        read_labels(path, KEYS)
    assert caught.value.exit_code == Exit.USAGE
    return str(caught.value)


def test_a_row_is_a_verdict(tmp_path: Path) -> None:
    path = written(tmp_path, HEAD + "mon_1,2,hip_sag,yes,AB,2026-05-31\nmon_1,3,shallow,No,AB,\n")
    assert read_labels(path, KEYS) == (
        Label("mon_1", 2, "hip_sag", "yes", "AB", datetime(2026, 5, 31)),
        Label("mon_1", 3, "shallow", "no", "AB"),
    )


@pytest.mark.parametrize(
    "text",
    [
        "\ufeffset;rep;fault;verdict;who;when\r\nmon;1;hip_sag;yes;AB;\r\n",
        "when,who,Verdict,FAULT,rep,set\n,AB,YES,Hip_Sag,1.0,mon\n",
        "set,rep,fault,verdict,who\nmon,1,hip_sag,yes,AB\n,,,,\n",
    ],
    ids=["semicolons and a mark", "any order and case", "no when, an empty row"],
)
def test_what_spreadsheets_write_is_read(tmp_path: Path, text: str) -> None:
    assert read_labels(written(tmp_path, text), KEYS) == (Label("mon", 1, "hip_sag", "yes", "AB"),)


def test_an_xlsx_is_read_like_a_csv(tmp_path: Path) -> None:
    rows = [["mon", 1, "hip_sag", "yes", "AB", "2026-05-31"], ["mon", 2, "counted", "no", "AB", ""]]
    path = tmp_path / "labels.xlsx"
    pd.DataFrame(rows, columns=list(COLUMNS)).to_excel(path, index=False)
    assert [(one.rep, one.fault) for one in read_labels(path, KEYS)] == [
        (1, "hip_sag"), (2, "counted"),
    ]  # fmt: skip


def test_no_rep_means_every_rep_of_the_set(tmp_path: Path) -> None:
    assert read_labels(written(tmp_path, HEAD + "mon,,hip_sag,no,AB,\n"), KEYS)[0].rep is None


def test_every_problem_is_told_with_its_row(tmp_path: Path) -> None:
    path = written(
        tmp_path, HEAD + "mon,1,hip_sag,yes,AB,\nmon,x,hip_sagg,maybe,,31.5.\n,2,shallow,no,AB,\n"
    )
    with pytest.raises(LabelsError, match=r"row 3: “x” is no rep.*5 more problems") as caught:
        read_labels(path, KEYS)
    said = caught.value.problems
    assert len(said) == 6 and all(line.startswith("labels.csv, row ") for line in said)
    assert "row 3" in said[0] and "“x” is no rep" in said[0]
    assert "hip_sagg" in said[1] and "hip_sag," in said[1]
    assert "“maybe” is no verdict; write yes, no or unsure." in said[2]
    assert "who" in said[3] and "“31.5.” is no date" in said[4]
    assert "row 4" in said[5] and "no set" in said[5]


@pytest.mark.parametrize("rep", ["0", "-1", "1.5", "²", "999999999999"])
def test_a_rep_is_a_number_from_one(tmp_path: Path, rep: str) -> None:
    assert f"“{rep}” is no rep" in complaint(written(tmp_path, HEAD + f"m,{rep},shallow,no,AB,\n"))


def test_a_verdict_taken_back_later_counts(tmp_path: Path) -> None:
    rows = "m,1,shallow,yes,AB,2026-05-31T10:00\nm,1,shallow,no,AB,2026-05-30\n"
    assert [one.verdict for one in read_labels(written(tmp_path, HEAD + rows), KEYS)] == ["yes"]


def test_two_verdicts_without_a_time_cannot_both_stand(tmp_path: Path) -> None:
    said = complaint(written(tmp_path, HEAD + "m,1,shallow,yes,AB,\nm,1,shallow,no,AB,\n"))
    assert "row 3" in said and "row 2" in said and "when" in said


def test_two_people_may_differ(tmp_path: Path) -> None:
    path = written(tmp_path, HEAD + "m,1,shallow,yes,AB,\nm,1,shallow,no,CD,\n")
    assert raters(read_labels(path, KEYS)) == ("AB", "CD")


def test_a_missing_column_is_named(tmp_path: Path) -> None:
    assert "“verdict”" in complaint(written(tmp_path, "set,rep,fault,who\n"))


def test_what_is_no_table_says_what_to_save(tmp_path: Path) -> None:
    path = tmp_path / "labels.csv"
    path.write_bytes(b"\x00\xff\xfe")
    assert "save it as CSV" in complaint(path)
    assert "No such file" in complaint(tmp_path / "none.csv")
    assert "cannot be read" in complaint(tmp_path)
    assert "device" in complaint(Path("/dev/zero"))


def test_no_sign_of_a_label_moves_the_terminals_cursor(tmp_path: Path) -> None:
    assert "\x1b" not in complaint(written(tmp_path, HEAD + "m,1,\x1b[2J,no,AB,\n"))


def test_a_table_reads_back_what_it_wrote() -> None:
    labels = (
        Label("mon", 2, "hip_sag", "yes", "AB", datetime(2026, 5, 31, 9, 30)),
        Label("mon", None, "counted", "unsure", "CD"),
    )
    assert labels_from(labels_table(labels), KEYS) == labels
