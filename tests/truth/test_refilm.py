"""The changed recordings keep what they should keep."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack
from tests.truth import refilm
from tests.truth.truth import read_truth

CAMERA = refilm.Camera(np.array([0.8, 3.0, 0.6]), np.array([0.8, 0.0, 0.6]), fov_deg=40.0)


def a_track(xy: np.ndarray) -> PoseTrack:
    return PoseTrack(
        t_s=np.arange(len(xy)) / 30,
        xy_px=xy,
        visibility=np.ones(xy.shape[:2]),
        world_m=None,
        width=640,
        height=360,
        fps=30.0,
        duration_s=len(xy) / 30,
        frames=len(xy),
        source_name="made up",
    )


def test_the_target_is_the_middle_of_the_picture_and_up_is_up() -> None:
    middle = CAMERA.project(np.array([0.8, 0.0, 0.6]), 640, 360)
    above = CAMERA.project(np.array([0.8, 0.0, 0.8]), 640, 360)
    assert middle == pytest.approx((320, 180))
    assert above[0] == pytest.approx(320) and above[1] < 180


def test_a_camera_further_off_keeps_the_size_at_the_target() -> None:
    further = CAMERA.moved(nearer=0.5)
    assert np.linalg.norm(further.eye - further.target) == pytest.approx(6.0)
    assert further.scale(360) == pytest.approx(CAMERA.scale(360))


def test_the_same_camera_gives_back_the_track() -> None:
    rng = np.random.default_rng(1)
    track = a_track(rng.uniform(0, 300, (5, len(LANDMARKS), 2)))
    joints = {name: rng.uniform(0, 1, (5, 3)) for name in ("left_hip", "left_ankle")}
    again = refilm.refilmed(track, joints, CAMERA, CAMERA)
    for name in ("left_hip", "left_ankle", "left_heel"):
        assert again.xy(name) == pytest.approx(track.xy(name))
    assert np.isnan(again.xy("nose")).all(), "no exact truth, nothing to follow"


def test_projection_agrees_with_the_pixels_of_the_rendered_truth() -> None:
    import json

    import pandas as pd

    folder = Path(__file__).parents[2] / "sample_clips"
    truth = json.loads((folder / "hip_sag_side.truth.json").read_text())
    camera = refilm.Camera(
        np.array(truth["camera"]["eye"]), np.array(truth["camera"]["target"]),
        truth["camera"]["fov"], truth["camera"]["roll"],
    )  # fmt: skip
    table = pd.read_csv(folder / "hip_sag_side.truth.csv")
    joints = refilm.read_joints(folder / "hip_sag_side.truth.csv", table["t"].to_numpy())
    projected = camera.project(joints["left_wrist"], truth["width"], truth["height"])
    exact = table[["left_wrist_x", "left_wrist_y"]].to_numpy()
    assert np.abs(projected - exact).max() < 0.1


def test_mirroring_swaps_the_sides() -> None:
    xy = np.zeros((2, len(LANDMARKS), 2))
    xy[:, INDEX["left_wrist"]] = (100, 50)
    assert refilm.mirrored(a_track(xy)).xy("right_wrist")[0] == pytest.approx((540, 50))
    truth = read_truth(Path(__file__).parents[2] / "sample_clips" / "flared_pair_side.truth.json")
    other = refilm.mirrored_truth(truth)
    assert other.near_side == "right"
    assert (
        other.reps[0].values["elbow_flare_right_deg"]
        == truth.reps[0].values["elbow_flare_left_deg"]
    )


def test_a_set_half_as_fast_takes_twice_as_long() -> None:
    xy = np.linspace(0, 1, 31)[:, None, None] * np.ones((31, len(LANDMARKS), 2))
    slow = refilm.slowed(a_track(xy), 2.0)
    assert slow.t_s[-1] == pytest.approx(2.0)
    assert slow.xy("nose")[-1, 0] == pytest.approx(1.0)


def test_a_longer_hold_moves_what_comes_after_it() -> None:
    xy = np.arange(61.0)[:, None, None] * np.ones((61, len(LANDMARKS), 2))
    longer, done = refilm.spliced(a_track(xy), [refilm.Splice(1.0, 0.5), refilm.Splice(1.5, -0.2)])
    assert longer.t_s[-1] == pytest.approx(2.0 + 0.5 - 0.2)
    assert sorted(round(one.longer_s, 6) for one in done) == [-0.2, 0.5]
    assert np.abs(longer.xy("nose")[30:45, 0] - 30).max() <= 2, "to and fro around the hold"


def test_a_cropped_truth_keeps_only_whole_attempts() -> None:
    truth = read_truth(Path(__file__).parents[2] / "sample_clips" / "hip_sag_side.truth.json")
    first, last = truth.reps[0], truth.reps[-1]
    fewer = refilm.cropped_truth(truth, first.bottom_start_s, last.bottom_start_s)
    assert [rep.index for rep in fewer.reps] == [rep.index for rep in truth.reps[1:-1]]
    assert fewer.reps[0].start_s == pytest.approx(truth.reps[1].start_s - first.bottom_start_s)
