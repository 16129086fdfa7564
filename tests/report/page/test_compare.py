"""Two reps laid over each other: the same moments of both."""

from __future__ import annotations

import pytest

from formcheck.analysis import analyse
from formcheck.report.page.compare import STEPS, compared
from formcheck.report.page.curves import series_of
from formcheck.report.targets import targets_of
from tests.coached import SINKS_BACK, STAYS_DOWN, Coached, rep, reps


def test_best_and_worst_stand_first_and_every_whole_rep_can_be_chosen() -> None:
    course = reps(1) + rep(bottom_deg=115.0) + rep() + STAYS_DOWN
    analysis = analyse(Coached(course=course).tracks("side"))
    found = compared(analysis, series_of(analysis), targets_of(analysis))
    assert found is not None
    assert (found.best, found.worst) == (1, 2)
    assert [one["i"] for one in found.reps] == [1, 2, 3], "a failed one has no way up to compare"


def test_a_press_that_failed_is_laid_over_the_best_rep() -> None:
    analysis = analyse(Coached(course=reps(2) + SINKS_BACK).tracks("side"))
    found = compared(analysis, series_of(analysis), targets_of(analysis))
    assert found is not None
    assert (found.worst, found.alike) == (3, False)


def test_small_changes_are_not_blown_up_to_the_height_of_the_picture() -> None:
    analysis = analyse(Coached(course=reps(2)).tracks("side"))
    found = compared(analysis, series_of(analysis), targets_of(analysis))
    assert found is not None and found.alike
    rows = {row["key"]: row for row in found.rows}
    # A straight line stays within its limits, which are drawn: common practice, 12 and -15 degrees.
    assert rows["body_line_deg"]["low"] < -15.0 and rows["body_line_deg"]["high"] > 12.0
    assert [limit for limit, _ in rows["elbow_deg"]["limits"]] == [90.0, 160.0]


def test_the_steps_are_the_same_moments_of_each_rep() -> None:
    analysis = analyse(Coached(course=reps(1) + rep(down_s=3.0)).tracks("side"))
    found = compared(analysis, series_of(analysis), targets_of(analysis))
    assert found is not None
    for one, result in zip(found.reps, analysis.reps, strict=True):
        assert len(one["t"]) == len(one["v"]["elbow_deg"]) == STEPS + 1
        assert one["t"][0] == pytest.approx(result.rep.start_s, abs=0.01)
        assert one["t"][STEPS // 3] == pytest.approx(result.rep.bottom_start_s, abs=0.01)
        assert one["t"][-1] == pytest.approx(result.rep.top_s, abs=0.01)


def test_one_rep_is_compared_with_none() -> None:
    analysis = analyse(Coached(course=reps(1)).tracks("side"))
    assert compared(analysis, series_of(analysis), targets_of(analysis)) is None
