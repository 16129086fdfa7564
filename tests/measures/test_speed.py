"""How fast the shoulders rise, how it fades, and whether the hips keep up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.asked.person import Person
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.speed import (
    HIPS_NEED_SIDE,
    RISE_HIDDEN,
    hips_lag,
    in_metres,
    mean_concentric_speed,
    peak_concentric_speed,
    speed_loss_percent,
)
from tests.measures.handmade import FRONT, OBLIQUE, REAR, REP, T_S, drawn, look_at, through
from tests.minimum_jerk import FloatArray, eased

# 0.4 to 1.0 arm lengths between 4 and 5 s, as in a rep: minimum jerk.
RISE = 1.0 - 0.6 * (eased(T_S - 2.0) - eased(T_S - 4.0))


def hips_moved(later_s: float) -> FloatArray:
    """Hips that follow the shoulders' movement, half as far."""
    return 0.7 - 0.3 * (eased(T_S - 2.0) - eased(T_S - 4.0 - later_s))


def test_mean_speed_is_the_rise_over_the_time_it_took() -> None:
    measured = mean_concentric_speed(look_at(drawn(shoulder_height=RISE)), REP)
    assert measured.value == pytest.approx(0.6, abs=0.01)
    assert measured.view == "side" and 0 < measured.plus_minus < 0.2


def test_half_the_time_is_twice_the_speed() -> None:
    quick = replace(REP, top_s=4.5)
    height = through((2, 1.0), (3, 0.4), (4, 0.4), (4.5, 1.0))
    measured = mean_concentric_speed(look_at(drawn(shoulder_height=height)), quick)
    assert measured.value == pytest.approx(1.2, abs=0.12)


def test_peak_speed_of_a_smooth_rise_is_1_875_times_its_mean() -> None:
    """Flash and Hogan, J Neurosci 1985;5:1688-1703: the peak of a minimum-jerk movement."""
    measured = peak_concentric_speed(look_at(drawn(shoulder_height=RISE)), REP)
    assert measured.value == pytest.approx(1.875 * 0.6, rel=0.05)


def test_a_tremble_is_not_a_peak() -> None:
    """Speeds that last less than a tenth of a second are noise."""
    tremble = 0.02 * np.sin(2 * np.pi * 9.0 * T_S)  # 1.1 arm lengths a second by itself
    measured = peak_concentric_speed(look_at(drawn(shoulder_height=RISE + tremble)), REP)
    assert measured.value == pytest.approx(1.875 * 0.6, rel=0.15)


def test_shoulders_not_seen_on_the_way_up_have_no_speed() -> None:
    for measure in (mean_concentric_speed, peak_concentric_speed):
        assert measure(look_at(drawn()), REP).reason == RISE_HIDDEN


def test_a_rep_without_a_way_up_has_no_mean_speed() -> None:
    stuck = replace(REP, top_s=REP.bottom_end_s)
    assert not mean_concentric_speed(look_at(drawn(shoulder_height=RISE)), stuck).known


@pytest.mark.parametrize("later_s", [0.3, 0.0, -0.3])
def test_hips_that_rise_after_the_shoulders_lag_positively(later_s: float) -> None:
    rep = replace(REP, bottom_end_s=3.8, top_s=5.2)
    signals = drawn(shoulder_height=RISE, hip_height=hips_moved(later_s))
    assert hips_lag(look_at(signals), rep).value == pytest.approx(later_s, abs=0.08)


def test_a_longer_press_is_less_certain_about_lag() -> None:
    signals = drawn(shoulder_height=RISE, hip_height=hips_moved(0.0))
    long = replace(REP, top_s=REP.bottom_end_s + 2.0)
    assert hips_lag(look_at(signals), long).plus_minus > hips_lag(look_at(signals), REP).plus_minus


def test_lag_shows_only_from_the_side_and_at_a_slant() -> None:
    signals = drawn(shoulder_height=RISE, hip_height=hips_moved(0.0))
    assert hips_lag(look_at(signals, OBLIQUE), REP).known
    for view in (FRONT, REAR):
        assert hips_lag(look_at(signals, view), REP).reason == HIPS_NEED_SIDE


def test_hips_that_hardly_move_have_no_time_of_their_own() -> None:
    still = drawn(shoulder_height=RISE, hip_height=0.5 + 0.01 * RISE)
    assert hips_lag(look_at(still), REP).reason == RISE_HIDDEN
    assert hips_lag(look_at(drawn(shoulder_height=RISE)), REP).reason == RISE_HIDDEN


def speeds(*values: float) -> list[Quantity]:
    return [Quantity(value, 0.05) for value in values]


def test_speed_loss_is_told_against_the_sets_fastest_rep() -> None:
    """Perez-Castilla et al., Appl Sci 2024;14:4531 use the fastest repetition."""
    assert speed_loss_percent(speeds(0.8, 1.0, 0.9, 0.6)) == pytest.approx(40.0)


def test_a_set_that_ends_fastest_has_lost_nothing() -> None:
    assert speed_loss_percent(speeds(0.6, 0.7, 0.8)) == 0.0


def test_unknown_speeds_are_left_out_and_one_alone_tells_no_loss() -> None:
    hidden = not_measured("hidden")
    assert speed_loss_percent([hidden, *speeds(1.0, 0.8), hidden]) == pytest.approx(20.0)
    assert np.isnan(speed_loss_percent([hidden, *speeds(1.0)]))
    assert np.isnan(speed_loss_percent([]))


def test_shoulders_that_never_rose_have_no_speed_to_lose() -> None:
    assert np.isnan(speed_loss_percent(speeds(0.0, 0.0)))
    assert np.isnan(speed_loss_percent(speeds(-0.1, -0.2)))


def test_arm_lengths_are_metres_once_the_stature_is_known() -> None:
    # Arm from shoulder to wrist joint 0.314 of stature (de Leva 1996, mean of both sexes).
    speed = Quantity(0.8, 0.05, view="side")
    metres = in_metres(speed, Person(1.74))
    assert metres.value == pytest.approx(0.8 * 0.314 * 1.74, rel=0.005)
    assert metres.view == "side"
    assert metres.plus_minus / metres.value > speed.plus_minus / speed.value, "arms differ"


def test_without_a_stature_or_a_speed_nothing_is_made_of_it() -> None:
    assert in_metres(Quantity(0.8, 0.05), Person()) == Quantity(0.8, 0.05)
    assert in_metres(not_measured("hidden"), Person(1.74)).reason == "hidden"
