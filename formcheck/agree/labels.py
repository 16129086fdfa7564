"""A coach's own verdicts: a small table, one row a verdict, from any spreadsheet or notebook.

Columns, in any order: ``set`` (name of the report's folder), ``rep`` (its number; empty for every
rep of the set), ``fault`` (a key of the catalogue, or ``counted``), ``verdict`` (yes, no or
unsure), ``who`` and ``when`` (a date or time, may be empty).
"""

from __future__ import annotations

import io
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal, cast, get_args

import pandas as pd

from formcheck.errors import FormcheckError
from formcheck.files import read_small
from formcheck.plain import plain

Said = Literal["yes", "no", "unsure"]
COLUMNS = ("set", "rep", "fault", "verdict", "who", "when")
COUNTED = "counted"  # labelled like a fault: whether the coach counts the rep
_LARGEST_BYTES = 20_000_000
_MOST_REPS = 10_000


class LabelsError(FormcheckError):
    """The labels cannot be used. ``problems``: one sentence each, with its row."""

    def __init__(self, says: str, problems: Sequence[str] = ()) -> None:
        super().__init__(says)
        self.problems = tuple(problems)


@dataclass(frozen=True)
class Label:
    """One verdict. ``rep`` None: every rep of the set that has no verdict of its own."""

    set: str
    rep: int | None
    fault: str
    verdict: Said
    who: str
    when: datetime | None = None


def read_labels(path: Path, keys: Collection[str]) -> tuple[Label, ...]:
    """Read a CSV (comma or semicolon) or XLSX of labels. Raises LabelsError.

    ``keys`` are the fault keys there are; ``counted`` is understood besides.
    """
    return labels_from(_table(path), keys, path.name)


def labels_from(
    table: pd.DataFrame, keys: Collection[str], name: str = "labels"
) -> tuple[Label, ...]:
    """The labels of a table with the columns named above, later ones winning. Raises LabelsError.

    Rows are named as a spreadsheet numbers them: the heading is row 1.

    >>> seen = {"set": ["mon"], "rep": [3], "fault": ["hip_sag"], "verdict": ["yes"], "who": ["AB"]}
    >>> labels_from(pd.DataFrame(seen), ["hip_sag"])
    (Label(set='mon', rep=3, fault='hip_sag', verdict='yes', who='AB', when=None),)
    """
    table = table.rename(columns=lambda heading: str(heading).strip().lower())
    if missing := [column for column in COLUMNS[:5] if column not in table.columns]:
        raise LabelsError(
            f"{name}: no column {', '.join(f'“{column}”' for column in missing)}; the first row "
            f"names the columns {', '.join(COLUMNS)}."
        )
    known = {*keys, COUNTED}
    problems: list[str] = []
    kept: dict[tuple[str, int | None, str, str], tuple[int, Label]] = {}
    for row, cells in enumerate(table.fillna("").astype(str).to_dict("records"), start=2):
        values = {column: cells.get(column, "").strip() for column in COLUMNS}
        if not any(values.values()):
            continue
        label, wrong = _label(values, known)
        problems += [f"{name}, row {row}: {sentence}" for sentence in wrong]
        if label is None:
            continue
        about = (label.set, label.rep, label.fault, label.who)
        before = kept.get(about)
        if before is None or (not (clash := _clash(before, label)) and _newer(label, before[1])):
            kept[about] = (row, label)
        elif clash:
            problems.append(f"{name}, row {row}: {clash}")
    if problems:
        more = len(problems) - 1
        others = f" There {'is 1 more problem' if more == 1 else f'are {more} more problems'}."
        raise LabelsError(problems[0] + (others if more else ""), problems)
    return tuple(label for _, label in kept.values())


def labels_table(labels: Iterable[Label]) -> pd.DataFrame:
    """Labels as a table that ``labels_from`` reads back."""
    rows = [
        {
            "set": label.set,
            "rep": "" if label.rep is None else str(label.rep),
            "fault": label.fault,
            "verdict": label.verdict,
            "who": label.who,
            "when": "" if label.when is None else label.when.isoformat(),
        }
        for label in labels
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def raters(labels: Sequence[Label]) -> tuple[str, ...]:
    """Who labelled, in the order of their first label."""
    return tuple(dict.fromkeys(label.who for label in labels))


def _table(path: Path) -> pd.DataFrame:
    try:
        data = read_small(path, _LARGEST_BYTES)
        if path.suffix.lower() == ".xlsx":
            return pd.read_excel(io.BytesIO(data), dtype=str, engine="openpyxl")
        text = data.decode("utf-8-sig")
        separator = ";" if text.partition("\n")[0].count(";") >= len(COLUMNS) - 2 else ","
        return pd.read_csv(
            io.StringIO(text), sep=separator, dtype=str, skip_blank_lines=False,
            keep_default_na=False,
        )  # fmt: skip
    except OSError as error:
        raise LabelsError(
            f"{path}: the labels cannot be read ({error.strerror}); give a CSV or XLSX file."
        ) from error
    except Exception as error:  # whatever the two readers make of a broken file
        raise LabelsError(
            f"{path.name}: not a table of labels; save it as CSV (UTF-8) or XLSX with the columns "
            f"{', '.join(COLUMNS)}."
        ) from error


def _label(values: dict[str, str], keys: Collection[str]) -> tuple[Label | None, list[str]]:
    """The label of one row, or what is wrong with it."""
    wrong = []
    if not values["set"]:
        wrong.append("no set; write the name of the report's folder.")
    rep: int | None = None
    if values["rep"]:
        number = values["rep"].removesuffix(".0")  # a spreadsheet's way with whole numbers
        if number.isascii() and number.isdigit() and 1 <= int(number[:6]) <= _MOST_REPS:
            rep = int(number)
        else:
            wrong.append(
                f"“{plain(values['rep'], 40)}” is no rep; write its number, or nothing for all."
            )
    fault = values["fault"].lower()
    if fault not in keys:
        wrong.append(
            f"“{plain(values['fault'], 40)}” is no fault; there are {', '.join(sorted(keys))}."
        )
    verdict = values["verdict"].lower()
    if verdict not in get_args(Said):
        wrong.append(f"“{plain(values['verdict'], 40)}” is no verdict; write yes, no or unsure.")
    if not values["who"]:
        wrong.append("nobody is named under “who”; a name or code tells coaches apart.")
    when = None
    if values["when"]:
        try:
            when = datetime.fromisoformat(values["when"])
        except ValueError:
            wrong.append(f"“{plain(values['when'], 40)}” is no date; write it like 2026-05-31.")
    if wrong:
        return None, wrong
    return Label(values["set"], rep, fault, cast("Said", verdict), values["who"], when), []


def _clash(earlier: tuple[int, Label], label: Label) -> str:
    """Why two verdicts on one thing by one person cannot stand together; empty if they can."""
    row, before = earlier
    if before.verdict == label.verdict:
        return ""
    if before.when is None or label.when is None or _instant(before) == _instant(label):
        return (
            f"says {label.verdict} where row {row} says {before.verdict}, about the same rep and "
            "by the same person; keep one, or give each its time under “when”."
        )
    return ""


def _newer(label: Label, before: Label) -> bool:
    return label.when is not None and (before.when is None or _instant(label) >= _instant(before))


def _instant(label: Label) -> float:
    return label.when.timestamp() if label.when is not None else float("-inf")
