"""A sweep answers what the rules would answer for each value of a limit."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from formcheck.agree.codes import counted_code, sweep_codes, verdict_code
from formcheck.agree.measured import MeasuredSet, measured_set
from formcheck.analysis import RepResult, analyse
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.limits import default_limits, with_values
from formcheck.pose.store import read_track
from tests.agree.made import with_errors

TRACKS = Path(__file__).parents[1] / "data"
TRIED = (
    ("hip_sag", "hip_sag", np.linspace(0.5, 30, 23)),
    ("hip_pike", "hip_pike", np.linspace(-30, -1, 23)),
    ("shallow", "shallow", np.linspace(70, 130, 23)),
    ("soft_lockout", "soft_lockout", np.linspace(178, 130, 23)),
    ("elbow_flare", "elbow_flare", np.linspace(20, 100, 23)),
    ("rushed_eccentric", "tempo_tolerance", np.linspace(0.05, 2, 23)),
    ("slow_concentric", "tempo_tolerance_share", np.linspace(0, 1, 23)),
    ("aborted", "aborted", np.linspace(10, 95, 23)),
    ("counted", "shallow", np.linspace(70, 130, 23)),
)


def code_of(result: RepResult, fault: str) -> int:
    return counted_code(result) if fault == "counted" else verdict_code(result.faults, fault)


@pytest.fixture(scope="module")
def sets() -> list[MeasuredSet]:
    asked = Prescription(tempo=parse_tempo("2-1-1-1"))
    return [
        measured_set(analyse([read_track(path)], asked), path.stem)
        for path in sorted(TRACKS.glob("*.parquet"))
    ]


@pytest.mark.parametrize(("fault", "limit", "values"), TRIED)
def test_every_verdict_is_that_of_the_rules(
    fault: str, limit: str, values: np.ndarray, sets: list[MeasuredSet]
) -> None:
    rows = [(i, j) for i, one in enumerate(sets) for j in range(len(one.reps))]
    swept = sweep_codes(sets, rows, fault, limit, values)
    assert swept.min() < swept.max(), "the limit moves no verdict, so nothing is tested"
    for place, value in enumerate(values):
        held_to = with_values(default_limits(), {limit: float(value)})
        asked = [code_of(r, fault) for one in sets for r in one.judged(limits=held_to)]
        assert swept[:, place].tolist() == asked


def test_other_limits_hold_throughout(sets: list[MeasuredSet]) -> None:
    rows = [(0, 0)]
    values = np.array([5.0, 10.0])
    mild = sweep_codes(sets, rows, "counted", "hip_sag", values, {"shallow": 150.0})
    held_to = with_values(default_limits(), {"shallow": 150.0, "hip_sag": 5.0})
    assert mild[0, 0] == code_of(sets[0].judged(limits=held_to)[0], "counted")


def test_200_sets_under_50_values_take_less_than_10_s_of_one_core() -> None:
    """The bar of the sweep, on made-up sets of six reps."""
    rng = np.random.default_rng(0)
    true = [rng.normal(12, 6, 6) for _ in range(200)]
    sets = with_errors(rng, true, "hip_deviation_deg", 3.0)
    rows = [(i, j) for i in range(200) for j in range(6)]
    started_s = time.process_time()
    codes = sweep_codes(sets, rows, "hip_sag", "hip_sag", np.linspace(1, 30, 50))
    assert codes.shape == (1200, 50)
    assert time.process_time() - started_s < 10
