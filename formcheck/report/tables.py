"""The reps as a table for a spreadsheet: ``reps.csv``, and ``reps.xlsx`` of the same."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any, TextIO

import pandas as pd

from formcheck.errors import OutputError
from formcheck.measures.values import rep_values

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_LIST_SEPARATOR = "; "
_PLAIN = str.maketrans({"°": " deg", "±": "+/-", "–": "-", "−": "-", "×": "x"})


def reps_table(report: dict[str, Any]) -> pd.DataFrame:
    """One row an attempt, the contract's field names as columns; numbers stay numbers.

    Lists become text (``shallow; hip_sag``). Text that a spreadsheet would run as a formula
    is given a leading apostrophe.
    """
    rows = [
        {key: _cell(value) for key, value in rep.items() if not isinstance(value, dict)}
        for rep in report["reps"]
    ]
    names = list(dict.fromkeys(name for row in rows for name in row)) or ["index", "attempt"]
    table = pd.DataFrame(rows, columns=names)
    for name in names:
        if name in rep_values() or name.endswith(("_s", "_plus_minus")):
            table[name] = table[name].astype("float64")
    return table


def faults_table(report: dict[str, Any]) -> pd.DataFrame:
    """One row a fault or borderline, the contract's field names as columns."""
    names = ["rep", "key", "at_s", "value", "uncertainty", "limit", "unit", "verdict", "view"]
    return pd.DataFrame(report["faults"], columns=names)


def write_csv(table: pd.DataFrame, path: Path | TextIO) -> None:
    """Plain ASCII signs for the few typographic ones: spreadsheets guess the encoding wrongly,
    and a byte order mark would spoil the first field name for other readers."""
    plain = table.map(lambda cell: cell.translate(_PLAIN) if isinstance(cell, str) else cell)
    plain.to_csv(path, index=False, encoding="utf-8", lineterminator="\r\n")


def check_xlsx() -> None:
    """Raise OutputError where what writes workbooks is not installed."""
    if importlib.util.find_spec("openpyxl") is None:
        raise OutputError(
            "reps.xlsx needs openpyxl, which is not installed: pip install 'formcheck[xlsx]', or "
            "leave out --xlsx; reps.csv holds the same table."
        )


def write_xlsx(table: pd.DataFrame, path: Path) -> None:
    """The reps, header row frozen, and beside them what each value is and its unit."""
    values = [vars(value) for value in rep_values().values()]
    about = pd.DataFrame(values, columns=["key", "label", "unit", "about"])
    with pd.ExcelWriter(path, engine="openpyxl") as book:
        table.to_excel(book, sheet_name="reps", index=False, freeze_panes=(1, 1))
        about.to_excel(book, sheet_name="values", index=False, freeze_panes=(1, 0))


def _cell(value: Any) -> Any:
    if isinstance(value, list):
        value = _LIST_SEPARATOR.join(str(item) for item in value)
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return "'" + value
    return value
