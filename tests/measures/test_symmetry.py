"""Evenness of the two arms."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.measures.symmetry import Evenness, evenness, stance_remarks
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.reps.find import find_reps
from formcheck.signals.curves import Signals, read_signals
from formcheck.signals.view import recognise_view
from tests.pinhole import Camera, PushUpSet

DATA = Path(__file__).parents[1] / "data"


def read(track: PoseTrack) -> tuple[Signals, list[Evenness]]:
    signals = read_signals(track, recognise_view(track))
    assert signals.scene is not None
    reps = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)
    return signals, [evenness(signals.scene, signals.t_s, rep) for rep in reps]


def test_even_arms_are_even() -> None:
    signals, reps = read(PushUpSet().film(Camera(roll_deg=5.0), noise_px=0.5))
    assert len(reps) == 3
    for rep in reps:
        assert rep.symmetry_deg.value < 2.0
        assert abs(rep.shoulder_height.value) < 0.02
    assert signals.scene is not None
    assert stance_remarks(signals.scene) == ()


def test_an_arm_that_bends_less_shows_in_elbow_and_shoulder() -> None:
    _, reps = read(PushUpSet(right_bend_less_deg=25.0).film(Camera()))
    for rep in reps:
        assert rep.elbow_deg.value < -10.0  # left minus right: the left arm bends more
        assert rep.symmetry_deg.value > rep.symmetry_deg.plus_minus
        assert rep.shoulder_height.value < -0.05


def test_one_hand_put_farther_forward_is_said() -> None:
    track = PushUpSet().film(Camera(height=2.0))
    xy = track.xy_px.copy()
    xy[:, INDEX["left_wrist"], 1] += 35.0  # nearer the camera, so lower in the picture
    signals, _ = read(replace(track, xy_px=xy))
    assert signals.scene is not None
    remarks = " ".join(stance_remarks(signals.scene))
    assert "left hand" in remarks


@pytest.mark.parametrize("name", ["clean_front", "close_front", "wide_front", "flared_pair_front"])
def test_even_rendered_sets_stay_within_the_stated_uncertainty(name: str) -> None:
    _, reps = read(read_track(DATA / f"{name}.parquet"))
    assert reps
    for rep in reps:
        assert rep.symmetry_deg.value < rep.symmetry_deg.plus_minus
        assert abs(rep.shoulder_height.value) < rep.shoulder_height.plus_minus
        assert np.isfinite(rep.elbow_deg.value)
