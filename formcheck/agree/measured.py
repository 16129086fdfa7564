"""What the verdicts on a set rest on, without its curves: from a saved report, or in memory.

A saved report is read in about a millisecond, so hundreds can be judged again at once.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from formcheck.analysis import Analysis, RepResult, judge_reps
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription, parse_rep_range
from formcheck.asked.tempo import parse_tempo
from formcheck.errors import FormcheckError
from formcheck.faults.limits import Limits, default_limits, with_values
from formcheck.files import read_small
from formcheck.maths.quantity import Quantity
from formcheck.measures.values import rep_values
from formcheck.plain import plain
from formcheck.report.contract import SCHEMA_NAME
from formcheck.report.folder import put_right_below
from formcheck.reps.find import Rep
from formcheck.signals.view import ViewKind

REPORT = "report.json"
_LARGEST_BYTES = 50_000_000


class SavedReportError(FormcheckError):
    """A report folder that cannot be read."""


@dataclass(frozen=True, eq=False)
class MeasuredSet:
    """The reps of one set as they were measured, ``values`` by contract field name, and what they
    were held to. ``views`` of which the first has the clock; ``stated`` where the user said so;
    ``folder`` None: not saved; ``note`` and ``remarks`` (by rep) as they were written."""

    name: str
    reps: tuple[Rep, ...]
    values: tuple[Mapping[str, Quantity], ...]
    views: tuple[ViewKind, ...]
    prescription: Prescription
    limits: Limits
    person: Person = field(default_factory=Person)
    folder: Path | None = None
    stated: bool = False
    note: str = ""
    remarks: Mapping[int, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"<MeasuredSet {self.name}: {len(self.reps)} attempts>"

    def judged(
        self, limits: Limits | None = None, prescription: Prescription | None = None
    ) -> tuple[RepResult, ...]:
        """The verdict on each rep, under its own limits and prescription or under others."""
        limits, asked = limits or self.limits, prescription or self.prescription
        return judge_reps(self.reps, self.values, asked, limits, self.views)[0]


def measured_set(analysis: Analysis, name: str) -> MeasuredSet:
    """A set in memory."""
    return MeasuredSet(
        name,
        analysis.measured.reps,
        analysis.measured.values,
        tuple(look.view.kind for look in analysis.looks),
        analysis.prescription,
        analysis.limits,
        analysis.person,
    )


def report_folders(paths: Iterable[Path]) -> tuple[Path, ...]:
    """Each path that is a report folder, and every report folder below the others.

    Raises SavedReportError for a path that holds none.
    """
    found: list[Path] = []
    for path in paths:
        put_right_below(path)
        below = [path] if (path / REPORT).is_file() else sorted(
            file.parent for file in path.rglob(REPORT) if not _hidden(file.relative_to(path))
        )  # fmt: skip
        if not below:
            raise SavedReportError(
                f"{path}: no saved report in it; give folders that “formcheck set” wrote."
            )
        found += below
    return tuple(dict.fromkeys(found))


def read_set(folder: Path, name: str = "") -> MeasuredSet:
    """The set of one report folder, called after the folder. Raises SavedReportError."""
    path = folder / REPORT
    try:
        report = json.loads(read_small(path, _LARGEST_BYTES))
        if report["schema"] != SCHEMA_NAME:
            raise SavedReportError(
                f"{path}: another version's report ({plain(str(report['schema']), 40)}); judge its "
                "landmarks.parquet again."
            )
        return _read(report, folder, name or folder.resolve().name)
    except OSError as error:
        raise SavedReportError(f"{path}: cannot be read ({error.strerror}).") from error
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise SavedReportError(
            f"{path}: not a report that formcheck wrote, or damaged; judge its landmarks.parquet "
            "again."
        ) from error


def read_sets(folders: Sequence[Path]) -> tuple[MeasuredSet, ...]:
    """The sets of report folders; those with one folder name are told apart by the one above."""
    names = [folder.resolve().name for folder in folders]
    return tuple(
        read_set(
            folder, name if names.count(name) == 1 else f"{folder.resolve().parent.name}/{name}"
        )
        for folder, name in zip(folders, names, strict=True)
    )


def _read(report: Mapping[str, Any], folder: Path, name: str) -> MeasuredSet:
    known = default_limits()
    given = {
        key: math.inf if value is None else value  # no bound at all
        for key, value in report["limits"].items()
        if key in known
    }
    return MeasuredSet(
        name=name,
        reps=tuple(_rep(one) for one in report["reps"]),
        values=tuple(_values(one) for one in report["reps"]),
        views=tuple(clip["view"] for clip in report["clips"]),
        prescription=_prescription(report["prescription"]),
        limits=with_values(known, given),
        person=_person(report["prescription"]),
        folder=folder,
        stated=any(clip.get("view_stated") for clip in report["clips"]),
        note=str(report.get("note", "")),
        remarks={int(one["rep"]): str(one["says"]) for one in report.get("remarks", ())},
    )


def _rep(raw: Mapping[str, Any]) -> Rep:
    failed = raw["top_s"] is None
    return Rep(
        index=int(raw["index"]),
        start_s=float(raw["start_s"]),
        bottom_start_s=float(raw["bottom_start_s"]),
        bottom_s=float(raw["bottom_s"]),
        bottom_end_s=float(raw["bottom_end_s"]),
        top_s=float(raw["end_s"] if failed else raw["top_s"]),
        end_s=float(raw["end_s"]),
        failed=failed,
        bend_share_percent=_number(raw.get("bend_share_percent")),
    )


def _values(raw: Mapping[str, Any]) -> dict[str, Quantity]:
    reasons = raw["not_measured"]
    return {
        name: Quantity(
            _number(raw[name]), _number(raw.get(f"{name}_plus_minus")), reasons.get(name)
        )
        for name in rep_values()
        if name in raw
    }


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def _prescription(raw: Mapping[str, Any]) -> Prescription:
    asked = {one.name: raw[one.name] for one in fields(Prescription) if one.name in raw}
    if asked.get("tempo") is not None:
        asked["tempo"] = parse_tempo(asked["tempo"])
    if asked.get("rep_range") is not None:
        asked["rep_range"] = parse_rep_range(asked["rep_range"])
    return Prescription(**asked)


def _person(raw: Mapping[str, Any]) -> Person:
    return Person(**{one.name: raw[one.name] for one in fields(Person) if one.name in raw})


def _hidden(path: Path) -> bool:
    """Half-written and put aside."""
    return any(part.startswith(".") for part in path.parts)
