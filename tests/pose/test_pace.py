from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from formcheck.pose.follow import Poses
from formcheck.pose.pace import looked_at
from formcheck.pose.track import LANDMARKS

RATE_HZ = 15.0
SIZE = (640, 360)


def pose_at(height: float) -> Poses:
    """A body 1 wide that stands still but for its height, as shares of the picture."""
    pose = np.zeros((len(LANDMARKS), 6), dtype=np.float32)
    pose[:, 0] = np.linspace(0.0, 1.0, len(LANDMARKS))
    pose[:, 1] = height
    return pose


def looks_at(course: Callable[[float], float], duration_s: float = 8.0) -> tuple[list[float], int]:
    """The times looked at, and how many pictures there were."""
    times = np.arange(0.0, duration_s, 1 / RATE_HZ)
    found = list(looked_at(((t, course(t)) for t in times), pose_at, SIZE))
    np.testing.assert_allclose([t for t, _ in found], times)  # each once, in order
    for t_s, pose in found:
        assert pose is None or pose[0, 1] == pytest.approx(course(t_s))
    return [t for t, pose in found if pose is not None], len(times)


def test_who_rests_or_moves_steadily_is_looked_at_every_second_picture() -> None:
    for course in (lambda t: 0.5, lambda t: 0.05 * t):
        looks, pictures = looks_at(course)
        assert len(looks) == pytest.approx(pictures / 2, abs=4)


def test_a_fast_turn_is_looked_at_in_every_picture_before_and_after_it() -> None:
    looks, pictures = looks_at(lambda t: abs(t - 4.0) * 0.6)
    around = [t for t in np.arange(0, 8, 1 / RATE_HZ) if abs(t - 4.0) <= 1.5 / RATE_HZ]
    assert set(np.round(around, 6)) <= set(np.round(looks, 6))
    assert len(looks) < 0.6 * pictures


def test_fast_reps_are_looked_at_throughout() -> None:
    looks, pictures = looks_at(lambda t: 0.3 * np.cos(2 * np.pi * t))
    assert len(looks) > 0.9 * pictures


@pytest.mark.parametrize("pictures", range(6))
def test_the_last_picture_is_looked_at_however_many_there_are(pictures: int) -> None:
    found = list(looked_at(((n / RATE_HZ, 0.0) for n in range(pictures)), pose_at, SIZE))
    assert len(found) == pictures
    assert all(found[n][1] is not None for n in {0, pictures - 1} if pictures)


def test_nobody_in_the_picture_is_looked_for_every_second_time_and_found_at_once() -> None:
    def pose(height: float) -> Poses:
        return pose_at(height) if height > 0 else np.full((len(LANDMARKS), 6), np.nan, np.float32)

    times = np.arange(0.0, 8.0, 1 / RATE_HZ)
    come = (float(t >= 4.0) for t in times)
    looks = [t for t, p in looked_at(zip(times, come, strict=True), pose, SIZE) if p is not None]
    early = [t for t in looks if t < 3.5]
    assert len(early) == pytest.approx(3.5 * RATE_HZ / 2, abs=4)
    assert looks[-1] > 7.9 and 4.0 <= min(t for t in looks if t >= 4.0) < 4.0 + 1 / RATE_HZ + 1e-6
