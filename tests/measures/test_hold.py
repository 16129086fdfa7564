"""What is a hold at the top, how long it was, and what its line did."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.measures.bodyline import LINE_NEEDS_SIDE
from formcheck.measures.hold import LEAST_HOLD_S, STRAIGHT_DEG, support_hold
from tests.measures.handmade import FRONT, REAR, SIDE
from tests.measures.held import held
from tests.measures.posed import ONE_REP

STRAIGHT = np.full(300, 3.0)  # ten seconds


def test_a_hold_without_reps_is_timed_and_its_drift_told() -> None:
    line = np.concatenate([np.full(600, 3.0), np.full(300, 18.0)])  # 20 s straight, 10 s sagging
    hold = support_hold(held(line))
    assert hold is not None
    assert hold.start_s == 0.0 and hold.held_s == pytest.approx(30.0, abs=0.1)
    assert hold.line_deg.value == pytest.approx(3.0) and hold.line_deg.view == "side"
    assert hold.drift_deg_per_min > 10
    assert hold.change[-30:] == pytest.approx(15.0, abs=0.5)


def test_the_hold_runs_from_the_first_to_the_last_frame_in_position() -> None:
    look = held(STRAIGHT)
    in_position = (look.signals.t_s >= 2.0) & (look.signals.t_s <= 8.5)
    hold = support_hold(replace(look, signals=replace(look.signals, in_position=in_position)))
    assert hold is not None
    assert (hold.start_s, hold.held_s) == pytest.approx((2.0, 6.5), abs=0.05)


def test_a_set_with_a_rep_is_no_hold() -> None:
    look = held(STRAIGHT)
    assert support_hold(look) is not None
    assert support_hold(replace(look, reps=(ONE_REP,))) is None


def test_setting_up_is_no_hold() -> None:
    """Common practice: less than five seconds is setting up."""
    for seconds, is_hold in [(LEAST_HOLD_S - 0.5, False), (LEAST_HOLD_S + 0.5, True)]:
        line = np.full(round(30 * seconds), 3.0)
        assert (support_hold(held(line)) is not None) == is_hold


@pytest.mark.parametrize(
    ("elbow_deg", "is_hold"),
    [(90.0, False), (STRAIGHT_DEG - 1, False), (STRAIGHT_DEG + 1, True), (170.0, True)],
)
def test_a_hold_needs_straight_elbows(elbow_deg: float, is_hold: bool) -> None:
    """The bottom position, or a press that stalled, is not the top position."""
    assert (support_hold(held(STRAIGHT, elbow_deg=elbow_deg)) is not None) == is_hold


@pytest.mark.parametrize(("seen", "is_hold"), [(0.3, False), (0.7, True)])
def test_elbows_have_to_be_seen_for_most_of_the_time(seen: float, is_hold: bool) -> None:
    look = held(STRAIGHT)
    elbow = look.signals.elbow_deg.copy()
    elbow[round(seen * len(elbow)) :] = np.nan
    hold = support_hold(replace(look, signals=replace(look.signals, elbow_deg=elbow)))
    assert (hold is not None) == is_hold


def test_a_hold_is_never_seen_from_behind() -> None:
    assert support_hold(held(STRAIGHT, REAR)) is None


def test_from_the_front_a_hold_is_timed_but_its_line_does_not_show() -> None:
    hold = support_hold(held(STRAIGHT, FRONT))
    assert hold is not None and hold.held_s == pytest.approx(10.0, abs=0.1)
    assert hold.line_deg.reason == LINE_NEEDS_SIDE
    assert len(hold.line) == len(hold.change) == 0 and np.isnan(hold.drift_deg_per_min)


def test_a_still_line_is_not_a_certain_one() -> None:
    hold = support_hold(held(STRAIGHT, SIDE))
    assert hold is not None
    assert hold.line_deg.plus_minus == hold.doubt_deg > 2.0
    assert hold.change_doubt_deg < hold.doubt_deg, "a change is known better than the line"


def test_on_the_knees_a_hold_is_watched_along_the_line_to_the_knees() -> None:
    """The shanks lie on the floor: the line to the ankles bends there in everyone."""
    look = held(np.full(900, -30.0))
    knees = replace(look.signals, body_line_knee_deg=np.full(900, 3.0))
    hold = support_hold(replace(look, signals=knees), "knees")
    assert hold is not None
    assert hold.line_deg.value == pytest.approx(3.0) and hold.line == pytest.approx(3.0)
