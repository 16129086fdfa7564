"""The reps as a table for a spreadsheet: ``reps.csv``, and ``reps.xlsx`` of the same."""

from __future__ import annotations

from pathlib import Path
from typing import Any, TextIO

import pandas as pd

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
        if name.endswith(("_s", "_deg", "_ratio", "_plus_minus", "_speed")) or "fraction" in name:
            table[name] = table[name].astype("float64")
    return table


def write_csv(table: pd.DataFrame, path: Path | TextIO) -> None:
    """Plain ASCII signs for the few typographic ones: spreadsheets guess the encoding wrongly,
    and a byte order mark would spoil the first field name for other readers."""
    plain = table.map(lambda cell: cell.translate(_PLAIN) if isinstance(cell, str) else cell)
    plain.to_csv(path, index=False, encoding="utf-8", lineterminator="\r\n")


def write_xlsx(table: pd.DataFrame, path: Path) -> None:
    """One sheet, header row frozen."""
    table.to_excel(path, sheet_name="reps", index=False, freeze_panes=(1, 1), engine="openpyxl")


def _cell(value: Any) -> Any:
    if isinstance(value, list):
        value = _LIST_SEPARATOR.join(str(item) for item in value)
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return "'" + value
    return value
