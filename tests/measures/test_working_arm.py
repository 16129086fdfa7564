from __future__ import annotations

import math

import pytest

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.working_arm import of_working_arm, sides_kept
from formcheck.variation.arms import FAR_ARM, ArmWork
from tests.measures.handmade import FRONT, REP, SIDE, drawn, look_at

ALTERNATING = ArmWork("archer", 1.0, ("left", "right"))


def values(pressed_percent: float = 100.0) -> dict[str, Quantity]:
    names = (
        "elbow_bottom_deg", "elbow_top_deg", "upper_arm_bottom_deg", "sticking_elbow_deg",
        "symmetry_deg", "head_angle_deg", "elbow_flare_deg", "elbow_flare_left_deg",
        "elbow_flare_right_deg", "sticking_height_percent", "bend_share_percent",
    )  # fmt: skip
    pressed = {"pressed_up_percent": Quantity(pressed_percent, 4.0)}
    return {name: Quantity(float(i), 1.0) for i, name in enumerate(names)} | pressed


def test_flare_is_not_told_where_the_trunk_turns_over_one_arm() -> None:
    both = [values(), values()]
    of_working_arm(both, [look_at(drawn(), FRONT, [REP])], ALTERNATING)
    assert not any(of_rep["elbow_flare_deg"].known for of_rep in both)
    assert all(of_rep["elbow_bottom_deg"].known for of_rep in both)


def test_where_one_arm_works_a_press_is_not_said_to_slow_only_where_it_stopped() -> None:
    pressed, failed = values(), values(60.0)
    of_working_arm([pressed, failed], [look_at(drawn(), FRONT, [REP])], ALTERNATING)
    for name in ("sticking_elbow_deg", "sticking_height_percent"):
        assert not pressed[name].known and failed[name].known


def test_a_near_arm_that_only_props_says_nothing_of_its_rep() -> None:
    both = [values(), values()]
    of_working_arm(both, [look_at(drawn(), SIDE, [REP])], ALTERNATING)
    assert both[0]["elbow_bottom_deg"].known
    assert both[1]["elbow_bottom_deg"].reason == FAR_ARM
    assert not both[0]["head_angle_deg"].known, "no head is called dropped on a trunk that turns"


def test_two_arms_keep_every_value() -> None:
    one = [values()]
    of_working_arm(one, [look_at(drawn(), FRONT, [REP])], ArmWork("two", 1.0))
    assert one == [values()]


def test_sides_are_summed_by_the_arm_of_each_rep() -> None:
    elbows = [Quantity(80.0, 5.0), Quantity(95.0, 5.0), not_measured("hidden")]
    kept = sides_kept(
        [{"elbow_bottom_deg": q} for q in elbows],
        [True, False, True],
        [True, False, False],
        ArmWork("archer", 1.0, ("left", "right", "right")),
    )
    assert (kept["left"].reps, kept["left"].clean, kept["left"].elbow_bottom_deg) == (1, 1, 80.0)
    assert (kept["right"].reps, kept["right"].counted) == (2, 1)
    assert kept["right"].elbow_bottom_deg == pytest.approx(95.0)
    nothing = sides_kept([{"elbow_bottom_deg": elbows[2]}], [True], [True],
                         ArmWork("one", 1.0, ("left",)))  # fmt: skip
    assert math.isnan(nothing["left"].elbow_bottom_deg)


def test_a_bend_is_compared_with_those_of_its_own_arm() -> None:
    """Else every other rep of an archer with one stiff side would be called not finished."""
    bottoms_deg, top_deg = (80.0, 112.0, 80.0, 112.0), 170.0
    all_four = [
        values()
        | {
            "elbow_bottom_deg": Quantity(bottom_deg, 5.0),
            "elbow_top_deg": Quantity(top_deg, 5.0),
            "bend_share_percent": Quantity(64.0, 5.0),
        }
        for bottom_deg in bottoms_deg
    ]
    work = ArmWork("archer", 1.0, ("left", "right", "left", "right"))
    of_working_arm(all_four, [look_at(drawn(), FRONT, [REP] * 4)], work)
    assert [of_rep["bend_share_percent"].value for of_rep in all_four] == [100.0] * 4
