"""When the line of a hold is broken, when that is unclear, and by whose limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.faults.hold import NOT_BROKEN, HoldVerdict, judge_hold
from formcheck.faults.limits import Limits, default_limits, with_values
from formcheck.maths.arrays import FloatArray
from formcheck.measures.hold import SupportHold, support_hold
from tests.measures.handmade import FRONT
from tests.measures.held import held

LIMIT_DEG = default_limits()["hip_sag"].value


def hold_of(line_deg: FloatArray) -> SupportHold:
    hold = support_hold(held(line_deg))
    assert hold is not None
    return hold


def verdict(line_deg: FloatArray, limits: Limits | None = None) -> HoldVerdict:
    return judge_hold(hold_of(line_deg), limits or default_limits())


def test_a_line_that_leaves_the_limit_and_stays_breaks_the_hold_there() -> None:
    line = np.concatenate([np.full(600, 3.0), np.full(300, 18.0)])  # 20 s straight, 10 s sagging
    assert verdict(line).broke_at_s == pytest.approx(20.0, abs=0.1)
    assert verdict(np.full(900, 3.0)) == NOT_BROKEN


def test_hips_that_rise_break_a_hold_like_hips_that_sag() -> None:
    line = np.concatenate([np.full(600, 0.0), np.full(300, -28.0)])
    assert verdict(line).broke_at_s == pytest.approx(20.0, abs=0.15)


def test_a_line_that_may_be_landmark_error_does_not_break_a_hold() -> None:
    hold = hold_of(np.full(900, LIMIT_DEG + 1.0))
    assert hold.line_deg.value - hold.line_deg.plus_minus < LIMIT_DEG
    found = judge_hold(hold, default_limits())
    assert found.broke_at_s is None and found.unclear_at_s == hold.start_s


def test_a_line_far_beyond_the_limit_breaks_the_hold_from_its_start() -> None:
    assert verdict(np.full(900, 25.0)).broke_at_s == 0.0


def test_a_change_that_is_surely_beyond_breaks_a_hold_that_its_line_leaves_in_doubt() -> None:
    sinks = np.concatenate([np.full(300, 0.0), np.full(600, LIMIT_DEG + 2.6)])
    hold = hold_of(sinks)
    assert hold.line[-1] < LIMIT_DEG + hold.doubt_deg
    assert judge_hold(hold, default_limits()).broke_at_s == pytest.approx(10.0, abs=0.2)
    always = verdict(np.full(900, LIMIT_DEG + 2.6))
    assert always.broke_at_s is None and always.unclear_at_s == 0.0


def test_a_short_dip_does_not_break_a_hold() -> None:
    line = np.full(900, 3.0)
    line[300:320] = 18.0  # two thirds of a second
    assert verdict(line) == NOT_BROKEN


def test_tightened_limits_change_the_verdict_of_a_hold_at_once() -> None:
    """The hold is measured once; a verdict needs only the limits."""
    hold = hold_of(np.concatenate([np.full(300, 0.0), np.full(600, 9.0)]))
    assert judge_hold(hold, default_limits()) == NOT_BROKEN
    tight = judge_hold(hold, with_values(default_limits(), {"hip_sag": 4.0}))
    assert tight.broke_at_s == pytest.approx(10.0, abs=0.2)
    piked = hold_of(np.concatenate([np.full(300, 0.0), np.full(600, -12.0)]))
    assert judge_hold(piked, default_limits()) == NOT_BROKEN
    strict = judge_hold(piked, with_values(default_limits(), {"hip_pike": -5.0}))
    assert strict.broke_at_s == pytest.approx(10.0, abs=0.2)


def test_a_hold_whose_line_does_not_show_is_not_said_to_be_broken() -> None:
    hold = support_hold(held(np.full(300, 30.0), FRONT))
    assert hold is not None
    assert judge_hold(hold, default_limits()) == NOT_BROKEN


def test_moments_are_told_on_the_clock_of_the_clip() -> None:
    look = held(np.concatenate([np.full(600, 3.0), np.full(300, 25.0)]))
    begins = look.signals.t_s >= 5.0
    hold = support_hold(replace(look, signals=replace(look.signals, in_position=begins)))
    assert hold is not None and hold.start_s == pytest.approx(5.0)
    assert judge_hold(hold, default_limits()).broke_at_s == pytest.approx(20.0, abs=0.1)
