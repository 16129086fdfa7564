from __future__ import annotations

import copy
import json
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from formcheck.analysis import Analysis
from formcheck.maths.quantity import not_measured
from formcheck.measures.values import rep_values
from formcheck.report.contract import ContractError, check, report_dict
from formcheck.report.schema import schema
from tests.report.conftest import judged, nobody


@pytest.mark.parametrize("name", ["hip_sag_side", "partial_side", "clean_front", "oblique"])
def test_every_view_gives_a_report_that_meets_the_schema(name: str) -> None:
    check(report_dict(judged(name, tempo="2-1-X-1")))


def test_a_clip_with_nobody_gives_a_report_that_meets_the_schema() -> None:
    report = report_dict(nobody())
    check(report)
    assert report["reps"] == [] and report["set"]["attempts"] == 0
    assert report["clips"][0]["frames_with_pose"] == 0


def test_what_was_not_measured_is_null_with_its_reason(sagging: Analysis) -> None:
    rep = report_dict(sagging)["reps"][0]
    assert rep["hand_spacing_ratio"] is None
    assert "hand_spacing_ratio_plus_minus" not in rep
    assert rep["not_measured"]["hand_spacing_ratio"]


def test_every_measured_value_carries_its_uncertainty(sagging: Analysis) -> None:
    for rep in report_dict(sagging)["reps"]:
        assert rep["elbow_bottom_deg"] > 0
        assert rep["elbow_bottom_deg_plus_minus"] > 0


def test_no_number_is_nan_however_little_was_measured(sagging: Analysis) -> None:
    first = sagging.reps[0]
    blank = {name: not_measured("hidden") for name in first.values}
    bare = replace(sagging, reps=(replace(first, values=blank), *sagging.reps[1:]))
    json.dumps(report_dict(bare), allow_nan=False)


def test_borderlines_are_not_among_the_faults_of_a_rep(sagging: Analysis) -> None:
    report = report_dict(sagging)
    for rep in report["reps"]:
        sure = {
            f["key"]
            for f in report["faults"]
            if f["rep"] == rep["index"] and f["verdict"] == "fault"
        }
        assert set(rep["faults"]) == sure


def test_phases_add_up_to_the_rep(sagging: Analysis) -> None:
    for result in sagging.reps:
        rep = result.rep
        phases = rep.eccentric_s + rep.bottom_pause_s + rep.concentric_s + rep.top_pause_s
        assert math.isclose(phases, rep.end_s - rep.start_s)


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("schema",), "formcheck.report/2"),
        (("clips", 0, "view"), "above"),
        (("reps", 0, "attempt"), "good"),
        (("reps", 0, "elbow_bottom_deg"), "84"),
        (("reps", 0, "head_angle_deg"), "rubbish"),
        (("reps", 0, "elbow_bottom_deg_plus_minus"), -1.0),
        (("reps", 0, "never_heard_of"), 1.0),
        (("reps", 0, "not_measured"), {"never_heard_of": "because"}),
        (("limits", "never_heard_of"), 1.0),
        (("variation", "never_heard_of"), 1.0),
        (("variation", "confidence", "support"), 1.5),
        (("reps", 0, "faults"), ["no_such_fault"]),
        (("faults", 0, "verdict"), "maybe"),
        (("set", "counted"), -1),
    ],
)
def test_a_report_that_breaks_the_contract_is_refused(
    sagging: Analysis, place: tuple[str | int, ...], value: object
) -> None:
    report = copy.deepcopy(report_dict(sagging))
    spot = report
    for step in place[:-1]:
        spot = spot[step]  # type: ignore[index]
    spot[place[-1]] = value  # type: ignore[index]
    with pytest.raises(ContractError):
        check(report)


def test_every_value_of_a_rep_stands_in_every_rep(sagging: Analysis) -> None:
    for rep in report_dict(sagging)["reps"]:
        assert set(rep_values()) <= set(rep)


def test_every_field_that_is_described_is_written(sagging: Analysis) -> None:
    def missing(part: dict[str, Any], written: Any, place: str) -> Iterator[str]:
        for name, field in part.get("properties", {}).items():
            if written.get(name):
                inner = written[name][0] if "items" in field else written[name]
                yield from missing(field.get("items", field), inner, f"{place}/{name}")
            elif name not in written and not name.endswith("_plus_minus"):
                yield f"{place}/{name}"

    told = set(missing(schema(), report_dict(sagging), ""))
    only_when_logged = {"/person", "/recorded_at", "/recorded_from", "/log"}
    assert told == only_when_logged


@pytest.mark.parametrize("field", ["prescription", "not_judged", "next_step"])
def test_a_report_without_a_promised_field_is_refused(sagging: Analysis, field: str) -> None:
    report = report_dict(sagging)
    del report[field]
    with pytest.raises(ContractError):
        check(report)
