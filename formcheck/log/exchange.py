"""The log as JSON lines or CSV, out and in; ``log.schema.json`` says what each field means."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, fields, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from formcheck.errors import FormcheckError
from formcheck.files import read_small
from formcheck.locks import made_beside
from formcheck.log.entry import ClipRef, FaultCount, SetEntry
from formcheck.log.person import CheckedHold, PersonRecord, person_name
from formcheck.log.store import changing, find_person, people, put_person, put_set, sets_of

# The people of a CSV stand in a second file beside that of the sets.
PEOPLE = "_people"
_HIP = "hip_offset_"
_PERSON_COLUMNS = (
    "person", "sex", "stature_m", "upper_arm_m", "forearm_m", "body_mass",
    *(_HIP + one.name for one in fields(CheckedHold)),
)  # fmt: skip


class ExchangeError(FormcheckError):
    """The file to import is not one the log can read, or that to export cannot be written."""


@dataclass(frozen=True)
class Imported:
    people: int
    sets: int
    replaced: int


@cache
def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of one line."""
    text = files("formcheck.log").joinpath("log.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def wrong_in(entry: SetEntry) -> str:
    """What in an entry the schema does not allow; empty where all is well."""
    from jsonschema import Draft202012Validator

    row = json.loads(json.dumps({"kind": "set", **asdict(entry)}, allow_nan=False))
    wrong = next(Draft202012Validator(schema()).iter_errors(row), None)
    return wrong.message if wrong is not None else ""


def export(log: sqlite3.Connection, path: Path, person: str | None = None) -> tuple[Path, ...]:
    """Write the whole log, or one person's part, by the suffix of ``path``: .csv or .jsonl.

    Returns the files written: a CSV of sets has one of people beside it.
    """
    known = [find_person(log, person)] if person else people(log)
    sets = sets_of(log, person)
    if path.suffix == ".jsonl":
        lines = [json.dumps(row, ensure_ascii=False) for row in _rows(known, sets)]
        return (_write(path, "".join(f"{line}\n" for line in lines)),)
    if path.suffix != ".csv":
        raise ExchangeError(f"{path}: give a file that ends in .csv or .jsonl.")
    beside = path.with_name(f"{path.stem}{PEOPLE}.csv")
    columns = [one.name for one in fields(SetEntry)]
    return (
        _write(path, _csv(columns, [_flat(entry) for entry in sets])),
        _write(beside, _csv(list(_PERSON_COLUMNS), [_flat_person(one) for one in known])),
    )


def import_log(log: sqlite3.Connection, log_path: Path, path: Path) -> Imported:
    """Bring an export in, all of it or nothing. A set whose clip is in the log replaces it.

    What the file tells of a person is laid over what the log knows.
    """
    found = list(_read(path))
    replaced = entered = 0
    named = set()
    with changing(log, log_path):
        for one in found:
            if isinstance(one, PersonRecord):
                known = {p.name.casefold(): p for p in people(log)}
                put_person(log, _over(known.get(one.name.casefold()), one))
                named.add(one.name)
            else:
                replaced += put_set(log, one) is not None
                entered += 1
                named.add(one.person)
    return Imported(len(named), entered, replaced)


def _rows(known: list[PersonRecord], sets: list[SetEntry]) -> Iterator[dict[str, Any]]:
    for person in known:
        row: dict[str, Any] = {"kind": "person", "person": person.name, **asdict(person)}
        del row["name"]
        row["body_mass"] = [{"on_date": on, "kg": kg} for on, kg in person.body_mass]
        yield row
    for entry in sets:
        yield {"kind": "set", **asdict(entry)}


_RUNS = re.compile(r"'*[=+\-@\t\r]")  # with apostrophes of its own, so that it comes back as it was
_LARGEST_BYTES = 200_000_000  # of an exported log


def _read(path: Path) -> Iterator[SetEntry | PersonRecord]:
    try:
        text = read_small(path, _LARGEST_BYTES).decode("utf-8-sig")
    except OSError as error:
        raise ExchangeError(f"{path} cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise ExchangeError(f"{path} is no text in UTF-8; export the log again.") from error
    if path.suffix == ".jsonl":
        rows = _json_rows(path, text)
    elif path.suffix == ".csv":
        beside = path.with_name(f"{path.stem}{PEOPLE}.csv")
        rows = _csv_rows(path, text)
        if beside.exists():
            rows = [
                *_csv_rows(beside, read_small(beside, _LARGEST_BYTES).decode("utf-8-sig")),
                *rows,
            ]
    else:
        raise ExchangeError(f"{path}: give a file that ends in .csv or .jsonl.")
    from jsonschema import Draft202012Validator

    validator = Draft202012Validator(schema())
    for line, row in rows:
        wrong = next(validator.iter_errors(row), None)
        if wrong is not None:
            where = f" in {'.'.join(map(str, wrong.path))}" if wrong.path else ""
            raise ExchangeError(
                f"{path}, line {line}: {wrong.message[:90]}{where}; nothing was imported."
            )
        yield _person(row) if row["kind"] == "person" else _entry(row)


def _json_rows(path: Path, text: str) -> list[tuple[int, dict[str, Any]]]:
    out = []
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        try:
            out.append((number, json.loads(line)))
        except (ValueError, RecursionError) as error:
            raise ExchangeError(f"{path}, line {number}: no JSON; nothing was imported.") from error
    return out


def _csv_rows(path: Path, text: str) -> list[tuple[int, dict[str, Any]]]:
    try:
        read = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
        whole = [{name: _as_written(cell) for name, cell in row.items()} for row in read]
        return [(number, _unflat(row)) for number, row in enumerate(whole, 2)]
    except (csv.Error, ValueError, TypeError, KeyError, AttributeError) as error:
        raise ExchangeError(f"{path} is no table of the log ({error}).") from error


def _flat(entry: SetEntry) -> dict[str, Any]:
    """A set in one row, its clips and faults as JSON."""
    row = asdict(entry)
    row["clips"] = json.dumps(row["clips"], ensure_ascii=False)
    row["faults"] = json.dumps(row["faults"], ensure_ascii=False)
    return row


def _flat_person(person: PersonRecord) -> dict[str, Any]:
    row = asdict(person)
    hip = row.pop("hip_offset") or {}
    row["person"] = row.pop("name")
    row["body_mass"] = json.dumps([{"on_date": on, "kg": kg} for on, kg in person.body_mass])
    return {**row, **{_HIP + name: value for name, value in hip.items()}}


def _unflat(row: Mapping[str, str]) -> dict[str, Any]:
    """A row of CSV as the JSON line it stands for."""
    kind = "set" if "recorded_at" in row else "person"
    kinds = schema()["$defs"][kind]["properties"]
    hip = {name.removeprefix(_HIP): text for name, text in row.items() if name.startswith(_HIP)}
    typed = {
        name: _typed(text, kinds.get(name, {}))
        for name, text in row.items()
        if not name.startswith(_HIP)
    }
    if kind == "person":
        typed["hip_offset"] = (
            {**hip, "share": float(hip["share"]), "plus_minus": float(hip["plus_minus"])}
            if hip["share"]
            else None
        )
    return {"kind": kind, **typed}


def _typed(text: str, kind: Mapping[str, Any]) -> Any:
    kinds = kind.get("type", "string")
    kinds = [kinds] if isinstance(kinds, str) else kinds
    if text == "" and ("null" in kinds or None in kind.get("enum", ())):
        return None
    if "integer" in kinds:
        return int(text)
    if "number" in kinds:
        return float(text)
    return json.loads(text) if "array" in kinds or "object" in kinds else text


def _entry(row: Mapping[str, Any]) -> SetEntry:
    kept = {one.name: row[one.name] for one in fields(SetEntry) if one.name in row}
    kept["person"] = person_name(kept["person"])
    kept["clips"] = tuple(ClipRef(**clip) for clip in kept["clips"])
    kept["faults"] = {key: FaultCount(**count) for key, count in kept["faults"].items()}
    return SetEntry(**kept)


def _person(row: Mapping[str, Any]) -> PersonRecord:
    hip = row.get("hip_offset")
    return PersonRecord(
        person_name(row["person"]),
        row.get("sex"),
        row.get("stature_m"),
        row.get("upper_arm_m"),
        row.get("forearm_m"),
        tuple(sorted((one["on_date"], one["kg"]) for one in row.get("body_mass") or ())),
        CheckedHold(**hip) if hip else None,
    )


def _over(known: PersonRecord | None, told: PersonRecord) -> PersonRecord:
    if known is None:
        return told
    new = {
        one.name: getattr(told, one.name)
        for one in fields(PersonRecord)
        if one.name not in ("name", "body_mass") and getattr(told, one.name) is not None
    }
    masses = {**dict(known.body_mass), **dict(told.body_mass)}
    return replace(known, **new, body_mass=tuple(sorted(masses.items())))


def _csv(columns: list[str], rows: list[dict[str, Any]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, lineterminator="\r\n")  # RFC 4180
    writer.writeheader()
    writer.writerows({name: _no_formula(cell) for name, cell in row.items()} for row in rows)
    return text.getvalue()


def _no_formula(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets an apostrophe, as one types it there."""
    return f"'{cell}" if isinstance(cell, str) and _RUNS.match(cell) else cell


def _as_written(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell) else cell


def _write(path: Path, text: str) -> Path:
    try:
        with made_beside(path) as part:
            part.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise ExchangeError(f"{path} cannot be written ({error.strerror}).") from error
    return path
