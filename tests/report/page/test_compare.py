"""Two reps laid over each other: the same moments of both."""

from __future__ import annotations

import pytest

from formcheck.analysis import analyse
from formcheck.report.page.compare import STEPS, compared
from formcheck.report.page.curves import series_of
from tests.coached import STAYS_DOWN, Coached, rep, reps


def test_best_and_worst_stand_first_and_every_whole_rep_can_be_chosen() -> None:
    course = reps(1) + rep(bottom_deg=115.0) + rep() + STAYS_DOWN
    analysis = analyse(Coached(course=course).tracks("side"))
    found = compared(analysis, series_of(analysis))
    assert found is not None
    assert (found.best, found.worst) == (1, 2)
    assert [one["i"] for one in found.reps] == [1, 2, 3], "a failed one has no way up to compare"


def test_the_steps_are_the_same_moments_of_each_rep() -> None:
    analysis = analyse(Coached(course=reps(1) + rep(down_s=3.0)).tracks("side"))
    found = compared(analysis, series_of(analysis))
    assert found is not None
    for one, result in zip(found.reps, analysis.reps, strict=True):
        assert len(one["t"]) == len(one["v"]["elbow_deg"]) == STEPS + 1
        assert one["t"][0] == pytest.approx(result.rep.start_s, abs=0.01)
        assert one["t"][STEPS // 3] == pytest.approx(result.rep.bottom_start_s, abs=0.01)
        assert one["t"][-1] == pytest.approx(result.rep.top_s, abs=0.01)


def test_one_rep_is_compared_with_none() -> None:
    analysis = analyse(Coached(course=reps(1)).tracks("side"))
    assert compared(analysis, series_of(analysis)) is None
