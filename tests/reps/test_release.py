"""Hands that leave the floor at the bottom: the rep goes on, and a rest does not."""

from __future__ import annotations

import numpy as np
import pytest

from formcheck.reps.find import Rep, find_reps, release_remarks
from formcheck.reps.release import across_releases, with_releases
from tests.coached import Coached, rep
from tests.minimum_jerk import RATE_HZ


def found(off_s: float, first_bottom_deg: float = 70.0) -> list[Rep]:
    """Two reps; in the pause of the first the hands are off the floor for ``off_s``."""
    course = rep(first_bottom_deg, bottom_s=off_s + 1.0) + rep(70.0)
    done = Coached(course=course)
    t_s = np.arange(0.0, done.duration_s(), 1 / RATE_HZ)
    elbow = done.elbow_deg(t_s)
    left_s = done.lead_s + 1.5 + 0.5
    off = (t_s > left_s) & (t_s < left_s + off_s)
    elbow[off] = np.nan
    elbow, use, released = across_releases(t_s, elbow, ~off)
    return with_releases(find_reps(t_s, elbow, use, RATE_HZ, released), t_s, released)


@pytest.mark.parametrize("off_s", [0.6, 2.0, 5.0])
def test_a_release_is_a_pause_of_its_rep(off_s: float) -> None:
    first, second = found(off_s)
    assert first.bottom_pause_s == pytest.approx(off_s + 1.0, abs=0.35)
    assert first.released_s == pytest.approx(off_s, abs=0.7)
    assert second.released_s == 0.0
    assert first.bottom_s < 1.5 + 1.5 + 0.5, "depth is read before the hands leave"
    assert "rep 1" in release_remarks([first, second])[0]


def test_hands_off_the_floor_for_long_are_a_rest() -> None:
    assert [one.released_s for one in found(8.0)] == [0.0]


def test_who_leaves_with_straight_arms_released_nothing() -> None:
    assert not any(one.released_s for one in found(1.0, first_bottom_deg=150.0))
