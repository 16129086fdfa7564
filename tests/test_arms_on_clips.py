"""Sets in which arms do not work alike, or a rep fails, from the landmarks of rendered clips.

What the bodies did is known: they were moved to these angles (tests/data/README.md).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.asked.prescription import Prescription
from formcheck.pose.store import read_track
from formcheck.report.answer import answer_line, fix_line

DATA = Path(__file__).parent / "data" / "coached"
ONE_ARM_BOTTOM_DEG, ARCHER_BOTTOM_DEG = 85.0, 80.0


@cache
def judged(name: str, told: str | None = None) -> Analysis:
    asked = Prescription() if told is None else Prescription(arms="archer")
    return analyse([read_track(DATA / f"{name}.parquet")], asked)


def assert_bottoms(analysis: Analysis, true_deg: float) -> None:
    for result in analysis.reps:
        bottom = result.values["elbow_bottom_deg"]
        assert abs(bottom.value - true_deg) <= bottom.plus_minus


@pytest.mark.parametrize("name", ["one_arm_front", "one_arm_far_side"])
def test_one_arm_is_followed_wherever_its_resting_hand_goes(name: str) -> None:
    analysis = judged(name)
    assert analysis.variation.arms == "one"
    assert {side for side in analysis.variation.arm_work.working if side} == {"left"}
    assert answer_line(analysis).startswith("4 of 4 counted, 4 clean")
    assert_bottoms(analysis, ONE_ARM_BOTTOM_DEG)


def test_an_archer_on_one_arm_is_not_called_shallow_from_the_side() -> None:
    analysis = judged("same_arm_archer_side")
    assert len(analysis.reps) == 4 and not analysis.faults
    assert analysis.variation.arms is None
    assert answer_line(analysis) == "0 of 4 counted, 0 clean, 4 not judged"
    reasons = {entry.key: entry.reason for entry in analysis.not_judged}
    assert "archer" in reasons["shallow"]


def test_an_archer_on_one_arm_is_judged_from_the_side_once_that_is_told() -> None:
    analysis = judged("same_arm_archer_side", "archer")
    assert answer_line(analysis).startswith("4 of 4 counted")
    assert_bottoms(analysis, ARCHER_BOTTOM_DEG)


def test_a_rep_that_sinks_back_near_the_top_has_failed_and_the_sag_is_to_be_fixed() -> None:
    analysis = judged("sags_and_fails_side")
    assert answer_line(analysis) == "3 of 4 counted, 2 clean; rep 4 failed"
    assert fix_line(analysis) == "Fix first: hips sag (rep 3)"
