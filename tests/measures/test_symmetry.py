"""Evenness of the two arms."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.measures.symmetry import elbows_apart, shoulders_apart, stance_remarks, symmetry
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.reps.look import Look
from tests.filmed import look_of
from tests.measures.handmade import REP, drawn, look_at
from tests.pinhole import Camera, PushUpSet

DATA = Path(__file__).parents[1] / "data"


def read(track: PoseTrack) -> Look:
    look = look_of(track)
    assert look.signals.body is not None
    return look


@pytest.mark.usefixtures("exact_joints")
def test_even_arms_are_even() -> None:
    look = read(PushUpSet().film(Camera(roll_deg=5.0), noise_px=0.5))
    assert len(look.reps) == 3
    for rep in look.reps:
        assert symmetry(look, rep).value < 2.0
        assert abs(shoulders_apart(look, rep).value) < 0.02
    assert stance_remarks(look) == ()


@pytest.mark.usefixtures("exact_joints")
def test_an_arm_that_bends_less_shows_in_elbow_and_shoulder() -> None:
    look = read(PushUpSet(right_bend_less_deg=25.0).film(Camera()))
    assert look.reps
    for rep in look.reps:
        apart = symmetry(look, rep)
        assert elbows_apart(look, rep).value < -10.0  # left minus right: the left bends more
        assert apart.value > apart.plus_minus
        assert shoulders_apart(look, rep).value < -0.05


def test_one_hand_put_farther_forward_is_said() -> None:
    track = PushUpSet().film(Camera(height=2.0))
    xy = track.xy_px.copy()
    xy[:, INDEX["left_wrist"], 1] += 35.0  # nearer the camera, so lower in the picture
    remarks = " ".join(stance_remarks(read(replace(track, xy_px=xy))))
    assert "left hand" in remarks


@pytest.mark.parametrize("name", ["clean_front", "close_front", "wide_front", "flared_pair_front"])
def test_even_rendered_sets_stay_within_the_stated_uncertainty(name: str) -> None:
    look = read(read_track(DATA / f"{name}.parquet"))
    assert look.reps
    for rep in look.reps:
        elbows, shoulders = symmetry(look, rep), shoulders_apart(look, rep)
        assert elbows.value < elbows.plus_minus
        assert abs(shoulders.value) < shoulders.plus_minus
        assert np.isfinite(elbows_apart(look, rep).value)


def test_the_far_arm_of_a_side_view_is_not_compared() -> None:
    for measure in (symmetry, elbows_apart, shoulders_apart):
        apart = measure(look_at(drawn()), REP)
        assert not apart.known and "film from the front" in (apart.reason or "")
