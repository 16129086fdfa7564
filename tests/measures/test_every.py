"""Which look each value of a rep is taken from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from formcheck.asked.person import Person
from formcheck.maths.quantity import Quantity
from formcheck.measures.bodyline import BodyLine, OwnLine
from formcheck.measures.every import measure_reps
from formcheck.measures.head import HEAD_HIDDEN, HEAD_NEEDS_SIDE
from formcheck.measures.load import LoadCurve
from formcheck.reps.look import Look
from tests.measures.handmade import FRONT, OBLIQUE, REP, SIDE, drawn, look_at, through

T_S = np.arange(0.0, 12.0, 1 / 30)
FIRST, SECOND = REP, replace(REP.shifted(4.0), index=2)
REPS = (FIRST, SECOND)
DURING_THE_SECOND = (SECOND.start_s - 0.01 <= T_S) & (SECOND.end_s + 0.01 >= T_S)
pytestmark = pytest.mark.usefixtures("exact_joints")
LEVEL = np.zeros(len(T_S))
BENT = through((2, 170), (3, 80), (4, 80), (5, 170), (6, 170), (7, 90), (8, 90), (9, 170), t_s=T_S)


def measured(
    *looks: Look,
    line: BodyLine | None = None,
    load: LoadCurve | None = None,
    person: Person | None = None,
) -> list[dict[str, Quantity]]:
    return measure_reps(
        looks,
        looks[0],
        line or BodyLine(LEVEL, OwnLine(0.0, 0.0, 1.0)),
        load or LoadCurve(LEVEL + 0.65, LEVEL + 0.65, LEVEL + 0.65, 0.04, "side"),
        person or Person(),
    )


def values_of(name: str, *looks: Look) -> list[float]:
    return [rep[name].value for rep in measured(*looks)]


def nodding(angle_deg: float, hidden_in_the_second: bool = False) -> np.ndarray:
    head = LEVEL + angle_deg
    return np.where(DURING_THE_SECOND, np.nan, head) if hidden_in_the_second else head


def test_every_rep_has_every_value_known_or_with_its_reason() -> None:
    first, second = measured(look_at(drawn(T_S), reps=REPS))
    assert first.keys() == second.keys()
    assert all(value.known or value.reason for value in (*first.values(), *second.values()))


def test_each_reps_value_comes_from_the_first_look_that_shows_it() -> None:
    side = look_at(drawn(T_S, head_deg=nodding(10.0, hidden_in_the_second=True)), SIDE, REPS)
    slanted = look_at(drawn(T_S, head_deg=nodding(14.0)), OBLIQUE, REPS)
    assert values_of("head_angle_deg", side, slanted) == [10.0, 14.0]
    assert values_of("head_angle_deg", slanted, side) == [14.0, 14.0]
    assert [rep["head_angle_deg"].view for rep in measured(side, slanted)] == ["side", "oblique"]


def test_where_no_look_shows_it_the_reason_is_that_of_a_look_that_might_have() -> None:
    side = look_at(drawn(T_S, head_deg=nodding(10.0, hidden_in_the_second=True)), SIDE, REPS)
    front = look_at(drawn(T_S), FRONT, REPS)
    first, second = (rep["head_angle_deg"] for rep in measured(front, side))
    assert first.value == 10.0
    assert second.reason == HEAD_HIDDEN, "not that the front does not show the head"
    assert measured(front)[0]["head_angle_deg"].reason == HEAD_NEEDS_SIDE


def bending(plus_minus_deg: float | np.ndarray, deeper_deg: float = 0.0) -> dict[str, np.ndarray]:
    return {"elbow_deg": BENT - deeper_deg, "elbow_sd_deg": (LEVEL + plus_minus_deg) / 1.96}


def test_range_is_taken_from_the_surer_look_whatever_their_order() -> None:
    side = look_at(drawn(T_S, **bending(9.0)), SIDE, REPS)
    front = look_at(drawn(T_S, **bending(4.0, deeper_deg=6.0)), FRONT, REPS)
    for looks in ([side, front], [front, side]):
        assert values_of("elbow_bottom_deg", *looks) == pytest.approx([74.0, 84.0])
        assert {rep["elbow_bottom_deg"].view for rep in measured(*looks)} == {"front"}


def test_the_surer_look_is_chosen_over_the_whole_set_not_rep_by_rep() -> None:
    third = replace(SECOND.shifted(0.1), index=3)
    reps = (FIRST, SECOND, third)
    in_the_first = FIRST.end_s > T_S
    usually_surer = bending(np.where(in_the_first, 12.0, 4.0), deeper_deg=6.0)
    surer_once = bending(np.where(in_the_first, 3.0, 9.0))
    front = look_at(drawn(T_S, **usually_surer), FRONT, reps)
    side = look_at(drawn(T_S, **surer_once), SIDE, reps)
    found = [rep["elbow_bottom_deg"] for rep in measured(side, front)]
    assert [value.view for value in found] == ["front"] * 3
    # Or a set would jump from one view's error to the other's.
    assert found[0].plus_minus == pytest.approx(12.0)


def test_a_rep_that_the_surer_look_missed_is_taken_from_the_other() -> None:
    lost = bending(4.0, deeper_deg=6.0)
    lost["elbow_deg"] = np.where(DURING_THE_SECOND, np.nan, lost["elbow_deg"])
    front = look_at(drawn(T_S, **lost), FRONT, REPS)
    side = look_at(drawn(T_S, **bending(9.0)), SIDE, REPS)
    assert values_of("elbow_bottom_deg", side, front) == pytest.approx([74.0, 90.0])


def test_each_look_is_read_on_its_own_clock() -> None:
    """The front was started a second later: what the set does at 3.5 s, it shows at 2.5."""
    nods = through((2.2, 0.0), (2.4, 20.0), (2.6, 20.0), (2.8, 0.0), t_s=T_S)
    later = look_at(drawn(T_S, head_deg=nods), OBLIQUE, reps=(), clip=1, offset_s=1.0)
    hidden = look_at(drawn(T_S), SIDE, REPS)
    assert values_of("head_angle_deg", hidden, later.with_reps(REPS)) == [20.0, 0.0]


def test_line_and_load_are_read_in_the_look_they_came_from_alone() -> None:
    side, slanted = (look_at(drawn(T_S), view, REPS) for view in (SIDE, OBLIQUE))
    line = BodyLine(LEVEL + 9.0, OwnLine(4.0, 0.0, 1.0))
    load = LoadCurve(LEVEL + 0.7, LEVEL + 0.7, LEVEL + 0.7, 0.05, "side")
    for looks in ((side, slanted), (slanted, side)):
        for rep in measure_reps(looks, side, line, load, Person()):
            assert rep["hip_deviation_deg"].value == pytest.approx(9.0)
            assert rep["hip_deviation_change_deg"].value == pytest.approx(5.0)
            assert rep["hip_deviation_deg"].view == "side"
            assert rep["load_fraction"].value == pytest.approx(0.7)
            assert rep["load_fraction_bottom"].plus_minus == 0.05


def test_speeds_are_in_metres_once_the_stature_is_known() -> None:
    height = through((2, 1.0), (3, 0.4), (4, 0.4), (5, 1.0), t_s=T_S)
    look = look_at(drawn(T_S, shoulder_height=height), SIDE, [FIRST])
    for name in ("mean_concentric_speed", "peak_concentric_speed"):
        arm_lengths = measured(look)[0][name].value
        metres = measured(look, person=Person(stature_m=1.74))[0][name].value
        # Arm from shoulder to wrist joint 0.314 of stature (de Leva 1996, mean of both sexes).
        assert metres == pytest.approx(0.314 * 1.74 * arm_lengths, rel=0.005)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("eccentric_s", [1.0, 1.5]),
        ("bottom_pause_s", [1.0, 0.5]),
        ("concentric_s", [1.0, 0.8]),
        ("top_pause_s", [1.0, 1.2]),
        ("bend_share_percent", [100.0, 80.0]),
    ],
)
def test_each_name_holds_what_it_says(name: str, expected: Sequence[float]) -> None:
    other = replace(
        SECOND, bottom_start_s=7.5, bottom_end_s=8.0, top_s=8.8, end_s=10.0, bend_share_percent=80.0
    )
    look = look_at(drawn(T_S, **bending(4.0)), SIDE, [FIRST, other])
    assert values_of(name, look) == pytest.approx(expected)
