"""Which bends of the elbows are attempts, and where their phases begin and end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.faults.limits import default_limits
from formcheck.reps.find import SETS_APART_S, Rep, find_reps, pulse_remarks, rest_remarks
from tests.coached import Coached, reps
from tests.minimum_jerk import RATE_HZ, SLOW_END, Once, eased, elbow_curve

FloatArray = npt.NDArray[np.float64]


def reps_in(
    t_s: FloatArray, elbow: FloatArray, in_position: npt.NDArray[np.bool_] | None = None
) -> list[Rep]:
    everywhere = np.ones(len(t_s), dtype=bool)
    return find_reps(t_s, elbow, everywhere if in_position is None else in_position, RATE_HZ)


def reps_of(attempts: Sequence[Once], hold_s: float = 2.0, after_s: float = 2.0) -> list[Rep]:
    """The reps found, as many as were done: so that no check on each is passed by none."""
    reps = reps_in(*elbow_curve(attempts, hold_s, after_s))
    assert len(reps) == len(attempts)
    return reps


def broken_off(rep: Rep) -> bool:
    return rep.bend_share_percent < default_limits()["aborted"].value


def test_the_share_of_a_phase_below_the_boundary_speed_is_as_computed() -> None:
    """Flash and Hogan, J Neurosci 1985;5:1688-1703, for the movement; its share is computed."""
    u = np.linspace(0, 1, 200_001)
    speed = np.gradient(eased(u), u)
    assert speed.max() == pytest.approx(1.875, abs=1e-3)
    assert u[np.argmax(speed >= 0.05 * speed.max())] == pytest.approx(SLOW_END, abs=1e-4)


def test_three_reps_are_three_counted_in_order_from_one() -> None:
    reps = reps_of([Once()] * 3)
    assert [rep.index for rep in reps] == [1, 2, 3]
    assert not any(broken_off(rep) for rep in reps)
    assert [rep.last for rep in reps] == [False, False, True]


def test_moments_of_a_rep_follow_one_another() -> None:
    for rep in reps_of([Once(), Once(bottom_s=0.0), Once(top_s=0.0), Once()]):
        moments = (
            rep.start_s, rep.bottom_start_s, rep.bottom_s, rep.bottom_end_s, rep.top_s, rep.end_s,
        )  # fmt: skip
        assert list(moments) == sorted(moments)


@pytest.mark.parametrize("hold_s", [0.5, 10.0])
def test_a_hold_before_the_first_rep_is_not_part_of_it(hold_s: float) -> None:
    first = reps_of([Once()] * 2, hold_s=hold_s)[0]
    assert first.start_s == pytest.approx(hold_s + 1.5 * SLOW_END, abs=0.06)


def test_a_rest_at_the_top_in_mid_set_belongs_to_the_top_pause() -> None:
    reps = reps_of([Once(), Once(top_s=9.0), Once()])
    assert len(reps) == 3
    assert reps[1].top_pause_s == pytest.approx(9.0 + SLOW_END * 2.5, abs=0.12)
    assert reps[1].concentric_s == pytest.approx(Once().concentric_s, abs=0.06)


def test_a_long_pause_at_the_bottom_does_not_split_a_rep() -> None:
    reps = reps_of([Once(), Once(bottom_s=5.0), Once()])
    assert len(reps) == 3
    assert reps[1].bottom_pause_s == pytest.approx(Once(bottom_s=5.0).bottom_pause_s, abs=0.1)


@pytest.mark.parametrize("place", [0, 1, 3], ids=["first", "in the middle", "last"])
def test_an_attempt_broken_off_half_way_is_aborted_and_no_other(place: int) -> None:
    attempts = [Once(), Once(), Once(), Once()]
    attempts[place] = Once(bottom_deg=130.0)
    reps = reps_of(attempts)
    assert [broken_off(rep) for rep in reps] == [i == place for i in range(4)]


def test_an_attempt_that_is_not_pressed_up_again_is_aborted() -> None:
    reps = reps_of([Once(), Once(), Once(up_s=1.0, top_deg=112.0)])
    assert [broken_off(rep) for rep in reps] == [False, False, True]


def test_a_bend_is_compared_with_the_smaller_of_its_neighbours() -> None:
    reps = reps_of([Once(bottom_deg=deg, top_deg=170.0) for deg in (80.0, 80.0, 125.0, 90.0)])
    shares = [rep.bend_share_percent for rep in reps]
    assert shares == pytest.approx([100.0, 200.0, 100 * 45 / 80, 100 * 80 / 45], rel=0.06)


def test_a_lone_attempt_is_compared_with_nothing() -> None:
    (rep,) = reps_of([Once(bottom_deg=120.0)])
    assert rep.bend_share_percent == 100.0


def test_losing_depth_rep_by_rep_is_not_breaking_off() -> None:
    reps = reps_of([Once(bottom_deg=deg) for deg in (85, 95, 105, 115, 122, 128)])
    assert len(reps) == 6
    assert not any(broken_off(rep) for rep in reps)


def test_a_single_shallow_attempt_has_nothing_to_be_broken_off_from() -> None:
    (rep,) = reps_of([Once(bottom_deg=130.0)])
    assert not broken_off(rep)


@pytest.mark.parametrize(("bend_deg", "attempts"), [(20.0, 2), (32.0, 3)])
def test_settling_and_shrugging_at_the_top_are_no_attempts(bend_deg: float, attempts: int) -> None:
    t_s, elbow = elbow_curve([Once(), Once()], hold_s=4.0, after_s=5.0)
    dip = bend_deg * np.sin(np.pi * np.clip((t_s - 1.0) / 1.5, 0, 1)) ** 2
    assert len(reps_in(t_s, elbow - dip)) == attempts


@pytest.mark.parametrize(
    ("down_s", "bottom_s", "up_s"), [(6.0, 0.5, 5.5), (3.0, 1.0, 2.0), (0.6, 0.0, 0.5)]
)
def test_slow_and_fast_reps_keep_their_phases(down_s: float, bottom_s: float, up_s: float) -> None:
    asked = Once(down_s, bottom_s, up_s, top_s=0.5)
    reps = reps_of([asked] * 3)
    assert len(reps) == 3
    for rep in reps:
        assert rep.eccentric_s == pytest.approx(asked.eccentric_s, abs=max(0.05, 0.03 * down_s))
        assert rep.concentric_s == pytest.approx(asked.concentric_s, abs=max(0.05, 0.03 * up_s))


def test_reps_of_six_tenths_of_a_second_are_all_found() -> None:
    reps = reps_of([Once(0.3, 0.0, 0.3, 0.0)] * 12)
    assert len(reps) == 12
    assert not any(broken_off(rep) for rep in reps)


def test_a_set_done_half_as_fast_reads_twice_as_long() -> None:
    (quick, *_), (slow, *_) = reps_of([Once()] * 2), reps_of([Once(3.0, 1.0, 2.0, 2.0)] * 2)
    for phase in ("eccentric_s", "bottom_pause_s", "concentric_s"):
        assert getattr(slow, phase) == pytest.approx(2 * getattr(quick, phase), abs=0.12)


def test_a_slow_drift_of_the_angle_changes_nothing() -> None:
    t_s, elbow = elbow_curve([Once()] * 6)
    reps, drifting = reps_in(t_s, elbow), reps_in(t_s, elbow - 0.8 * t_s)
    assert len(drifting) == 6 and not any(broken_off(rep) for rep in drifting)
    for rep, other in zip(reps, drifting, strict=True):
        assert other.bottom_s == pytest.approx(rep.bottom_s, abs=0.1)
        assert other.eccentric_s == pytest.approx(rep.eccentric_s, abs=0.1)


def test_a_clip_that_starts_in_mid_rep_begins_with_the_next_whole_one() -> None:
    t_s, elbow = elbow_curve([Once()] * 3, hold_s=0.0)
    late = t_s >= 2.2  # the first press has begun
    assert len(reps_in(t_s[late] - 2.2, elbow[late])) == 2


def test_a_clip_that_ends_in_mid_rep_ends_with_the_last_whole_one() -> None:
    t_s, elbow = elbow_curve([Once()] * 3)
    cut = t_s < 2.0 + 2 * 4.0 + 1.6  # in the bottom of the third
    reps = reps_in(t_s[cut], elbow[cut])
    assert len(reps) == 2
    assert not any(broken_off(rep) for rep in reps)


def test_bends_while_not_in_position_are_no_reps() -> None:
    t_s, elbow = elbow_curve([Once()] * 4)
    position = t_s > 2.0 + 4.0  # kneeling, waving an arm, until then
    assert len(reps_in(t_s, elbow, position)) == 3
    assert reps_in(t_s, elbow, np.zeros(len(t_s), dtype=bool)) == []


def test_leaving_the_position_ends_the_last_top_pause() -> None:
    t_s, elbow = elbow_curve([Once()] * 2, after_s=6.0)
    stands_up_s = 2.0 + 2 * 4.0 + 1.0
    last = reps_in(t_s, elbow, t_s < stands_up_s)[-1]
    assert last.last
    assert last.end_s == pytest.approx(stands_up_s, abs=0.05)


def test_a_knee_set_down_between_two_reps_ends_the_first_ones_pause() -> None:
    t_s, elbow = elbow_curve([Once(), Once(top_s=6.0), Once()])
    kneeling = (t_s > 11.0) & (t_s < 13.0)
    reps = reps_in(t_s, elbow, ~kneeling)
    assert len(reps) == 3
    assert reps[1].last and reps[1].end_s == pytest.approx(11.0, abs=0.05)


def test_nothing_seen_is_no_rep() -> None:
    t_s = np.arange(0, 5, 1 / RATE_HZ)
    assert reps_in(t_s, np.full(len(t_s), np.nan)) == []
    assert reps_in(t_s, np.full(len(t_s), 170.0)) == []


@pytest.mark.parametrize("attempt", [Once(), Once(2.0, 1.0, 0.6, 0.8), Once(0.8, 0.4, 0.8, 0.6)])
def test_boundaries_are_where_the_speed_is_5_percent_of_its_peak(attempt: Once) -> None:
    begins_s = 2.0
    length_s = attempt.down_s + attempt.bottom_s + attempt.up_s + attempt.top_s
    for i, rep in enumerate(reps_of([attempt] * 3)):
        begin = begins_s + i * length_s
        down, up = attempt.down_s, attempt.up_s
        rises = begin + down + attempt.bottom_s
        assert rep.start_s == pytest.approx(begin + SLOW_END * down, abs=0.05)
        assert rep.bottom_start_s == pytest.approx(begin + (1 - SLOW_END) * down, abs=0.05)
        assert rep.bottom_end_s == pytest.approx(rises + SLOW_END * up, abs=0.05)
        assert rep.top_s == pytest.approx(rises + (1 - SLOW_END) * up, abs=0.05)


@pytest.mark.parametrize(
    "way", [((0.8, 150.0), (1.2, 170.0)), ((0.9, 130.0), (0.6, 132.0), (1.5, 170.0))],
    ids=["slow to the end", "stalls, then slow"],
)  # fmt: skip
def test_a_press_that_grinds_lasts_until_it_is_up(way: tuple[tuple[float, float], ...]) -> None:
    """Not until its fast part is: its end is where its speed falls below 5 % of the peak."""
    course = Coached(course=[*reps(2), (1.5, 80.0), (0.4, 80.0), *way, (1.5, 170.0)])
    t_s = np.arange(0.0, course.duration_s(), 1 / RATE_HZ)
    elbow = course.elbow_deg(t_s)
    speed = np.where(t_s > course.bottoms_s()[-1] + 0.2, np.gradient(elbow, t_s), 0.0)
    rises = t_s[speed > 0.05 * speed.max()]
    for seed in range(4):
        wobble = np.random.default_rng(seed).normal(0.0, 1.2, len(t_s))
        last = reps_in(t_s, elbow + wobble)[-1]
        assert last.bottom_end_s == pytest.approx(rises[0], abs=0.1)
        assert last.top_s == pytest.approx(rises[-1], abs=0.15)


def test_touch_and_go_reads_about_no_pause() -> None:
    """A turn without a pause still is slower than 5 % of the peak for a moment: 0.11 s here."""
    touch = Once(1.0, 0.0, 0.8)
    for rep in reps_of([touch] * 3):
        assert 0.0 <= rep.bottom_pause_s < 0.15


def test_a_turn_without_any_stop_reads_no_pause_at_all() -> None:
    t_s = np.arange(0, 12, 1 / RATE_HZ)
    swing = np.where((t_s > 2) & (t_s < 10), (1 - np.cos(2 * np.pi * (t_s - 2) / 2)) / 2, 0)
    reps = reps_in(t_s, 170 - 85 * swing)
    assert len(reps) == 4
    assert max(rep.bottom_pause_s for rep in reps) < 0.1


def test_a_bottom_pause_of_three_tenths_survives() -> None:
    for asked in (Once(1.5, 0.3, 1.0), Once(0.8, 0.3, 0.6)):
        for rep in reps_of([asked] * 3):
            assert rep.bottom_pause_s == pytest.approx(asked.bottom_pause_s, abs=0.06)


def test_a_fast_press_beside_a_slow_lowering_does_not_eat_the_pause() -> None:
    asked = Once(4.0, 0.5, 0.5)
    for rep in reps_of([asked] * 2):
        assert rep.bottom_pause_s == pytest.approx(asked.bottom_pause_s, abs=0.12)
        assert rep.concentric_s == pytest.approx(asked.concentric_s, abs=0.06)


@pytest.mark.parametrize("noise_deg", [1.0, 2.0])
def test_noise_adds_no_reps_and_moves_no_boundary_far(noise_deg: float) -> None:
    attempts = [Once(), Once(bottom_s=0.0), Once(2.5, 1.0, 0.6, 0.5), Once(bottom_deg=128), Once()]
    t_s, elbow = elbow_curve(attempts)
    exact = reps_in(t_s, elbow)
    rng = np.random.default_rng(0)
    errors = []
    for _ in range(5):
        reps = reps_in(t_s, elbow + rng.normal(0, noise_deg, len(t_s)))
        assert [broken_off(rep) for rep in reps] == [broken_off(rep) for rep in exact]
        for rep, true in zip(reps, exact, strict=True):
            assert true.bottom_start_s - 0.15 <= rep.bottom_s <= true.bottom_end_s + 0.15
            errors += [rep.eccentric_s - true.eccentric_s, rep.concentric_s - true.concentric_s]
    assert np.mean(np.abs(errors)) < 0.1


def test_an_arm_lost_during_a_rest_at_the_top_costs_no_rep() -> None:
    t_s, elbow = elbow_curve([Once(), Once(top_s=4.0), Once()])
    elbow[(t_s > 10.0) & (t_s < 12.0)] = np.nan
    assert len(reps_in(t_s, elbow)) == 3


def test_an_attempt_whose_turn_was_not_seen_is_never_called_broken_off() -> None:
    attempts = [Once(), Once(bottom_deg=130.0), Once()]
    t_s, elbow = elbow_curve(attempts)
    position, lost = np.ones(len(t_s), dtype=bool), (t_s > 7.0) & (t_s < 8.5)
    seen = find_reps(t_s, elbow, position, RATE_HZ)
    assert [broken_off(rep) for rep in seen] == [False, True, False]
    with_loss = find_reps(t_s, elbow, position, RATE_HZ, unsure=lost)
    assert [broken_off(rep) for rep in with_loss] == [False, False, False]


def test_boundaries_between_frames_are_finer_than_the_frame_interval_allows() -> None:
    """Computed: a duration between two events that are rounded to frames errs by an SD of
    1 / (rate x sqrt(6)), 13.6 ms at 30 frames a second. Interpolated boundaries stay below."""
    rounded_sd_s = 1 / (RATE_HZ * 6**0.5)
    assert rounded_sd_s == pytest.approx(0.0136, abs=5e-5)
    asked = Once()
    found = []
    for later_s in np.linspace(0, 1 / RATE_HZ, 12, endpoint=False):
        found += [rep.eccentric_s for rep in reps_of([asked] * 3, hold_s=1.0 + later_s)]
    assert np.std(found) < rounded_sd_s / 2
    assert np.mean(found) == pytest.approx(asked.eccentric_s, abs=0.05)


def test_a_rep_on_another_clock_is_the_same_rep_later() -> None:
    (rep, _) = reps_of([Once(), Once(bottom_deg=100.0)])
    later = rep.shifted(2.5)
    for moment in ("start_s", "bottom_start_s", "bottom_s", "bottom_end_s", "top_s", "end_s"):
        assert getattr(later, moment) == pytest.approx(getattr(rep, moment) + 2.5)
    for kept in ("index", "last", "bend_share_percent"):
        assert getattr(later, kept) == getattr(rep, kept)
    assert later.eccentric_s == pytest.approx(rep.eccentric_s)


def with_pulses(count: int, rise_deg: float = 35.0) -> tuple[FloatArray, FloatArray]:
    """Three reps, the second with so many small presses at the bottom."""
    t_s, elbow = elbow_curve([Once(), Once(bottom_s=1.0 + count), Once()], 2.0, 2.0)
    second = reps_in(t_s, elbow)[1]
    held = (t_s > second.bottom_start_s + 0.2) & (t_s < second.bottom_end_s - 0.2)
    phase = (t_s[held] - t_s[held][0]) / (t_s[held][-1] - t_s[held][0])
    elbow[held] += rise_deg * np.sin(np.pi * phase * count) ** 2
    return t_s, elbow


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("rise_deg", [35.0, 22.0])
def test_pulses_at_the_bottom_belong_to_one_rep_and_are_said(count: int, rise_deg: float) -> None:
    reps = reps_in(*with_pulses(count, rise_deg))
    assert [rep.pulses for rep in reps] == [0, count, 0]
    assert str(count) in pulse_remarks(reps)[0] and "rep 2" in pulse_remarks(reps)[0]
    slow = [replace(rep, bottom_end_s=rep.bottom_start_s + 5.0) for rep in reps]
    sank_back = "In rep 2 the press sank back" in pulse_remarks(slow)[0]
    assert sank_back == (count == 1), "nobody takes five seconds over a single pulse"
    assert not any(broken_off(rep) for rep in reps)


def test_an_attempt_that_turns_back_high_is_no_pulse() -> None:
    reps = reps_of([Once(), Once(bottom_deg=125.0), Once()])
    assert [rep.pulses for rep in reps] == [0, 0, 0] and pulse_remarks(reps) == ()


def test_a_press_that_comes_half_way_up_is_an_attempt_of_its_own() -> None:
    assert len(reps_in(*with_pulses(1, rise_deg=65.0))) == 4


def test_a_long_break_out_of_position_parts_two_sets() -> None:
    t_s, elbow = elbow_curve([Once()] * 2, 2.0, 2.0)
    break_s = SETS_APART_S + 5.0
    gap = np.full(round(break_s * RATE_HZ), 170.0)
    curve = np.concatenate([elbow, gap, elbow])
    when_s = np.arange(len(curve)) / RATE_HZ
    stands = (when_s > t_s[-1]) & (when_s < t_s[-1] + break_s)
    remark = rest_remarks(reps_in(when_s, curve, ~stands))[0]
    assert "2 sets (reps 1, 2; reps 3, 4)" in remark and f"{break_s + 2.0:.0f} s" in remark
    assert rest_remarks(reps_in(t_s, elbow)) == ()
