from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from formcheck.clip.read import RgbImage, at_most
from formcheck.maths.arrays import FloatArray
from formcheck.pose.follow import Poses
from formcheck.pose.pace import looked_at
from formcheck.pose.track import INDEX, LANDMARKS

WIDTH, HEIGHT = 320, 160
TIMES_S = np.arange(0, 6.0, 1 / 30)
FULL_S = at_most(TIMES_S, 15.0)
Course = Callable[[float], float]  # how far the trunk has moved, px


def pose_at(moved_px: float, side: bool) -> Poses:
    """A body 240 px long from the side, or as wide as tall from the front."""
    pose = np.zeros((len(LANDMARKS), 6), dtype=np.float32)
    places = {"shoulder": (60, 60), "elbow": (60, 80), "wrist": (60, 100), "hip": (160, 70),
              "ankle": (280, 90)}  # fmt: skip
    pose[:, :2] = (160, 70)
    for name, (x, y) in places.items():
        moves = 0.0 if name in ("wrist", "ankle") else moved_px
        wide = 3 if side else 60
        pose[INDEX[f"left_{name}"], :2] = (x - wide, y + moves)
        pose[INDEX[f"right_{name}"], :2] = (x + wide, y + moves)
    pose[:, :2] /= (WIDTH, HEIGHT)
    return pose


def picture_of(moved_px: float, noise: float = 0.0, shake_px: int = 0) -> RgbImage:
    """A dark trunk on a bright wall with a pattern."""
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    grey = 170 + 30 * (columns // 40 % 2).astype(float)
    grey[(rows > 55 + moved_px) & (rows < 75 + moved_px) & (columns > 50) & (columns < 280)] = 60
    grey += np.random.default_rng(0).normal(0, noise, grey.shape) if noise else 0
    return np.repeat(np.roll(grey, shake_px, axis=1).astype(np.uint8)[..., None], 3, axis=2)


def looks_at(
    course: Course, side: bool = True, picture: Callable[[float], RgbImage] | None = None
) -> FloatArray:
    """The times looked at."""
    shown: list[tuple[RgbImage, float]] = []  # a pose belongs to the picture it is looked for in

    def showing(t_s: float) -> Callable[[], RgbImage]:
        def show() -> RgbImage:
            rgb = picture(t_s) if picture is not None else picture_of(course(t_s))
            shown.append((rgb, t_s))
            return rgb

        return show

    def look(rgb: RgbImage) -> Poses:
        at_s = next(t_s for one, t_s in shown if one is rgb)
        return pose_at(course(at_s), side)

    pictures = ((float(t_s), showing(float(t_s))) for t_s in TIMES_S)
    found = list(looked_at(pictures, look, FULL_S, (WIDTH, HEIGHT)))
    assert sorted(t_s for t_s, _ in found) == [float(t_s) for t_s in TIMES_S]  # each once
    looks = [(t_s, pose) for t_s, pose in found if pose is not None]
    for t_s, pose in looks:
        np.testing.assert_array_equal(pose, pose_at(course(t_s), side))
    times_s = np.array([t_s for t_s, _ in looks])
    assert (np.diff(times_s) > 0).all()
    assert times_s[0] == TIMES_S[0] and times_s[-1] == TIMES_S[-1]
    return times_s


def slow(t_s: float) -> float:
    """Down 24 px, a tenth of the body, and up, 2 s each way."""
    return float(12 * (1 - np.cos(np.pi * t_s / 2)))


def fast(t_s: float) -> float:
    return float(12 * (1 - np.cos(np.pi * t_s / 0.4)))


def stays_then_goes(t_s: float) -> float:
    return 0.0 if t_s < 3.0 else 30 * (t_s - 3.0)


def test_slow_movement_from_the_side_is_looked_at_ten_times_a_second() -> None:
    looks = looks_at(slow)
    moving = looks[(looks > 0.4) & (looks < 1.6)]
    np.testing.assert_allclose(np.diff(moving), 0.1, atol=1e-6)


def test_fast_movement_is_looked_at_at_the_full_rate() -> None:
    looks = looks_at(fast)
    assert len(looks) > 0.85 * len(FULL_S)


def test_any_movement_from_the_front_is_looked_at_at_the_full_rate() -> None:
    looks = looks_at(lambda t_s: 10 + 10 * t_s, side=False)
    np.testing.assert_allclose(looks[:-1], FULL_S[looks[-1] > FULL_S])


def test_what_does_not_move_is_looked_at_half_as_often() -> None:
    for side, usual_s in ((True, 0.1), (False, 1 / 15)):
        looks = looks_at(lambda t_s: 0.0, side)
        assert np.median(np.diff(looks)) == pytest.approx(2 * usual_s, abs=1e-3)
        assert np.diff(looks).max() < 0.2 + 1e-6


def test_what_begins_to_move_is_looked_at_as_it_was_before() -> None:
    for side in (True, False):
        looks = looks_at(stays_then_goes, side)
        begins = np.searchsorted(looks, 3.0 + 1e-9)
        assert looks[begins] - looks[begins - 1] < 0.1 + 1e-6


def test_noise_is_no_movement_and_a_camera_that_shakes_is() -> None:
    noisy = np.random.default_rng(3)

    def grainy(t_s: float) -> RgbImage:
        picture = picture_of(0.0).astype(float)
        grain = noisy.normal(0, 5.0, picture.shape)
        return np.clip(picture + grain, 0, 255).astype(np.uint8)

    def in_the_hand(t_s: float) -> RgbImage:
        return picture_of(0.0, shake_px=round(3 * np.sin(9 * t_s)))

    assert len(looks_at(lambda t_s: 0.0, picture=grainy)) < 6.0 * 6.5
    assert len(looks_at(lambda t_s: 0.0, picture=in_the_hand)) > 6.0 * 9.0


def test_who_comes_into_the_picture_is_found_within_a_fifth_of_a_second() -> None:
    def look(rgb: RgbImage) -> Poses:
        there = bool(rgb[65, 100, 0] < 100)
        return pose_at(0.0, True) if there else np.full((len(LANDMARKS), 6), np.nan, np.float32)

    pictures = ((float(t), lambda t=t: picture_of(0.0 if t >= 4.0 else 300.0)) for t in TIMES_S)
    found = [
        (t_s, pose)
        for t_s, pose in looked_at(pictures, look, FULL_S, (WIDTH, HEIGHT))
        if pose is not None
    ]
    early = [t_s for t_s, _ in found if t_s < 3.9]
    assert len(early) < 0.6 * 3.9 * 15
    seen_s = next(t_s for t_s, pose in found if np.isfinite(pose[0, 0]))
    assert seen_s < 4.0 + 0.2


@pytest.mark.parametrize("pictures", range(5))
def test_the_first_and_the_last_picture_are_looked_at_however_many_there_are(pictures: int) -> None:
    coming = ((n / 30, lambda: picture_of(0.0)) for n in range(pictures))
    full_s = at_most(np.arange(pictures) / 30, 15.0)
    found = list(looked_at(coming, lambda rgb: pose_at(0.0, True), full_s, (WIDTH, HEIGHT)))
    assert len(found) == pictures
    assert all(found[n][1] is not None for n in {0, pictures - 1} if pictures)
