"""One bend and straightening after the other, in whatever curve shows them."""

from __future__ import annotations

import numpy as np
import pytest

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.signals.bends import Bend, bends
from tests.minimum_jerk import RATE_HZ, Once, elbow_curve

LEAST_DEG = 25.0


def bends_in(
    curve: FloatArray, use: BoolArray | None = None, least: float = LEAST_DEG
) -> list[Bend]:
    return bends(curve, np.ones(len(curve), dtype=bool) if use is None else use, RATE_HZ, least)


def test_each_bend_runs_from_the_highest_before_over_the_lowest_to_the_highest_after() -> None:
    t_s = np.arange(0, 9.0, 1 / RATE_HZ)
    swings = 125.0 + 45.0 * np.cos(2 * np.pi * t_s / 3.0)  # high at 0, 3, 6, 9 s
    found = bends_in(swings)
    assert [t_s[bend.bottom] for bend in found] == pytest.approx([1.5, 4.5, 7.5], abs=0.04)
    assert [t_s[bend.start] for bend in found] == pytest.approx([0.0, 3.0, 6.0], abs=0.04)
    assert [t_s[bend.end] for bend in found] == pytest.approx([3.0, 6.0, 9.0], abs=0.04)


def test_two_bends_share_the_top_between_them_and_never_overlap() -> None:
    _, elbow = elbow_curve([Once(), Once(top_s=0.0), Once(bottom_deg=110.0)])
    found = bends_in(elbow)
    assert len(found) == 3
    moments = [moment for bend in found for moment in (bend.start, bend.bottom, bend.end)]
    assert moments == sorted(moments)


@pytest.mark.parametrize(("deep_deg", "found"), [(LEAST_DEG - 2, 0), (LEAST_DEG + 2, 1)])
def test_a_dip_smaller_than_asked_for_is_no_bend(deep_deg: float, found: int) -> None:
    _, elbow = elbow_curve([Once(bottom_deg=170.0 - deep_deg)])
    assert len(bends_in(elbow)) == found


def test_a_dip_that_hardly_comes_back_up_is_no_bend() -> None:
    _, elbow = elbow_curve([Once(bottom_deg=85.0, top_deg=85.0 + LEAST_DEG - 3)])
    assert bends_in(elbow) == []


def test_half_a_bend_at_either_end_of_the_clip_is_left_out() -> None:
    t_s, elbow = elbow_curve([Once()] * 3)
    begun, over = (t_s > 4.2), (t_s < 2.0 + 2 * 4.0 + 1.6)  # pressing up; held at the bottom
    assert len(bends_in(elbow[begun])) == 2
    assert len(bends_in(elbow[over])) == 2


def test_bends_are_looked_for_only_where_the_curve_is_used() -> None:
    t_s, elbow = elbow_curve([Once()] * 3)
    use = (t_s < 6.0) | (t_s > 10.0)  # not during the second
    found = bends_in(elbow, use)
    assert len(found) == 2
    assert all(use[bend.start : bend.end + 1].all() for bend in found)


def test_no_bend_reaches_across_a_stretch_that_was_not_seen() -> None:
    t_s, elbow = elbow_curve([Once()] * 3)
    elbow[(t_s > 7.0) & (t_s < 8.5)] = np.nan  # the bottom of the second
    found = bends_in(elbow)
    assert len(found) == 2
    assert all(np.isfinite(elbow[bend.start : bend.end + 1]).all() for bend in found)


def test_any_curve_that_shows_bending_will_do() -> None:
    """The distance from shoulder to hand, in arm lengths, falls and rises with the elbow angle."""
    _, elbow = elbow_curve([Once()] * 4)
    reach = np.sin(np.radians(elbow / 2))
    assert [b.bottom for b in bends_in(reach, least=0.1)] == pytest.approx(
        [b.bottom for b in bends_in(elbow)], abs=3
    )


def test_jitter_makes_no_bends() -> None:
    t_s, elbow = elbow_curve([Once()] * 3)
    jitter = np.random.default_rng(4).normal(0.0, 4.0, len(t_s))
    assert len(bends_in(elbow + jitter)) == 3


def test_nothing_seen_and_nothing_used_hold_no_bend() -> None:
    _, elbow = elbow_curve([Once()] * 2)
    assert bends_in(np.full(len(elbow), np.nan)) == []
    assert bends_in(elbow, np.zeros(len(elbow), dtype=bool)) == []
