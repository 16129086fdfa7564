"""The log goes out and comes in again as it was."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest

from formcheck.log.entry import SetEntry
from formcheck.log.exchange import ExchangeError, export, import_log, schema
from formcheck.log.person import CheckedHold, PersonRecord
from formcheck.log.store import changing, open_log, people, put_person, put_set, sets_of
from tests.log.made_up import entry

ANA = PersonRecord("ana", "female", 1.68, 0.31, 0.25, (("2026-01-05", 61.0), ("2026-03-01", 60.0)),
                   CheckedHold(0.05, 0.01, "hold.mp4", "2026-03-01"))  # fmt: skip
SETS = [
    entry(0),
    entry(3, hip_deviation_deg=None, hip_deviation_deg_plus_minus=None, tempo=None),
    entry(5, person="ben, the “other”", next_variation='feet on a "step", 5 kg'),
]


@pytest.fixture
def log(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    path = tmp_path / "log.sqlite"
    with open_log(path, write=True) as opened:
        with changing(opened, path):
            put_person(opened, ANA)
            for one in SETS:
                put_set(opened, one)
        yield opened


@pytest.mark.parametrize("name", ["out.jsonl", "out.csv"])
def test_a_whole_log_comes_back_unchanged(
    log: sqlite3.Connection, tmp_path: Path, name: str
) -> None:
    export(log, tmp_path / name)
    other = tmp_path / "other.sqlite"
    with open_log(other, write=True) as empty:
        done = import_log(empty, other, tmp_path / name)
        assert sets_of(empty) == sets_of(log) == SETS
        assert people(empty) == people(log)
    assert (done.people, done.sets, done.replaced) == (2, 3, 0)


@pytest.mark.parametrize("name", ["out.jsonl", "out.csv"])
def test_one_persons_part_holds_nothing_of_others(
    log: sqlite3.Connection, tmp_path: Path, name: str
) -> None:
    written = export(log, tmp_path / name, "ana")
    text = "".join(file.read_text(encoding="utf-8") for file in written)
    assert "ana" in text
    assert "ben" not in text


def test_importing_twice_enters_nothing_twice(log: sqlite3.Connection, tmp_path: Path) -> None:
    export(log, tmp_path / "out.jsonl")
    done = import_log(log, tmp_path / "log.sqlite", tmp_path / "out.jsonl")
    assert (done.sets, done.replaced) == (3, 3)
    assert sets_of(log) == SETS


def test_what_a_file_leaves_untold_of_a_person_stays(
    log: sqlite3.Connection, tmp_path: Path
) -> None:
    line = {"kind": "person", "person": "ANA", "stature_m": 1.69,
            "body_mass": [{"on_date": "2026-04-01", "kg": 59.5}]}  # fmt: skip
    (tmp_path / "in.jsonl").write_text(json.dumps(line) + "\n", encoding="utf-8")
    import_log(log, tmp_path / "log.sqlite", tmp_path / "in.jsonl")
    ana = people(log)[0]
    assert (ana.name, ana.stature_m, ana.sex, ana.hip_offset) == (
        "ana", 1.69, "female", ANA.hip_offset,
    )  # fmt: skip
    assert ana.body_mass == (*ANA.body_mass, ("2026-04-01", 59.5))


@pytest.mark.parametrize(
    ("name", "text", "what"),
    [
        ("in.jsonl", '{"kind": "set"}\n', "required property"),
        ("in.jsonl", "not json\n", "no JSON"),
        ("in.csv", "a,b\n1\n", "no table|required|nothing was imported"),
        ("in.txt", "", "ends in .csv or .jsonl"),
    ],
)
def test_a_file_that_is_no_log_changes_nothing(
    log: sqlite3.Connection, tmp_path: Path, name: str, text: str, what: str
) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(ExchangeError, match=what):
        import_log(log, tmp_path / "log.sqlite", tmp_path / name)
    assert sets_of(log) == SETS


def test_one_bad_line_among_good_ones_imports_nothing(
    log: sqlite3.Connection, tmp_path: Path
) -> None:
    export(log, tmp_path / "out.jsonl")
    lines = (
        (tmp_path / "out.jsonl").read_text(encoding="utf-8").replace('"clean": 7', '"clean": -1')
    )
    (tmp_path / "in.jsonl").write_text(lines, encoding="utf-8")
    other = tmp_path / "other.sqlite"
    with open_log(other, write=True) as empty:
        with pytest.raises(ExchangeError, match="nothing was imported"):
            import_log(empty, other, tmp_path / "in.jsonl")
        assert (sets_of(empty), people(empty)) == ([], [])


def test_the_schema_says_what_every_field_means() -> None:
    told = schema()["$defs"]["set"]["properties"]
    assert {one.name for one in fields(SetEntry)} | {"kind"} == set(told)
    assert all(one.get("description") for name, one in told.items() if name != "kind")
    person = schema()["$defs"]["person"]["properties"]
    names = {one.name for one in fields(PersonRecord)} - {"name"}
    assert names | {"kind", "person"} == set(person)


@pytest.mark.parametrize("name", ["=1+1", "-Ada", "'=1", "''@x", "'Ada"])
def test_a_name_that_a_spreadsheet_would_run_is_written_as_text_and_comes_back(
    name: str, tmp_path: Path
) -> None:
    with open_log(tmp_path / "a.sqlite", write=True) as log, changing(log, tmp_path / "a.sqlite"):
        put_person(log, PersonRecord(name))
    with open_log(tmp_path / "a.sqlite") as log:
        written = export(log, tmp_path / "out.csv")
    cells = [cell for line in written[1].read_text().splitlines() for cell in line.split(",")]
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    with open_log(tmp_path / "b.sqlite", write=True) as log:
        import_log(log, tmp_path / "b.sqlite", written[1])
        assert [one.name for one in people(log)] == [name]
