from __future__ import annotations

import numpy as np
import numpy.typing as npt

from formcheck.pose.follow import changes_person, follow_the_set, people_apart
from formcheck.pose.track import INDEX

N = 90
T_S = np.arange(N) / 15

Poses = npt.NDArray[np.float32]


def body(x: float, y: float, size: float) -> Poses:
    """(33, 6) every point at the trunk, hands below it, feet to the right."""
    pose = np.zeros((33, 6), dtype=np.float32)
    pose[:, 0], pose[:, 1], pose[:, 2] = x, y, 1.0
    for name, (dx, dy) in {"wrist": (0.0, 0.5), "hip": (0.4, 0.0), "ankle": (1.0, 0.4)}.items():
        for side in ("left", "right"):
            pose[INDEX[f"{side}_{name}"], :2] = x + dx * size, y + dy * size
    return pose


def doing_push_ups(size: float = 0.4) -> Poses:
    """(N, 33, 6) hands stay, the rest goes down and up."""
    poses = []
    for t_s in T_S:
        pose = body(0.2, 0.5, size)
        drop = 0.15 * size * (1 - np.cos(2 * np.pi * t_s / 2)) / 2
        hands = [INDEX["left_wrist"], INDEX["right_wrist"]]
        kept = pose[hands].copy()
        pose[:, 1] += drop
        pose[hands] = kept
        poses.append(pose)
    return np.stack(poses)


def walking_by() -> Poses:
    return np.stack([body(0.1 + 0.8 * n / N, 0.3 + 0.01 * np.sin(n), 0.3) for n in range(N)])


def standing(size: float = 0.5) -> Poses:
    return np.stack([body(0.7, 0.2, size)] * N)


def nobody() -> Poses:
    return np.full((N, 33, 6), np.nan, dtype=np.float32)


def together(*people: Poses) -> Poses:
    return np.stack(people, axis=1)


def test_the_person_pressing_is_followed_past_a_taller_one_standing() -> None:
    chosen, notes = follow_the_set(together(standing(), doing_push_ups()))
    np.testing.assert_array_equal(chosen, doing_push_ups())
    assert "2 people are in frame" in notes[0]


def test_the_person_pressing_is_followed_past_one_walking_by() -> None:
    chosen, _ = follow_the_set(together(walking_by(), doing_push_ups(0.3)))
    np.testing.assert_array_equal(chosen, doing_push_ups(0.3))


def test_the_order_in_which_people_are_found_does_not_matter() -> None:
    finds = together(standing(), doing_push_ups())
    finds[::2] = finds[::2, ::-1]
    np.testing.assert_array_equal(follow_the_set(finds)[0], doing_push_ups())


def test_a_person_alone_is_no_remark() -> None:
    finds = together(doing_push_ups(), nobody())
    finds[40:42, 1] = standing()[40:42]  # a mistaken find, for two pictures
    chosen, notes = follow_the_set(finds)
    np.testing.assert_array_equal(chosen, doing_push_ups())
    assert notes == ()


def test_pictures_without_the_person_stay_empty() -> None:
    finds = together(doing_push_ups(), standing())
    finds[30:40, 0] = np.nan
    chosen, _ = follow_the_set(finds)
    assert np.isnan(chosen[30:40]).all()
    np.testing.assert_array_equal(chosen[40:], doing_push_ups()[40:])


def test_nobody_at_all_gives_an_empty_track() -> None:
    chosen, notes = follow_the_set(together(nobody(), nobody()))
    assert chosen.shape == (N, 33, 6) and np.isnan(chosen).all() and notes == ()


def test_one_body_found_twice_counts_once() -> None:
    twice = np.stack([body(0.2, 0.5, 0.4), body(0.21, 0.5, 0.4)])
    assert people_apart(twice) == 1
    assert people_apart(np.stack([body(0.2, 0.5, 0.3), body(0.6, 0.5, 0.3)])) == 2
    assert people_apart(nobody()[:2]) == 0


def test_a_leap_to_another_body_is_noticed_and_fast_push_ups_are_not() -> None:
    assert not changes_person(T_S, doing_push_ups())
    leap = doing_push_ups()
    leap[50:] = standing()[50:]
    assert changes_person(T_S, leap)
    lost_and_found = leap.copy()
    lost_and_found[40:60] = np.nan  # time enough to have walked there
    assert not changes_person(T_S, lost_and_found)
