"""Both arms in space from the front."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from formcheck.pose.store import read_track
from formcheck.pose.track import LANDMARKS, PoseTrack
from formcheck.signals.front_arms import (
    SHOULDER_TO_ANKLE,
    SHOULDER_TO_HIP,
    SHOULDER_TO_KNEE,
    FrontScene,
    front_scene,
)
from tests.filmed import look_of
from tests.pinhole import Camera, PushUpSet
from tests.truth.truth import read_truth

DATA = Path(__file__).parents[1] / "data"
FRONT_CLIPS = ("clean_front", "close_front", "wide_front", "flared_pair_front")


def scene_of(track: PoseTrack) -> FrontScene:
    points = {name: track.xy(name) for name in LANDMARKS if np.isfinite(track.xy(name)).all()}
    return front_scene(points, np.ones(len(track.t_s), dtype=bool), track.width, track.height)


@pytest.mark.parametrize("height", [0.5, 1.2, 2.2])
@pytest.mark.parametrize("bottom_deg", [70.0, 95.0, 120.0])
def test_the_bottom_elbow_angle_is_seen_from_any_camera_height(
    height: float, bottom_deg: float
) -> None:
    filmed = PushUpSet(bottoms_deg=(bottom_deg,) * 3)
    track = filmed.film(Camera(height=height))
    angle = scene_of(track).both_elbows_deg
    at_bottom = np.interp(filmed.bottoms_s(), track.t_s, angle)
    assert at_bottom == pytest.approx(bottom_deg, abs=3.0)


def test_an_arm_straight_but_for_ten_degrees_reads_straight() -> None:
    assert np.median(scene_of(PushUpSet().film(Camera())).both_elbows_deg[:30]) == pytest.approx(
        170.0, abs=4.0
    )


def test_elbows_never_straightened_are_not_taken_for_straight() -> None:
    soft = scene_of(PushUpSet(top_deg=145.0).film(Camera()))
    assert np.median(soft.both_elbows_deg[:30]) < 162.0


def test_one_arm_that_bends_less_is_told_from_the_other() -> None:
    filmed = PushUpSet(right_bend_less_deg=20.0)
    track = filmed.film(Camera())
    scene = scene_of(track)
    apart = scene.elbow_deg["right"] - scene.elbow_deg["left"]
    assert np.interp(filmed.bottoms_s(), track.t_s, apart) == pytest.approx(20.0, abs=4.0)


def test_the_camera_is_found_again() -> None:
    scene = scene_of(PushUpSet().film(Camera(yaw_deg=80.0, height=2.0, aim=(0.0, 0.7))))
    assert scene.yaw_deg == pytest.approx(10.0, abs=4.0)
    assert scene.pitch_deg == pytest.approx(np.degrees(np.arctan(1.3 / 4.8)), abs=4.0)


def test_raised_hands_are_placed_right_when_they_are_known() -> None:
    filmed = PushUpSet()
    track = filmed.film(Camera())
    points = {name: track.xy(name) for name in LANDMARKS if np.isfinite(track.xy(name)).all()}
    everywhere = np.ones(len(track.t_s), dtype=bool)
    floor = front_scene(points, everywhere, track.width, track.height)
    raised = front_scene(points, everywhere, track.width, track.height, hands_above_feet=0.8)
    # The same picture with lower feet is a camera that looks further down.
    assert raised.pitch_deg > floor.pitch_deg + 5.0


def test_hidden_ankles_and_hips_leave_the_elbows_readable() -> None:
    filmed = PushUpSet()
    track = filmed.film(Camera())
    points = {
        f"{side}_{joint}": track.xy(f"{side}_{joint}")
        for side in ("left", "right")
        for joint in ("shoulder", "elbow", "wrist")
    }
    scene = front_scene(points, np.ones(len(track.t_s), dtype=bool), track.width, track.height)
    at_bottom = np.interp(filmed.bottoms_s(), track.t_s, scene.both_elbows_deg)
    assert at_bottom == pytest.approx(80.0, abs=5.0)


@pytest.mark.parametrize("name", FRONT_CLIPS)
def test_every_rep_of_a_rendered_front_clip_is_found_with_its_depth(name: str) -> None:
    truth = read_truth(DATA / f"{name}.truth.json")
    look = look_of(read_track(DATA / f"{name}.parquet"))
    assert len(look.reps) == len(truth.reps)
    signals = look.signals
    bottoms = [np.interp(rep.bottom_s, signals.t_s, signals.elbow_deg) for rep in look.reps]
    expected = [rep.values["elbow_bottom_deg"] for rep in truth.reps]
    assert np.mean(np.abs(np.subtract(bottoms, expected))) < 5.0


def test_a_hidden_arm_leaves_everything_unknown_instead_of_guessed() -> None:
    track = PushUpSet().film(Camera())
    points = {name: track.xy(name).copy() for name in LANDMARKS}
    points["right_wrist"][:] = np.nan
    scene = front_scene(points, np.ones(len(track.t_s), dtype=bool), track.width, track.height)
    assert np.isnan(scene.both_elbows_deg).all()
    assert not scene.top.any()


def test_the_body_proportions_assumed_lie_within_published_ones() -> None:
    # Trunk (mid shoulder to mid hip), thigh, shank between joint centres over upper arm plus
    # forearm: de Leva, J Biomech 1996;29:1223-1230, table 4, women and men (mm).
    women = (497.9 + 368.5 + 438.6) / (275.1 + 264.3)
    men = (515.5 + 422.2 + 440.3) / (281.7 + 268.9)
    assert women - 0.1 < SHOULDER_TO_ANKLE < men + 0.1
    assert pytest.approx((515.5 + 422.2) / (281.7 + 268.9), abs=0.1) == SHOULDER_TO_KNEE
    assert pytest.approx(515.5 / (281.7 + 268.9), abs=0.1) == SHOULDER_TO_HIP
