"""Which view a track shows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.signals.view import evenly, lies_turned, push_up_frames, recognise_view
from tests.pinhole import Camera, PushUpSet
from tests.truth.truth import read_truth

DATA = Path(__file__).parents[1] / "data"
CLIPS = sorted(path.stem for path in DATA.glob("*.parquet"))
assert CLIPS, "else the test of every clip would be skipped unseen"
SIDE_ON = (-1.1, 0.5)  # where a camera beside the person is aimed


@pytest.mark.parametrize("name", CLIPS)
def test_every_rendered_clip_shows_the_view_it_was_filmed_from(name: str) -> None:
    truth = read_truth(DATA / f"{name}.truth.json")
    view = recognise_view(read_track(DATA / f"{name}.parquet"))
    assert view.kind == truth.view
    assert view.near_side == (None if truth.view == "front" else truth.near_side)


@pytest.mark.parametrize(
    ("yaw_deg", "kind", "near_side"),
    [
        (0.0, "side", "left"),
        (180.0, "side", "right"),
        (15.0, "side", "left"),
        (-15.0, "side", "left"),
        (165.0, "side", "right"),
        (30.0, "oblique", "left"),
        (-35.0, "oblique", "left"),
        (60.0, "oblique", "left"),
        (135.0, "oblique", "right"),
        (75.0, "front", None),
        (105.0, "front", None),
        (-90.0, "rear", None),
    ],
)
@pytest.mark.parametrize("roll_deg", [0.0, 12.0])
def test_the_cameras_yaw_decides_the_view_whatever_its_roll(
    yaw_deg: float, kind: str, near_side: str | None, roll_deg: float
) -> None:
    camera = Camera(yaw_deg=yaw_deg, aim=SIDE_ON, distance=6.5, roll_deg=roll_deg)
    view = recognise_view(PushUpSet().film(camera, noise_px=1.0))
    assert (view.kind, view.near_side) == (kind, near_side)
    folded = yaw_deg if yaw_deg <= 90 else 180 - yaw_deg
    assert view.yaw_deg == pytest.approx(folded, abs=8.0)


def test_a_portrait_picture_shows_the_same_view() -> None:
    upright = Camera(yaw_deg=0.0, aim=SIDE_ON, distance=9.0, width=720, height_px=1280)
    assert recognise_view(PushUpSet().film(upright)).kind == "side"


def test_kneeling_up_before_the_set_changes_nothing() -> None:
    track = PushUpSet().film(Camera(yaw_deg=0.0, aim=SIDE_ON))
    kneeling = _standing_with_hanging_arms(track, frames=150)
    view = recognise_view(kneeling)
    assert (view.kind, view.near_side) == ("side", "left")
    assert not push_up_frames(kneeling)[:150].any()
    assert push_up_frames(kneeling)[150:].all()


@pytest.mark.parametrize(("hips_follow", "push_up"), [(0.55, True), (1.0, False)])
def test_hands_raised_high_are_known_from_before_the_head_and_a_dip_is_not(
    hips_follow: float, push_up: bool
) -> None:
    """The trunk hangs along the arms in both; between bars the hips go down with the shoulders."""
    filmed = PushUpSet().film(Camera())
    down = 15 * (1 - np.cos(2 * np.pi * filmed.t_s / 3)) / 2
    xy = np.full_like(filmed.xy_px, np.nan)
    for name, aside, y, follows in (
        ("shoulder", 20, 155, 1.0), ("elbow", 22, 182, 0.5), ("wrist", 14, 206, 0.0),
        ("hip", 10, 208, hips_follow), ("knee", 8, 250, 0.2), ("ankle", 8, 285, 0.0),
    ):  # fmt: skip
        for side, sign in (("left", 1), ("right", -1)):
            xy[:, INDEX[f"{side}_{name}"], 0] = 330 + sign * aside
            xy[:, INDEX[f"{side}_{name}"], 1] = y + follows * down
    track = replace(filmed, xy_px=xy)
    assert push_up_frames(track).any() == push_up
    assert not push_up or recognise_view(track).kind == "front"


def test_what_is_looked_at_more_seldom_counts_for_as_long_as_it_lasts() -> None:
    track = PushUpSet().film(Camera(yaw_deg=0.0, aim=SIDE_ON), fps=15.0)
    np.testing.assert_array_equal(evenly(track).xy_px, track.xy_px)
    seldom = np.flatnonzero((track.t_s < 4.0) | (np.arange(len(track.t_s)) % 3 == 0))
    uneven = replace(
        track,
        t_s=track.t_s[seldom],
        xy_px=track.xy_px[seldom],
        visibility=track.visibility[seldom],
    )
    even = evenly(uneven)
    assert abs(len(even.t_s) - len(track.t_s)) <= 3  # the last looks may be left out
    early = (even.t_s < 4.0).mean()
    assert early == pytest.approx((track.t_s < 4.0).mean(), abs=0.03)


def test_a_track_without_a_person_has_no_near_side() -> None:
    track = PushUpSet().film(Camera())
    empty = replace(track, xy_px=np.full_like(track.xy_px, np.nan))
    assert recognise_view(empty).near_side is None


def _standing_with_hanging_arms(track: PoseTrack, frames: int) -> PoseTrack:
    """The set with someone upright before it: trunk and arms hang down together, side on."""
    upright = np.full((frames, *track.xy_px.shape[1:]), np.nan)
    for name, x, y in (
        ("shoulder", 500, 150), ("elbow", 505, 240), ("wrist", 505, 330), ("hip", 500, 330),
        ("knee", 500, 480), ("ankle", 560, 500),
    ):  # fmt: skip
        for side, aside in (("left", 0), ("right", 60)):
            upright[:, INDEX[f"{side}_{name}"]] = (x + aside, y)
    xy = np.concatenate([upright, track.xy_px])
    t_s = np.arange(len(xy)) / track.fps
    return replace(
        track,
        xy_px=xy,
        t_s=t_s,
        frames=len(xy),
        visibility=np.where(np.isfinite(xy[..., 0]), 1, 0.0),
    )


def turned(track: PoseTrack, quarters: int) -> PoseTrack:
    """The picture turned clockwise by quarters."""
    xy, width, height = track.xy_px, track.width, track.height
    for _ in range(quarters):
        xy = np.stack([height - xy[..., 1], xy[..., 0]], axis=-1)
        width, height = height, width
    return replace(track, xy_px=xy, width=width, height=height)


@pytest.mark.parametrize("name", CLIPS)
def test_a_picture_that_is_not_upright_is_told_from_one_that_is(name: str) -> None:
    track = read_track(DATA / f"{name}.parquet")
    view = recognise_view(track)
    assert not lies_turned(track, view)
    if view.from_side:
        told = [lies_turned(t, recognise_view(t)) for t in (turned(track, n) for n in (1, 2, 3))]
        # Turned head up, it looks like a push-up against a wall.
        assert told[1] and told[0] != told[2]
