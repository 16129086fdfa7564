"""How long the phases took, and how surely."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.maths.quantity import Quantity
from formcheck.measures.timing import SET_ENDS, bottom_pause, concentric, eccentric, top_pause
from formcheck.reps.find import Rep
from formcheck.signals.curves import Signals
from formcheck.signals.view import ViewKind
from tests.measures.handmade import REP, drawn, look_at

PHASES = (eccentric, bottom_pause, concentric, top_pause)


def phase_times(rep: Rep, signals: Signals | None = None) -> list[Quantity]:
    """Lowering, bottom pause, pressing up, top pause, from the side."""
    return [phase(look_at(signals or drawn()), rep) for phase in PHASES]


@pytest.mark.usefixtures("exact_joints")
def test_phases_are_the_times_between_the_reps_moments() -> None:
    times = phase_times(REP)
    assert [time.value for time in times] == pytest.approx([1.0, 1.0, 1.0, 1.0])
    assert {time.view for time in times} == {"side"}


@pytest.mark.usefixtures("exact_joints")
def test_each_phase_is_its_own() -> None:
    uneven = replace(REP, bottom_start_s=3.4, bottom_end_s=3.9, top_s=5.2)
    assert [time.value for time in phase_times(uneven)] == pytest.approx([1.4, 0.5, 1.3, 0.8])


def test_the_last_top_pause_has_no_end_and_is_not_judged() -> None:
    *others, last = phase_times(replace(REP, last=True))
    assert not last.known and last.reason == SET_ENDS
    assert all(time.known for time in others)


def test_a_slow_phase_is_known_less_sharply_than_a_quick_one() -> None:
    """It starts and stops more gently."""
    slow = replace(REP, start_s=0.0)  # 3 s down
    look = look_at(drawn())
    assert eccentric(look, slow).plus_minus > eccentric(look, REP).plus_minus


def test_few_frames_a_second_and_jitter_widen_the_interval() -> None:
    plain = phase_times(REP)
    for worse in (drawn(pose_rate_hz=5.0), drawn(noise=0.01)):
        for time, usual in zip(phase_times(REP, worse), plain, strict=True):
            assert time.plus_minus > usual.plus_minus


def test_the_grid_between_frames_adds_no_certainty() -> None:
    fast = phase_times(REP, drawn(pose_rate_hz=240.0))
    usual = phase_times(REP, drawn(pose_rate_hz=30.0))
    assert [time.plus_minus for time in fast] == [time.plus_minus for time in usual]


def test_a_boundary_is_never_surer_than_two_frames() -> None:
    """Two frames at 30 a second: 0.067 s."""
    touch = replace(REP, bottom_start_s=2.1, bottom_s=2.1, bottom_end_s=2.1, top_s=2.2)
    assert min(time.plus_minus for time in phase_times(touch)) > 0.067


@pytest.mark.parametrize("view", ["side", "front", "oblique"])
def test_no_phase_lasts_less_than_nothing(view: ViewKind) -> None:
    """What times are off by on average is taken off each."""
    touch = replace(REP, bottom_end_s=REP.bottom_start_s, end_s=REP.top_s)
    look = look_at(drawn())
    seen = replace(look, view=replace(look.view, kind=view))
    assert bottom_pause(seen, touch).value >= 0.0 <= top_pause(seen, touch).value
