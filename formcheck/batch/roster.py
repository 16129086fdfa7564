"""The roster: who is in which clip, and what was asked of them.

A CSV file, an ``.xlsx`` or a TOML file. In a table, each row is about one clip (``clip`` filled
in), about all clips of a folder (``folder``), or about all clips of a person (``person`` alone);
what stands nearer to the clip wins, field by field. In TOML the same stands in the tables
``[person.NAME]``, ``[folder."PATH"]`` and ``[clip."PATH"]``.
"""

from __future__ import annotations

import csv
import importlib.util
import io
import math
import tomllib
import types
import typing
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.asked.standards import standards
from formcheck.asked.tempo import Tempo, TempoError, parse_tempo
from formcheck.batch.find import ClipFile
from formcheck.errors import FormcheckError, OutputError
from formcheck.files import read_small
from formcheck.locks import made_beside
from formcheck.signals.view import ViewKind

About = Literal["clip", "folder", "person"]
ABOUT: tuple[About, ...] = get_args(About)

# What a body, a barbell plate or a set can be; beyond it is a slip of the pen.
_BOUNDS: dict[str, tuple[float, float]] = {
    "stature_m": (0.5, 2.6),
    "body_mass_kg": (10.0, 400.0),
    "upper_arm_m": (0.1, 0.6),
    "forearm_m": (0.1, 0.6),
    "added_load_kg": (0.0, 300.0),
    "target_reps": (1, 1000),
    "allow_faulty": (0, 1000),
    "reps_left": (0, 50),
}
_YES, _NO = {"yes", "y", "true", "1", "x"}, {"no", "n", "false", "0"}

_MEANINGS: dict[str, str] = {
    "clip": "path of one clip inside the folder; the row is then about this clip",
    "folder": "path of a folder inside the folder; the row is about all clips in it",
    "person": "name of the person; alone, the row is about all clips of theirs",
    "code": "code to show in place of the person's name",
    "set": "name of the set: two clips of a person with the same one are two views of it",
    "view": "what the clip shows, if recognised wrongly",
    "note": "remark to show on the report",
    "target_reps": "clean reps asked for",
    "rep_range": "reps to build up to before a step",
    "allow_faulty": "reps that may have a fault",
    "reps_left": "reps left in reserve, as the person felt it",
    "pain": "where it hurt",
    "counts": "what a rep has to keep to count",
    "standard": "named test; it decides range and counting",
    "range_standard": "how low a rep must go to count",
    "hands": "hand position asked for",
    "support": "on toes or knees, if recognised wrongly",
    "surface": "what hands and feet stand on, if recognised wrongly",
    "arms": "which arms work; no side view of an archer or one-arm set shows it for sure",
    "working_arm": "the arm that does every rep of an archer or one-arm set; give arms, too",
}


class RosterError(FormcheckError):
    """The roster cannot be used; one line a problem, each with its row."""


@dataclass(frozen=True)
class Row:
    """What one row says, and about what; ``where`` is how to call it in a message."""

    about: About
    of: str
    values: Mapping[str, Any]
    where: str


@dataclass(frozen=True)
class Column:
    """A column of the roster: what it means, what may stand there, and how to read it."""

    name: str
    meaning: str
    allowed: str
    parse: Callable[[str], Any]


@dataclass(frozen=True)
class Told:
    """What is known of one clip before it is judged."""

    name: str | None  # of the person
    code: str | None
    set: str | None
    view: ViewKind | None
    note: str
    person: Person
    prescription: Prescription


def _number(low: float, high: float, whole: bool) -> Callable[[str], float | int]:
    def parse(text: str) -> float | int:
        value = float(text.replace(",", "."))
        if not (math.isfinite(value) and low <= value <= high) or (whole and value % 1):
            raise ValueError(text)
        return int(value) if whole else value

    return parse


def _one_of(words: Sequence[str]) -> Callable[[str], str]:
    def parse(text: str) -> str:
        word = text.lower()
        if word not in words:
            raise ValueError(text)
        return word

    return parse


def _span(text: str) -> tuple[int, int]:
    low, high = (int(part) for part in text.replace("–", "-").split("-"))
    if not 1 <= low <= high:
        raise ValueError(text)
    return low, high


def _yes(text: str) -> bool:
    if text.lower() not in _YES | _NO:
        raise ValueError(text)
    return text.lower() in _YES


def _column(name: str, kind: Any) -> Column:
    meaning = _MEANINGS.get(name, name.replace("_", " "))
    if isinstance(kind, types.UnionType) or get_origin(kind) is typing.Union:
        kind = next(one for one in get_args(kind) if one is not type(None))
    if get_origin(kind) is Literal:
        words = [str(word) for word in get_args(kind)]
        return Column(name, meaning, ", ".join(words), _one_of(words))
    if name == "standard":
        return Column(name, meaning, ", ".join(standards()), _one_of(list(standards())))
    if get_origin(kind) is tuple:
        return Column(name, meaning, "two numbers such as 8-12", _span)
    if kind is Tempo:
        return Column(name, meaning, "a tempo such as 2-1-X-1", parse_tempo)
    if kind is bool:
        return Column(name, meaning, "yes or no", _yes)
    if kind in (int, float):
        low, high = _BOUNDS.get(name, (0.0, math.inf))
        span = f"{low:g} to {high:g}" if math.isfinite(high) else f"{low:g} or more"
        whole = "a whole number, " if kind is int else "a number, "
        return Column(name, meaning, whole + span, _number(low, high, kind is int))
    return Column(name, meaning, "text", str)


ASKED: tuple[str, ...] = tuple(field.name for field in fields(Prescription))
# What is told of a body; the hip's offset is measured on a hold, and kept in the log.
BODY: tuple[str, ...] = tuple(one.name for one in fields(Person) if one.name != "hip_offset")


def columns() -> tuple[Column, ...]:
    """Every column a roster may have: all that can be asked of a set is one."""
    own = {"clip": str, "folder": str, "person": str, "code": str, "set": str,
           "view": ViewKind, "note": str}  # fmt: skip
    body = {name: kind for name, kind in typing.get_type_hints(Person).items() if name in BODY}
    every = {**own, **body, **typing.get_type_hints(Prescription)}
    return tuple(_column(name, kind) for name, kind in every.items())


@dataclass(frozen=True)
class Roster:
    """All rows of a roster, none by default."""

    rows: tuple[Row, ...] = ()

    @property
    def people(self) -> tuple[str, ...]:
        """Everybody named, in order of appearance."""
        named = [row.of if row.about == "person" else row.values.get("person") for row in self.rows]
        return tuple(dict.fromkeys(name for name in named if name))

    def told(self, clip: ClipFile, defaults: Prescription) -> Told:
        """What is known of a clip: by its own row, its folders' rows, its person's, ``defaults``.

        Where nothing names a person, the first folder of the clip's path does.
        """
        above = clip.place.split("/")[:-1]
        folders = ["/".join(above[:n]) for n in range(1, len(above) + 1)]
        near = [row for row in self.rows if row.about == "clip" and row.of == clip.place]
        within = [row for row in self.rows if row.about == "folder" and row.of in folders]
        within.sort(key=lambda row: -len(row.of))
        by_place = _merged([*near, *within])
        person = by_place.get("person") or (above[0] if above else None)
        own = [row for row in self.rows if row.about == "person" and row.of == person]
        values = _merged([*near, *within, *own])
        return Told(
            name=person,
            code=values.get("code"),
            set=values.get("set"),
            view=values.get("view"),
            note=values.get("note", ""),
            person=Person(**{name: values[name] for name in BODY if name in values}),
            prescription=replace(
                defaults, **{name: values[name] for name in ASKED if name in values}
            ),
        )


def _merged(nearest_first: Iterable[Row]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for row in nearest_first:
        values = {**row.values, **values}
    return values


def read_roster(path: Path, clips: Sequence[ClipFile] | None = None) -> Roster:
    """Read a roster. With ``clips``, a row about a clip or folder that is not there is a mistake.

    Raises RosterError that names every row with an unknown column, an impossible value, a
    missing file, or that says again what another row says.
    """
    problems: list[str] = []
    rows: list[Row] = []
    known = {column.name: column for column in columns()}
    names = ", ".join(known)
    for where, about, of, cells in _raw_rows(path, problems, known):
        values: dict[str, Any] = {}
        for name, text in cells.items():
            column = known.get(name)
            if column is None or name in ("clip", "folder", about):
                problems.append(f"{where}: “{name}” cannot stand here; there are {names}.")
                continue
            try:
                values[name] = column.parse(text)
            except (ValueError, TempoError):
                problems.append(f"{where}: {name} cannot be “{text}”; give {column.allowed}.")
        if "working_arm" in values and values.get("arms") not in ("archer", "one"):
            problems.append(f"{where}: a working arm needs arms, archer or one, in the same row.")
        if "arms" in values:  # which of them goes with it, whatever is said farther off
            values.setdefault("working_arm", None)
        rows.append(Row(about, of, values, where))
    problems += _repeated(rows)
    if clips is not None:
        problems += _missing(rows, clips)
    if problems:
        raise RosterError(*problems)
    return Roster(tuple(rows))


_LARGEST_BYTES, _LARGEST_UNPACKED = 10_000_000, 100_000_000

_Raw = tuple[str, About, str, dict[str, str]]  # where, about, of, cells


def _raw_rows(path: Path, problems: list[str], known: Mapping[str, Column]) -> list[_Raw]:
    try:
        if path.suffix.lower() == ".toml":
            return _toml_rows(path, tomllib.loads(read_small(path, _LARGEST_BYTES).decode()))
        if path.suffix.lower() == ".xlsx":
            return _table_rows(path, _sheet(path), problems, known)
        return _table_rows(path, _csv(path), problems, known)
    except OSError as error:
        raise RosterError(f"{path}: the roster cannot be read ({error.strerror or error}).") from (
            error
        )
    except UnicodeDecodeError as error:
        raise RosterError(f"{path} is not UTF-8 text; save it as “CSV UTF-8”.") from error
    except (tomllib.TOMLDecodeError, csv.Error, RecursionError) as error:
        raise RosterError(
            f"{path} is no roster ({error}); “formcheck batch FOLDER --write-roster FILE” makes "
            "one to fill in."
        ) from error


def _toml_rows(path: Path, given: Mapping[str, Any]) -> list[_Raw]:
    rows: list[_Raw] = []
    for table, entries in given.items():
        about = next((one for one in ABOUT if one == table), None)
        if about is None or not isinstance(entries, dict):
            raise RosterError(
                f'{path}, “{table}”: give [person.NAME], [folder."PATH"] and [clip."PATH"] tables.'
            )
        for of, cells in entries.items():
            where = f"{path}, [{table}.{of}]"
            if not isinstance(cells, dict):
                raise RosterError(f'{where}: this must be a table, [{table}."{of}"].')
            rows.append((where, about, _plain(about, of), {k: _text(v) for k, v in cells.items()}))
    return rows


def _csv(path: Path) -> list[list[str]]:
    text = read_small(path, _LARGEST_BYTES).decode("utf-8-sig")
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)  # spreadsheets save with either
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))


def _sheet(path: Path) -> list[list[str]]:
    import pandas as pd  # slow to import: every worker has the roster

    _check_xlsx(path)
    book = io.BytesIO(read_small(path, _LARGEST_BYTES))
    try:
        with zipfile.ZipFile(book) as parts:
            if sum(part.file_size for part in parts.infolist()) > _LARGEST_UNPACKED:
                raise RosterError(f"{path} holds far more than a roster; save it as CSV.")
        sheet = pd.read_excel(book, header=None, dtype=object, na_filter=False, engine="openpyxl")
    except RosterError:
        raise
    except Exception as error:  # pandas and openpyxl have no one error for what is no workbook
        raise RosterError(f"{path} is no readable .xlsx workbook; save it again.") from error
    return [[_text(cell) for cell in row] for row in sheet.itertuples(index=False, name=None)]


def _check_xlsx(path: Path) -> None:
    if importlib.util.find_spec("openpyxl") is None:
        raise RosterError(
            f"{path}: workbooks need openpyxl, which is not installed: pip install "
            "'formcheck[xlsx]', or save the roster as CSV."
        )


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()


def _table_rows(
    path: Path, lines: list[list[str]], problems: list[str], known: Mapping[str, Column]
) -> list[_Raw]:
    if not lines:
        raise RosterError(f"{path} is empty; the first row names the columns.")
    names = [name.strip().lower() for name in lines[0]]
    for name in dict.fromkeys(name for name in names if name):
        if name not in known:
            problems.append(
                f"{path}, row 1: there is no column “{name}”; there are {', '.join(known)}."
            )
        elif names.count(name) > 1:
            problems.append(f"{path}, row 1: the column “{name}” stands there twice.")
    rows: list[_Raw] = []
    for number, line in enumerate(lines[1:], start=2):
        where = f"{path}, row {number}"
        cells = {
            name: _as_named(text.strip()) if name in ("person", "set") else text.strip()
            for name, text in zip(names, line, strict=False)
            if name in known and text.strip()
        }
        if any(text.strip() for text in line[len(names) :]):
            problems.append(f"{where}: there are more cells than columns.")
        if not cells:
            continue
        about = next((one for one in ABOUT if one in cells), None)
        if about is None:
            problems.append(f"{where}: give a clip, a folder or a person it is about.")
            continue
        if about == "clip" and "folder" in cells:
            problems.append(f"{where}: give a clip or a folder, not both.")
            continue
        of = cells.pop(about)
        rows.append((where, about, _plain(about, of), cells))
    return rows


def _plain(about: About, of: str) -> str:
    """Paths with ``/`` and without a trailing one, whatever system the roster was made on."""
    return of.replace("\\", "/").strip("/").removeprefix("./") if about != "person" else of


def _repeated(rows: Sequence[Row]) -> list[str]:
    first: dict[tuple[str, str], str] = {}
    problems = []
    for row in rows:
        earlier = first.setdefault((row.about, row.of), row.where)
        if earlier != row.where:
            place = earlier.rpartition(", ")[2]
            problems.append(f"{row.where}: the {row.about} “{row.of}” stands in {place} already.")
    return problems


def _missing(rows: Sequence[Row], clips: Sequence[ClipFile]) -> list[str]:
    files = {clip.place for clip in clips}
    folders = {
        "/".join(place.split("/")[:n]) for place in files for n in range(1, place.count("/") + 1)
    }
    return [
        f"{row.where}: there is no {row.about} “{row.of}” in the folder; check the path."
        for row in rows
        if (row.about == "clip" and row.of not in files)
        or (row.about == "folder" and row.of not in folders)
    ]


def write_roster(path: Path, found: Sequence[tuple[ClipFile, str | None, str | None]]) -> None:
    """A roster to fill in: one row a clip, with its person and its set where they are known.

    The kind of file is told by the name: ``.xlsx`` (the columns explained on a second sheet),
    ``.toml`` or else CSV. Raises OutputError rather than replace a file.
    """
    import pandas as pd  # slow to import

    if path.suffix.lower() == ".xlsx":
        _check_xlsx(path)
    if path.exists():
        raise OutputError(f"{path} is there already; give another name, or remove it first.")
    every = columns()
    safe = str if path.suffix.lower() == ".toml" else _as_text  # no spreadsheet opens that
    rows = [
        {
            "clip": _no_formula(clip.place),
            "person": safe(person or ""),
            "set": safe(group or ""),
        }
        for clip, person, group in found
    ]
    names = [column.name for column in every if column.name != "folder"]
    table = pd.DataFrame([dict.fromkeys(names, "") | row for row in rows], columns=names)
    explained = pd.DataFrame(
        [(column.name, column.meaning, column.allowed) for column in every],
        columns=["column", "meaning", "allowed"],
    )
    try:
        with made_beside(path) as partial, partial.open("wb") as file:
            if path.suffix.lower() == ".xlsx":
                made = io.BytesIO()  # its writer cannot be closed where the disk is full
                with pd.ExcelWriter(made, engine="openpyxl") as book:
                    table.to_excel(book, sheet_name="roster", index=False, freeze_panes=(1, 1))
                    explained.to_excel(book, sheet_name="columns", index=False)
                file.write(made.getvalue())
            elif path.suffix.lower() == ".toml":
                file.write(_toml(rows, every).encode())
            else:
                table.to_csv(file, index=False, encoding="utf-8-sig", lineterminator="\r\n")
    except OSError as error:
        raise OutputError(f"{path} cannot be written ({error.strerror or error}).") from error


_RUN_BY_SPREADSHEETS = ("=", "+", "-", "@")


def _as_text(name: str) -> str:
    """A spreadsheet must not run a folder's name; the apostrophe goes when it is read again."""
    return f"'{name}" if name.lstrip("'").startswith(_RUN_BY_SPREADSHEETS) else name


def _as_named(cell: str) -> str:
    """What ``_as_text`` was given."""
    quoted = cell.startswith("'") and cell.lstrip("'").startswith(_RUN_BY_SPREADSHEETS)
    return cell[1:] if quoted else cell


def _no_formula(place: str) -> str:
    """A spreadsheet must not run a file name; the path stays the same."""
    return f"./{place}" if place.startswith(_RUN_BY_SPREADSHEETS) else place


def _toml(rows: Sequence[Mapping[str, str]], every: Sequence[Column]) -> str:
    lines = [f"# {column.name}: {column.meaning} ({column.allowed})" for column in every]
    lines += ["", '# [person."NAME"]', '# tempo = "2-1-X-1"', ""]
    for row in rows:
        lines.append(f"[clip.{_quoted(row['clip'])}]")
        lines += [f"{name} = {_quoted(row[name])}" for name in ("person", "set") if row[name]]
        lines.append("")
    return "\n".join(lines)


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
