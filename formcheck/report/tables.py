"""The reps as a table for a spreadsheet: ``reps.csv``, and ``reps.xlsx`` of the same.

pandas is imported where a table is asked for; ``reps.csv`` does without, since importing it takes
longer than all else that is written beside the page.
"""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from formcheck.errors import OutputError
from formcheck.measures.values import rep_values

if TYPE_CHECKING:
    import pandas as pd

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_LIST_SEPARATOR = "; "
_LINE_END = "\r\n"
_PLAIN = str.maketrans({"°": " deg", "±": "+/-", "–": "-", "−": "-", "×": "x"})


def reps_table(report: dict[str, Any]) -> pd.DataFrame:
    """One row an attempt, the contract's field names as columns; numbers stay numbers.

    Lists become text (``shallow; hip_sag``). Text that a spreadsheet would run as a formula
    is given a leading apostrophe.
    """
    import pandas as pd

    names, rows = _reps(report)
    table = pd.DataFrame(rows, columns=names)
    for name in names:
        if _is_measured(name):
            table[name] = table[name].astype("float64")
    return table


def faults_table(report: dict[str, Any]) -> pd.DataFrame:
    """One row a fault or borderline, the contract's field names as columns."""
    import pandas as pd

    names = ["rep", "key", "at_s", "value", "uncertainty", "limit", "unit", "verdict", "view"]
    return pd.DataFrame(report["faults"], columns=names)


def write_reps_csv(report: dict[str, Any], path: Path) -> None:
    """``reps_table``, as ``write_csv`` writes it."""
    names, rows = _reps(report)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, lineterminator=_LINE_END)
        writer.writeheader()
        for row in rows:
            writer.writerow({name: _plain(value) for name, value in row.items()})


def write_csv(table: pd.DataFrame, path: Path | TextIO) -> None:
    """Plain ASCII signs for the few typographic ones: spreadsheets guess the encoding wrongly,
    and a byte order mark would spoil the first field name for other readers."""
    table.map(_plain).to_csv(path, index=False, encoding="utf-8", lineterminator=_LINE_END)


def check_xlsx() -> None:
    """Raise OutputError where what writes workbooks is not installed."""
    if importlib.util.find_spec("openpyxl") is None:
        raise OutputError(
            "reps.xlsx needs openpyxl, which is not installed: pip install 'formcheck[xlsx]', or "
            "leave out --xlsx; reps.csv holds the same table."
        )


def write_xlsx(table: pd.DataFrame, path: Path) -> None:
    """The reps, header row frozen, and beside them what each value is and its unit."""
    import pandas as pd

    values = [vars(value) for value in rep_values().values()]
    about = pd.DataFrame(values, columns=["key", "label", "unit", "about"])
    with pd.ExcelWriter(path, engine="openpyxl") as book:
        table.to_excel(book, sheet_name="reps", index=False, freeze_panes=(1, 1))
        about.to_excel(book, sheet_name="values", index=False, freeze_panes=(1, 0))


def _reps(report: dict[str, Any]) -> tuple[list[str], list[dict[str, Any]]]:
    """The columns, and a row an attempt."""
    rows = [
        {
            key: float(value) if _is_measured(key) and value is not None else _cell(value)
            for key, value in rep.items()
            if not isinstance(value, dict)
        }
        for rep in report["reps"]
    ]
    return list(dict.fromkeys(name for row in rows for name in row)) or ["index", "attempt"], rows


def _is_measured(name: str) -> bool:
    return name in rep_values() or name.endswith(("_s", "_plus_minus"))


def _plain(cell: Any) -> Any:
    return cell.translate(_PLAIN) if isinstance(cell, str) else cell


def _cell(value: Any) -> Any:
    if isinstance(value, list):
        value = _LIST_SEPARATOR.join(str(item) for item in value)
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return "'" + value
    return value
