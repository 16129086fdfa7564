from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.maths.arrays import FloatArray
from formcheck.pose.follow import (
    WINDOWS,
    Region,
    changes_person,
    close_around,
    doing_the_set,
    found_up_close,
    people_apart,
    strays,
)
from formcheck.pose.track import INDEX, LANDMARKS

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


def looks(*people: Poses, every: int = 4) -> list[Poses]:
    """What looks at every fourth picture find, (K, 33, 6) each; NaN people are absent."""
    together = np.stack(people, axis=1)[::every]
    return [finds[np.isfinite(finds[:, 0, 0])] for finds in together]


def holds(region: Region | None, person: Poses) -> bool:
    assert region is not None
    xy = person[..., :2]
    inside = (xy >= [region.left, region.top]) & (xy <= [region.right, region.bottom])
    return bool(inside.all())


def test_the_person_pressing_is_followed_past_a_taller_one_standing() -> None:
    region, notes = doing_the_set(looks(standing(), doing_push_ups()))
    assert holds(region, doing_push_ups()) and not holds(region, standing())
    assert "2 people are in frame" in notes[0]


def test_the_person_pressing_is_followed_past_one_walking_by() -> None:
    region, _ = doing_the_set(looks(walking_by(), doing_push_ups(0.3)))
    assert holds(region, doing_push_ups(0.3)) and not holds(region, walking_by())


def test_the_order_in_which_people_are_found_does_not_matter() -> None:
    seen = looks(standing(), doing_push_ups())
    turned = [finds[::-1] if n % 2 else finds for n, finds in enumerate(seen)]
    assert doing_the_set(turned) == doing_the_set(seen)


def test_a_person_alone_or_with_one_mistaken_find_needs_no_region() -> None:
    chair = np.full((N, 33, 6), np.nan, dtype=np.float32)
    chair[40:44] = standing()[40:44]
    assert doing_the_set(looks(doing_push_ups(), chair)) == (None, ())
    assert doing_the_set([finds[:0] for finds in looks(chair)]) == (None, ())


def test_a_region_is_cut_out_and_its_points_put_back() -> None:
    region = Region(0.5, 0.25, 1.0, 0.75)
    picture = np.arange(8 * 12 * 3, dtype=np.uint8).reshape(8, 12, 3)
    cut = region.cut(picture)
    assert cut.shape == (4, 6, 3) and cut.flags["C_CONTIGUOUS"]
    assert (cut[0, 0] == picture[2, 6]).all()
    whole = region.to_whole(body(0.5, 0.5, 0.0))
    assert whole[0, :2].tolist() == [0.75, 0.5]


def test_one_body_found_twice_counts_once() -> None:
    twice = np.stack([body(0.2, 0.5, 0.4), body(0.21, 0.5, 0.4)])
    assert len(people_apart(twice)) == 1
    assert len(people_apart(np.stack([body(0.2, 0.5, 0.3), body(0.6, 0.5, 0.3)]))) == 2
    assert len(people_apart(twice[:0])) == 0


def test_small_or_hardly_visible_finds_are_not_people() -> None:
    small = np.stack([body(0.2, 0.5, 0.4), body(0.8, 0.5, 0.1)])
    assert len(people_apart(small)) == 1
    hidden = np.stack([body(0.2, 0.5, 0.4), body(0.8, 0.5, 0.4)])
    hidden[1, :, 2] = 0.4
    assert len(people_apart(hidden)) == 1


def test_a_leap_to_another_body_is_noticed_and_fast_push_ups_are_not() -> None:
    assert not changes_person(T_S, doing_push_ups())
    leap = doing_push_ups()
    leap[50:] = standing()[50:]
    assert changes_person(T_S, leap)
    lost_and_found = leap.copy()
    lost_and_found[40:60] = np.nan  # time enough to have walked there
    assert not changes_person(T_S, lost_and_found)


def test_who_is_found_in_windows_is_looked_for_there_with_room_around() -> None:
    small = doing_push_ups(0.1)
    region = found_up_close(looks(small))
    assert holds(region, small) and region is not None
    assert region.right - region.left < 0.5


def test_a_mistaken_find_in_a_window_is_nobody() -> None:
    chair = np.full((N, 33, 6), np.nan, dtype=np.float32)
    chair[40:60] = standing()[40:60]
    assert found_up_close(looks(chair)) is None
    assert found_up_close([]) is None


def test_windows_leave_no_part_of_the_picture_out() -> None:
    """And nobody of less than a quarter of it is cut by all of them."""
    for x, y in np.ndindex(4, 4):
        corners = [(x / 4, y / 4), (x / 4 + 0.25, y / 4 + 0.25)]
        assert any(
            all(w.left <= cx <= w.right and w.top <= cy <= w.bottom for cx, cy in corners)
            for w in WINDOWS
        )


def a_track(looks: int = 40) -> tuple[FloatArray, Poses]:
    """Somebody 0.2 of a square picture large, who goes down and up by a third of that in a second,
    looked at fifteen times a second."""
    t_s = np.arange(looks) / 15
    pose = np.zeros((looks, len(LANDMARKS), 6), dtype=np.float32)
    pose[..., :2] = np.linspace((0.4, 0.4), (0.54, 0.54), len(LANDMARKS))
    pose[..., 1] += (0.03 * (1 - np.cos(2 * np.pi * t_s)))[:, None]
    return t_s, pose


def test_a_body_that_moves_does_not_stray_and_one_that_jumps_or_is_lost_does() -> None:
    size = (1000, 1000)
    t_s, poses = a_track()
    assert strays(t_s, poses, size) == (0, 0)
    late = poses.copy()
    late[:5] = late[-5:] = np.nan  # comes late, goes early
    assert strays(t_s, late, size) == (0, 0)
    jumps = poses.copy()
    jumps[10:20, INDEX["left_shoulder"], 0] += 0.06  # there and back
    assert strays(t_s, jumps, size) == (2, 0)
    lost = poses.copy()
    lost[10:13] = np.nan
    assert strays(t_s, lost, size) == (0, 3)
    elsewhere = lost.copy()
    elsewhere[13:, :, 0] -= 0.2
    assert strays(t_s, elsewhere, size) == (1, 3)
    assert strays(t_s, np.full_like(poses, np.nan), size) == (0, 0)


def test_the_closer_look_is_a_square_around_who_is_small_and_none_around_who_is_large() -> None:
    _, poses = a_track()
    region = close_around(poses, (1000, 500))
    assert region is not None
    wide, tall = 1000 * (region.right - region.left), 500 * (region.bottom - region.top)
    assert wide == pytest.approx(tall)
    assert region.left < 0.4 < 0.54 < region.right
    assert region.top < 0.4 and region.bottom > 0.6
    poses[..., :2] = 0.5 + 4 * (poses[..., :2] - 0.5)
    assert close_around(poses, (1000, 500)) is None


def test_the_closer_look_leaves_out_who_stands_before_the_set() -> None:
    does = doing_push_ups(size=0.2)
    stands = does[:20].copy()
    stands[:, :, 1] = np.linspace(0.05, 0.9, 33)
    for side in ("left", "right"):
        stands[:, INDEX[f"{side}_wrist"], 1] = stands[:, INDEX[f"{side}_hip"], 1]
    size = (1000, 1000)
    assert close_around(does, size) is not None
    assert close_around(np.concatenate([stands, does]), size) == close_around(does, size)
