"""The reps of a set on the clock of each look."""

from __future__ import annotations

import pytest

from tests.measures.handmade import FRONT, REP, drawn, look_at


def test_reps_of_the_set_are_put_on_the_looks_own_clock() -> None:
    """The second phone was started 1.5 s later: its clock shows 1.5 s less."""
    look = look_at(drawn(), FRONT, reps=(), clip=1, offset_s=1.5).with_reps([REP])
    (rep,) = look.reps
    assert rep.bottom_s == pytest.approx(REP.bottom_s - 1.5)
    assert rep.end_s == pytest.approx(REP.end_s - 1.5)
    assert rep.shifted(look.offset_s) == REP, "time there = time here + offset"


def test_on_the_clock_of_the_set_reps_stay_as_they_are() -> None:
    assert look_at(drawn(), reps=()).with_reps([REP]).reps == (REP,)


def test_other_reps_take_the_place_of_those_there_were_and_nothing_else_changes() -> None:
    before = look_at(drawn(), FRONT, [REP, REP.shifted(4.0)], clip=1, offset_s=-0.5)
    after = before.with_reps([REP])
    assert len(before.reps) == 2 and len(after.reps) == 1
    assert (after.clip, after.view, after.offset_s) == (1, FRONT, -0.5)
    assert after.track is before.track and after.signals is before.signals
