"""All sets of a batch as tables, and the files that hold them.

Made from the reports in their folders alone, in order of name, with no time of day in it: the
same reports give the same summary.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from formcheck.batch.judged_sets import JudgedSet, judged_sets
from formcheck.batch.page import report_beside, summary_html
from formcheck.batch.plan import REPS, SUMMARY
from formcheck.batch.records import Records, Standing, write_whole
from formcheck.report.schema import schema
from formcheck.report.tables import reps_table, write_csv

_LIST = "; "


def _listed(counts: Mapping[str, int]) -> str:
    return _LIST.join(f"{key}: {reps}" for key, reps in sorted(counts.items()))


# Each column of the table of sets: what it says, and how it is had from a set.
_SETS: dict[str, tuple[str, Callable[[JudgedSet], Any]]] = {
    "set": ("name of the set and of its report folder", lambda s: s.result.name),
    "person": ("who did it; empty where nobody said", lambda s: s.person),
    "status": (
        "judged; empty: no set was found; failed: there is no report",
        lambda s: s.result.status,
    ),
    "reason": ("why it is not judged, and what to do", lambda s: s.result.reason),
    "clips": ("its clips", lambda s: _LIST.join(s.result.clips)),
    "views": (
        "what each clip shows",
        lambda s: _LIST.join(clip["view"] for clip in s.report.get("clips", ())),
    ),
    "paired_by": ("what two clips were paired by: roster, names, time", lambda s: s.paired_by),
    "variation": ("which push-up it was", lambda s: s.result.variation),
    "tempo": ("prescribed tempo: lowering, pause, press, pause", lambda s: s.asked("tempo")),
    "range_standard": ("how low a rep had to go", lambda s: s.asked("range_standard")),
    "target_reps": ("clean reps asked for", lambda s: s.asked("target_reps")),
    "reps_left": ("reps left in reserve, as the person felt it", lambda s: s.asked("reps_left")),
    "attempts": ("attempts", lambda s: s.of_set("attempts")),
    "counted": ("reps that count", lambda s: s.of_set("counted")),
    "clean": ("reps that count and have no fault", lambda s: s.of_set("clean")),
    "unclear": ("of these, too close to a limit to be sure", lambda s: s.of_set("unclear")),
    "first_breakdown_rep": (
        "first rep with a fault of range or line",
        lambda s: s.of_set("first_breakdown_rep"),
    ),
    "fix_first": ("the fault that costs most", lambda s: s.result.fix_first),
    "faults": ("faults, and in how many reps", lambda s: _listed(s.counts())),
    "borderline": ("too close to call, and in how many reps",
                   lambda s: _listed(s.counts("borderline"))),
    "not_judged": (
        "what could not be judged",
        lambda s: _LIST.join(entry["key"] for entry in s.report.get("not_judged", ())),
    ),
    "elbow_bottom_deg": ("elbow at the bottom, median, degrees",
                         lambda s: s.median("elbow_bottom_deg")),
    "elbow_top_deg": ("elbow at the top, median, degrees", lambda s: s.median("elbow_top_deg")),
    "hip_deviation_deg": (
        "body line furthest from straight, degrees, + sags",
        lambda s: s.furthest_line_deg,
    ),
    "elbow_flare_deg": ("elbow flare, median, degrees", lambda s: s.median("elbow_flare_deg")),
    "eccentric_s": ("lowering, median, seconds", lambda s: s.median("eccentric_s")),
    "bottom_pause_s": ("pause at the bottom, median, seconds",
                       lambda s: s.median("bottom_pause_s")),
    "concentric_s": ("press, median, seconds", lambda s: s.median("concentric_s")),
    "top_pause_s": ("pause at the top, median, seconds", lambda s: s.median("top_pause_s")),
    "load_fraction": ("share of body mass on the hands, median",
                      lambda s: s.median("load_fraction")),
    "time_under_tension_s": ("seconds from first to last rep",
                             lambda s: s.of_set("time_under_tension_s")),
    "pace_per_min": ("reps a minute", lambda s: s.of_set("pace_per_min")),
    "speed_loss_percent": ("press speed lost over the set, percent",
                           lambda s: s.of_set("speed_loss_percent")),
    "next_step": (
        "what to do next time: easier, same, harder",
        lambda s: s.report.get("next_step", {}).get("direction") if s.attempts else None,
    ),
    "next_variation": (
        "with which push-up",
        lambda s: s.report.get("next_step", {}).get("variation") if s.attempts else None,
    ),
    "note": ("how its clips were judged, where not as one set", lambda s: s.note),
}  # fmt: skip
_WHOLE = (
    "target_reps",
    "reps_left",
    "attempts",
    "counted",
    "clean",
    "unclear",
    "first_breakdown_rep",
)

_REPS = {
    "set": "name of the set and of its report folder",
    "person": "who did it; empty where nobody said",
    "reps_left": "reps the person could still have done after the set",
}


def sets_table(sets: Sequence[JudgedSet]) -> pd.DataFrame:
    """A row a set, numbers as numbers."""
    rows = [{name: value(one) for name, (_, value) in _SETS.items()} for one in sets]
    table = pd.DataFrame(rows, columns=list(_SETS))
    for name in _WHOLE:
        table[name] = table[name].astype("Int64")
    for name in table.columns:
        if name.endswith(("_deg", "_s", "_min", "_percent", "_fraction")):
            table[name] = table[name].astype("float64")
    return table


def all_reps_table(sets: Sequence[JudgedSet]) -> pd.DataFrame:
    """A row a rep of every set, the report's own names as columns."""
    tables = []
    for one in sets:
        if one.reps:
            table = reps_table(dict(one.report))
            own = (one.result.name, one.person, one.asked("reps_left"))
            for place, (name, value) in enumerate(zip(_REPS, own, strict=True)):
                table.insert(place, name, value)
            tables.append(table)
    if not tables:
        return pd.DataFrame(columns=[*_REPS, "index", "attempt"])
    return pd.DataFrame(
        [row for table in tables for row in table.to_dict("records")],
        columns=list(dict.fromkeys(name for table in tables for name in table.columns)),
    )


def described_columns(table: pd.DataFrame) -> dict[str, str]:
    """What each column of the table of reps says."""
    told = schema()["properties"]["reps"]["items"]["properties"]
    return {name: _REPS.get(name) or _told(told[name]) for name in table.columns}


def _told(field: Mapping[str, Any]) -> str:
    unit = field.get("unit")
    return f"{field['description']} ({unit})" if unit else str(field["description"])


def _parquet(table: pd.DataFrame) -> bytes:
    """Numbers as 64-bit floats, ``index`` and ``reps_left`` whole, all else text; every column
    says in its metadata key ``description`` what it is."""
    fields, columns = [], []
    for name, told in described_columns(table).items():
        values = [None if _missing(value) else value for value in table[name]]
        known = [value for value in values if value is not None]
        kind = pa.float64()
        if name in ("index", "reps_left"):
            kind = pa.int64()
        elif any(isinstance(value, str) for value in known) or name in ("set", "person"):
            kind = pa.string()
        fields.append(pa.field(name, kind, metadata={"description": told}))
        columns.append(pa.array(values, type=kind))
    buffer = io.BytesIO()
    pq.write_table(pa.table(columns, schema=pa.schema(fields)), buffer, compression="zstd")
    return buffer.getvalue()


def _missing(value: Any) -> bool:
    return value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value))


Summary = Mapping[str, bytes]  # file name → content


def summary_of(
    sets: Sequence[JudgedSet],
    absent: Sequence[str],
    picture: Callable[[str], Path],
    address: Callable[[str], str] = report_beside,
    *,
    xlsx: bool = False,
) -> Summary:
    """``reps.parquet``, ``summary.csv``, ``summary.html``, and ``summary.xlsx`` when asked."""
    table, reps = sets_table(sets), all_reps_table(sets)
    files = {REPS: _parquet(reps), f"{SUMMARY}.csv": _csv(table)}
    if xlsx:
        files[f"{SUMMARY}.xlsx"] = _xlsx(table, reps)
    files[f"{SUMMARY}.html"] = summary_html(sets, absent, picture, address).encode("utf-8")
    return files


def write_summary(
    standings: Sequence[Standing], absent: Sequence[str], records: Records, out: Path, *, xlsx: bool
) -> None:
    """The files of ``summary_of``. Raises OutputError; a file is replaced whole or not at all."""
    files = summary_of(judged_sets(standings, out), absent, records.picture, xlsx=xlsx)
    if not xlsx:
        (out / f"{SUMMARY}.xlsx").unlink(missing_ok=True)
    for name, content in files.items():
        write_whole(out / name, content)


def _csv(table: pd.DataFrame) -> bytes:
    buffer = io.StringIO(newline="")
    write_csv(_safe(table), buffer)
    return buffer.getvalue().encode("utf-8")


def _xlsx(table: pd.DataFrame, reps: pd.DataFrame) -> bytes:
    told = {name: text for name, (text, _) in _SETS.items()} | described_columns(reps)
    explained = pd.DataFrame(told.items(), columns=["column", "meaning"])
    buffer = io.BytesIO()
    with pd.ExcelWriter(buffer, engine="openpyxl") as book:
        for name, sheet in (("sets", _safe(table)), ("reps", _safe(reps)), ("columns", explained)):
            sheet.to_excel(book, sheet_name=name, index=False, freeze_panes=(1, 1))
    return buffer.getvalue()


def _safe(table: pd.DataFrame) -> pd.DataFrame:
    """Text that a spreadsheet would run as a formula gets an apostrophe before it."""
    return table.map(
        lambda cell: (
            f"'{cell}"
            if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r"))
            else cell
        )
    )
