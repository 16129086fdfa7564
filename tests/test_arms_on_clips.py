"""Sets in which arms do not work alike, or a rep fails, from the landmarks of rendered clips.

What the bodies did is known: they were moved to these angles (tests/data/README.md).
"""

from __future__ import annotations

from functools import cache
from itertools import permutations
from pathlib import Path

import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.asked.prescription import Arms, Prescription
from formcheck.pose.store import read_track
from formcheck.pose.track import Side
from formcheck.report.answer import answer_line, fix_line
from formcheck.reps.pairing import NotOneSetError
from formcheck.variation.arms import WHICH_ARM

DATA = Path(__file__).parent / "data" / "coached"
ONE_ARM_BOTTOM_DEG, ARCHER_BOTTOM_DEG = 85.0, 80.0
# One set each: from the side on which the working arm is the far one, from the front, and how much
# later the front camera began.
PAIRS = {
    "one_arm": ("one_arm_far_side", "one_arm_front", 0.4),
    "one_arm_b": ("one_arm_b_far_side", "one_arm_b_front", 0.5),
    "one_arm_c": ("one_arm_c_far_side", "one_arm_c_front", 0.5),
    "far_archer": ("far_archer_side", "far_archer_front", 0.5),
    "far_archer_b": ("far_archer_b_side", "far_archer_b_front", 0.5),
}


@cache
def judged(*names: str, told: Arms | None = None, which: Side | None = None) -> Analysis:
    tracks = [read_track(DATA / f"{name}.parquet") for name in names]
    return analyse(tracks, Prescription(arms=told, working_arm=which))


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


@pytest.mark.parametrize("pair", PAIRS)
def test_the_side_of_the_far_arm_and_the_front_are_one_set(pair: str) -> None:
    side, front, later_s = PAIRS[pair]
    analysis = judged(side, front)
    assert analysis.pairing is not None
    assert analysis.pairing.offset_s == pytest.approx(later_s, abs=0.05)
    assert analysis.variation.arms == ("archer" if "archer" in pair else "one")
    assert analysis.summary.counted == analysis.summary.attempts == len(analysis.pairing.matches)


@pytest.mark.parametrize(
    ("side", "front"),
    [
        (PAIRS[one][0], PAIRS[other][1])
        for kind in (("one_arm", "one_arm_b", "one_arm_c"), ("far_archer", "far_archer_b"))
        for one, other in permutations(kind, 2)
    ],
)
def test_sets_of_different_people_are_refused_though_their_tempo_is_alike(
    side: str, front: str
) -> None:
    with pytest.raises(NotOneSetError):
        judged(side, front)


@pytest.mark.parametrize(("pair", "sure"), [("far_archer_b", True), ("one_arm_c", False)])
def test_where_another_set_would_fit_as_closely_one_set_rests_on_the_users_word(
    pair: str, sure: bool
) -> None:
    analysis = judged(*PAIRS[pair][:2])
    assert analysis.pairing is not None
    assert ("rests on your word" in " ".join(analysis.notes)) != sure
    assert (analysis.pairing.sure > 0.9) == sure


# The exact angles of the bodies at these bottoms.
@pytest.mark.parametrize(
    ("name", "true_deg"),
    [
        ("one_arm_b_far_side", (87, 81, 93)),
        ("one_arm_b_front", (87, 81, 93)),
        ("one_arm_c_far_side", (87, 84, 86)),
        ("far_archer_front", (80, 81, 80)),
        ("far_archer_b_front", (80, 80, 79)),
    ],
)
def test_the_elbow_of_one_arm_is_told_within_its_plus_minus(
    name: str, true_deg: tuple[float, ...]
) -> None:
    analysis = judged(name)
    assert len(analysis.reps) == len(true_deg)
    for result, true in zip(analysis.reps, true_deg, strict=True):
        bottom = result.values["elbow_bottom_deg"]
        assert abs(bottom.value - true) <= bottom.plus_minus


@pytest.mark.parametrize("name", ["same_arm_archer_side", "far_archer_side", "far_archer_b_side"])
def test_an_archer_on_one_arm_is_not_called_shallow_from_the_side(name: str) -> None:
    analysis = judged(name)
    count = len(analysis.reps)
    assert count in (3, 4) and not analysis.faults
    assert analysis.variation.arms is None
    assert answer_line(analysis) == f"0 of {count} counted, 0 clean, {count} not judged"
    reasons = {entry.key: entry.reason for entry in analysis.not_judged}
    assert "archer" in reasons["shallow"]


def test_an_archer_on_one_arm_is_judged_from_the_side_once_that_is_told() -> None:
    analysis = judged("same_arm_archer_side", told="archer")
    assert answer_line(analysis).startswith("4 of 4 counted")
    assert_bottoms(analysis, ARCHER_BOTTOM_DEG)


def test_an_archer_whose_near_arm_hides_its_bend_is_judged_once_the_arm_is_told() -> None:
    """Its elbow flares by 78 degrees, towards the camera."""
    untold, told = (
        judged("flared_archer_side", told="archer"),
        judged("flared_archer_side", told="archer", which="right"),
    )
    assert untold.summary.counted == 0 and not untold.faults
    assert {r.values["elbow_bottom_deg"].reason for r in untold.reps} == {WHICH_ARM}
    assert told.summary.counted == 4
    assert_bottoms(told, 78.0)


def test_an_archer_that_changes_arms_is_told_from_the_side_and_half_of_it_judged() -> None:
    analysis = judged("turns_archer_side")
    assert analysis.variation.arm_work.working == ("left", "right") * 2
    assert answer_line(analysis).endswith("2 not judged") and not analysis.faults
    for result in analysis.reps[::2]:
        bottom = result.values["elbow_bottom_deg"]
        assert abs(bottom.value - 82.0) <= bottom.plus_minus


def test_a_rep_that_sinks_back_near_the_top_has_failed_and_the_sag_is_to_be_fixed() -> None:
    analysis = judged("sags_and_fails_side")
    assert answer_line(analysis) == "3 of 4 counted, 2 clean; rep 4 failed"
    assert fix_line(analysis) == "Fix first: hips sag (rep 3)"
