"""Sag and pike of lines drawn by hand, and how much of a crooked start is believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.maths.quantity import Quantity
from formcheck.measures.bodyline import (
    LINE_HIDDEN,
    LINE_NEEDS_SIDE,
    BodyLine,
    OwnLine,
    hip_deviation,
    hip_deviation_change,
    hip_offset_of,
    line_curve,
    read_line,
)
from formcheck.measures.depth import JITTERY, MOST_NOISE
from formcheck.reps.find import Rep
from formcheck.signals.view import View
from tests.measures.handmade import FRONT, OBLIQUE, REAR, REP, SIDE, T_S, drawn, look_at, through

FloatArray = npt.NDArray[np.float64]

pytestmark = pytest.mark.usefixtures("exact_joints")
NO_ERROR = OwnLine(measured_deg=0.0, error_deg=0.0, error_sd_deg=0.0)
SAGS = through((2.2, 0), (3, 18), (4, 18), (4.8, 0))


def read_own_line(start_deg: float, view: View = SIDE, support: str = "toes") -> OwnLine:
    level = np.full(len(T_S), start_deg)
    return own_line_of(level, view, support)


def own_line_of(
    line_deg: FloatArray,
    view: View = SIDE,
    support: str = "toes",
    reps: Sequence[Rep] = (REP,),
    sd_deg: float = 1.6,
) -> OwnLine:
    unsure = np.full(len(T_S), sd_deg)
    shown = drawn(body_line_deg=line_deg, body_line_knee_deg=line_deg, line_sd_deg=unsure)
    return read_line(look_at(shown, view, reps), support).own


def deviation(
    line_deg: FloatArray, own: OwnLine = NO_ERROR, view: View = SIDE, noise: float = 0.0
) -> Quantity:
    return hip_deviation(look_at(drawn(noise=noise), view), REP, BodyLine(line_deg, own))


def change(
    line_deg: FloatArray, own: OwnLine = NO_ERROR, view: View = SIDE, noise: float = 0.0
) -> Quantity:
    return hip_deviation_change(look_at(drawn(noise=noise), view), REP, BodyLine(line_deg, own))


def test_the_line_runs_to_the_ankles_and_on_the_knees_to_the_knees() -> None:
    signals = drawn(body_line_deg=np.full(len(T_S), 3.0), body_line_knee_deg=np.full(len(T_S), 7.0))
    assert line_curve(signals, "toes") == pytest.approx(3.0)
    assert line_curve(signals, None) == pytest.approx(3.0)
    assert line_curve(signals, "knees") == pytest.approx(7.0)


def test_a_trembling_line_is_smoothed_and_a_sinking_one_followed() -> None:
    tremble = 4.0 * np.sin(2 * np.pi * 6.0 * T_S)
    smooth = line_curve(drawn(body_line_deg=SAGS + tremble), "toes")
    assert np.abs(smooth - SAGS)[30:-30].max() < 1.5


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_sag_is_positive_pike_negative_and_the_furthest_counts(sign: float) -> None:
    measured = deviation(sign * SAGS)
    assert measured.value == pytest.approx(sign * 18.0, abs=0.5)
    assert measured.view == "side"


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_moment_told_is_the_one_when_the_line_was_furthest_off(sign: float) -> None:
    peak_s = 4.2  # on the way up
    rises = sign * through((2.2, 0), (3, 12), (peak_s, 18), (4.8, 0))
    assert deviation(rises).at_s == pytest.approx(peak_s, abs=0.05)


def test_of_a_sag_and_a_pike_in_one_rep_the_larger_is_told() -> None:
    both = through((2.2, 0), (2.6, -10), (3.2, 16), (4.5, 16), (4.9, 0))
    assert deviation(both).value == pytest.approx(16.0, abs=0.5)


def test_what_the_hips_do_between_reps_is_not_held_against_the_rep() -> None:
    rests_piked = np.where((T_S < 1.9) | (T_S > 5.1), -30.0, 2.0)
    assert deviation(rests_piked).value == pytest.approx(2.0)


def test_only_a_view_from_the_side_shows_the_line() -> None:
    for view in (FRONT, REAR):
        measured = deviation(SAGS, view=view)
        assert measured.reason == LINE_NEEDS_SIDE and not measured.known


def test_hidden_hips_and_jitter_say_why_there_is_no_line() -> None:
    assert deviation(np.full(len(T_S), np.nan)).reason == LINE_HIDDEN
    assert deviation(SAGS, noise=2 * MOST_NOISE).reason == JITTERY


def test_a_line_a_few_degrees_off_at_the_start_is_partly_landmark_error() -> None:
    for start_deg in (3.0, -3.0):
        own = read_own_line(start_deg)
        assert own.measured_deg == pytest.approx(start_deg)
        assert 0.15 < own.error_deg / start_deg < 0.85
        assert own.error_sd_deg > 1.0, "and which part stays in doubt"


def test_a_set_that_sags_from_its_start_keeps_its_sag() -> None:
    for start_deg in (16.0, 25.0):
        own = read_own_line(start_deg)
        assert abs(own.error_deg) < 2.0
        measured = deviation(np.full(len(T_S), start_deg), own)
        assert measured.value > 12.0, "beyond the usual limit"
        assert measured.value - measured.plus_minus > start_deg - 9.0


def test_more_of_a_start_is_believed_the_further_off_it_is() -> None:
    kept = [1 - read_own_line(deg).error_deg / deg for deg in (2.0, 6.0, 10.0, 15.0, 25.0)]
    assert kept == sorted(kept)


def test_the_weighing_is_the_same_for_sag_and_pike() -> None:
    sag, pike = read_own_line(8.0), read_own_line(-8.0)
    assert sag.error_deg == pytest.approx(-pike.error_deg, abs=1e-6)
    assert sag.error_sd_deg == pytest.approx(pike.error_sd_deg, abs=1e-6)


def test_a_straight_start_needs_no_correction_but_stays_in_doubt() -> None:
    own = read_own_line(0.0)
    assert own.error_deg == pytest.approx(0.0, abs=1e-6)
    assert own.error_sd_deg > 0.5


def test_a_landmarks_constant_error_is_taken_off_every_rep() -> None:
    own = OwnLine(measured_deg=4.0, error_deg=3.0, error_sd_deg=1.0)
    assert deviation(SAGS + 4.0, own).value == pytest.approx(18.0 + 4.0 - 3.0, abs=0.5)


def test_the_doubt_about_the_line_widens_the_interval() -> None:
    sure, unsure = OwnLine(0.0, 0.0, 0.5), OwnLine(0.0, 0.0, 3.0)
    assert deviation(SAGS, unsure).plus_minus > deviation(SAGS, sure).plus_minus + 2.0


def test_the_own_line_is_read_in_the_second_before_the_first_rep() -> None:
    kneels = np.where(T_S < 0.9, 50.0, 2.0)
    assert own_line_of(kneels).measured_deg == pytest.approx(2.0, abs=0.01)


def test_without_a_top_before_the_first_rep_the_line_stands_as_it_is_seen() -> None:
    for own in (
        own_line_of(np.full(len(T_S), np.nan)),
        own_line_of(SAGS, reps=()),
        read_own_line(75.0),
    ):
        assert own.error_deg == 0.0 and own.error_sd_deg > 0.5


def test_what_the_fit_of_the_body_doubts_stays_in_doubt() -> None:
    level = np.full(len(T_S), 5.0)
    sure, unsure = (own_line_of(level, sd_deg=sd_deg) for sd_deg in (1.0, 4.0))
    assert unsure.error_sd_deg > sure.error_sd_deg
    assert unsure.error_deg > sure.error_deg, "and more of a crooked start is put down to it"


def test_change_is_told_against_the_persons_own_line_not_against_a_straight_one() -> None:
    own = OwnLine(measured_deg=10.0, error_deg=1.0, error_sd_deg=2.0)
    sinks = through((2.2, 10), (3, 16), (4, 16), (4.8, 10))
    assert deviation(sinks, own).value == pytest.approx(15.0, abs=0.5)
    assert change(sinks, own).value == pytest.approx(6.0, abs=0.5)


def test_change_is_told_at_the_moment_of_the_deviation() -> None:
    assert change(SAGS).at_s == deviation(SAGS).at_s


def test_change_is_known_better_than_the_absolute_line() -> None:
    own = read_own_line(0.0)
    assert change(SAGS, own).plus_minus < deviation(SAGS, own).plus_minus


def test_neither_hides_the_other() -> None:
    """Sagging all along: no change, all of it absolute. Sinking from straight: both."""
    always, own = np.full(len(T_S), 20.0), read_own_line(20.0)
    assert deviation(always, own).value > 15.0
    assert change(always, own).value == pytest.approx(0.0, abs=0.5)
    straight = read_own_line(0.0)
    assert deviation(SAGS, straight).value == pytest.approx(18.0, abs=0.5)
    assert change(SAGS, straight).value == pytest.approx(18.0, abs=0.5)


def test_no_line_no_change() -> None:
    assert change(np.full(len(T_S), np.nan)).reason == LINE_HIDDEN
    assert change(SAGS, view=FRONT).reason == LINE_NEEDS_SIDE
    no_start = replace(NO_ERROR, measured_deg=float("nan"))
    assert deviation(SAGS, no_start).known and not change(SAGS, no_start).known


def test_jitter_and_a_slanted_view_widen_the_change() -> None:
    plain = change(SAGS).plus_minus
    assert change(SAGS, noise=0.01).plus_minus > plain
    assert change(SAGS, view=OBLIQUE).plus_minus > plain


def test_the_moment_is_told_on_the_clock_of_the_set() -> None:
    later = look_at(drawn(), offset_s=1.5)
    line = BodyLine(SAGS, NO_ERROR)
    here, there = (hip_deviation(look, REP, line).at_s for look in (look_at(drawn()), later))
    assert here is not None and there == pytest.approx(here + 1.5)


def test_a_known_straight_line_counts_as_zero_and_shrinks_what_is_in_doubt() -> None:
    known = hip_offset_of(4.0, 0.5, "toes")
    level = np.full(len(T_S), 1.0)
    signals = drawn(body_line_deg=4.0 * level, line_sd_deg=2.0 * level)
    usual = read_line(look_at(signals, SIDE, (REP,)), "toes").own
    own = read_line(look_at(signals, SIDE, (REP,)), "toes", known).own
    assert own.error_deg == pytest.approx(4.0, abs=0.3)
    assert own.error_sd_deg < 0.75 * usual.error_sd_deg


def test_a_sag_from_the_start_stays_one_beside_a_known_straight_line() -> None:
    known = hip_offset_of(0.0, 0.5, "toes")
    level = np.full(len(T_S), 1.0)
    signals = drawn(body_line_deg=8.0 * level, line_sd_deg=2.0 * level)
    own = read_line(look_at(signals, SIDE, (REP,)), "toes", known).own
    assert own.measured_deg - own.error_deg == pytest.approx(8.0, abs=1.0)


def test_one_hip_landmark_turns_the_line_to_the_knees_by_more_than_that_to_the_ankles() -> None:
    # Out by b trunks it turns the line by b (1 + trunk / leg): 1.60 b to the ankles at 1.67 trunks,
    # 2.25 b to the knees at 0.80 (de Leva 1996).
    on_toes, on_knees = hip_offset_of(3.2, 0.0, "toes"), hip_offset_of(4.5, 0.0, "knees")
    assert on_toes.share == pytest.approx(on_knees.share, rel=0.01)
    assert on_toes.plus_minus > 0, "a stick does not make anyone perfectly straight"
