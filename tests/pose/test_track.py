"""Landmarks by name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.pose.track import INDEX, LANDMARKS, REQUIRED
from tests.pinhole import Camera, PushUpSet


def test_a_landmark_is_read_by_its_name() -> None:
    filmed = PushUpSet()
    track = filmed.film(Camera())
    elbow = Camera().picture(filmed.joints(track.t_s)["right_elbow"])
    assert track.xy("right_elbow") == pytest.approx(elbow)
    assert not np.allclose(track.xy("left_elbow"), elbow)


def test_every_landmark_has_its_own_place_and_both_sides_have_the_same_joints() -> None:
    assert [LANDMARKS[INDEX[name]] for name in LANDMARKS] == list(LANDMARKS)
    for name in LANDMARKS:
        if "left" in name:
            assert name.replace("left", "right") in INDEX
    assert set(REQUIRED) < set(LANDMARKS)


def test_frames_on_which_nobody_is_seen_are_not_counted() -> None:
    track = PushUpSet().film(Camera())
    xy = track.xy_px.copy()
    xy[10:25] = np.nan
    assert replace(track, xy_px=xy).frames_with_pose == len(track.t_s) - 15
