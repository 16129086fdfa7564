"""How long the phases took, and how surely."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.measures.timing import SET_ENDS, phase_times
from tests.measures.handmade import REP, SIDE, drawn

PHASES = ("eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s")


def test_phases_are_the_times_between_the_reps_moments() -> None:
    times = phase_times(REP, drawn(), SIDE)
    assert [times[name].value for name in PHASES] == pytest.approx([1.0, 1.0, 1.0, 1.0])
    assert set(times) == set(PHASES)
    assert {quantity.view for quantity in times.values()} == {"side"}


def test_the_last_top_pause_has_no_end_and_is_not_judged() -> None:
    times = phase_times(replace(REP, last=True), drawn(), SIDE)
    assert not times["top_pause_s"].known and times["top_pause_s"].reason == SET_ENDS
    assert all(times[name].known for name in PHASES[:3])


def test_a_slow_phase_is_known_less_sharply_than_a_quick_one() -> None:
    """It starts and stops more gently."""
    slow = replace(REP, start_s=0.0)  # 3 s down
    assert (
        phase_times(slow, drawn(), SIDE)["eccentric_s"].plus_minus
        > phase_times(REP, drawn(), SIDE)["eccentric_s"].plus_minus
    )


def test_few_frames_a_second_and_jitter_widen_the_interval() -> None:
    plain = phase_times(REP, drawn(), SIDE)
    for worse in (drawn(pose_rate_hz=5.0), drawn(noise=0.01)):
        times = phase_times(REP, worse, SIDE)
        assert all(times[name].plus_minus > plain[name].plus_minus for name in PHASES)


def test_the_grid_between_frames_adds_no_certainty() -> None:
    fast = phase_times(REP, drawn(pose_rate_hz=240.0), SIDE)
    usual = phase_times(REP, drawn(pose_rate_hz=30.0), SIDE)
    assert fast["eccentric_s"].plus_minus == usual["eccentric_s"].plus_minus


def test_a_boundary_is_never_surer_than_two_frames() -> None:
    """Two frames at 30 a second: 0.067 s."""
    touch = replace(REP, bottom_start_s=2.1, bottom_s=2.1, bottom_end_s=2.1, top_s=2.2)
    assert min(q.plus_minus for q in phase_times(touch, drawn(), SIDE).values()) > 0.067
