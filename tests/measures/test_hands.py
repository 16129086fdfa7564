"""Hand spacing over biacromial distance."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.measures.hands import hand_spacing
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from tests.filmed import look_of
from tests.measures.handmade import OBLIQUE, REAR, REP, SIDE, drawn, look_at
from tests.pinhole import Camera, PushUpSet
from tests.truth.truth import read_truth

DATA = Path(__file__).parents[1] / "data"


def spacings(track: PoseTrack) -> list[float]:
    look = look_of(track)
    assert look.signals.body is not None
    return [hand_spacing(look, rep).value for rep in look.reps]


@pytest.mark.usefixtures("exact_joints")
@pytest.mark.parametrize("asked", [0.5, 0.8, 1.0, 1.35, 1.8])
@pytest.mark.parametrize("height", [0.4, 2.2])
def test_spacing_is_the_prescribed_one_from_a_low_and_a_high_camera(
    asked: float, height: float
) -> None:
    track = PushUpSet(hand_spacing=asked).film(Camera(height=height))
    assert spacings(track) == pytest.approx([asked] * 3, abs=0.06)


@pytest.mark.usefixtures("exact_joints")
def test_shoulder_landmarks_that_sit_inside_the_joints_are_partly_made_good() -> None:
    track = PushUpSet().film(Camera())
    xy = track.xy_px.copy()
    left, right = INDEX["left_shoulder"], INDEX["right_shoulder"]
    inward = 0.06 * (xy[:, right] - xy[:, left])
    xy[:, left] += inward
    xy[:, right] -= inward
    seen = spacings(replace(track, xy_px=xy))
    naive = 1.35 / 0.88
    # Landmarks are trusted here as those of exact joints.
    assert abs(seen[0] - 1.35) < 0.8 * (naive - 1.35)


@pytest.mark.parametrize("name", ["clean_front", "close_front", "wide_front", "flared_pair_front"])
def test_spacing_on_rendered_front_clips(name: str) -> None:
    truth = read_truth(DATA / f"{name}.truth.json")
    seen = spacings(read_track(DATA / f"{name}.parquet"))
    expected = [rep.values["hand_spacing_ratio"] for rep in truth.reps]
    assert seen == pytest.approx(expected, abs=0.12)


def test_only_a_front_view_shows_how_far_apart_the_hands_are() -> None:
    for view in (SIDE, OBLIQUE, REAR):
        spacing = hand_spacing(look_at(drawn(), view), REP)
        assert not spacing.known and "from the front" in (spacing.reason or "")
