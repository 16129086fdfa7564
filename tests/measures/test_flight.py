"""Hands that leave the floor: for how long, and when they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.measures.flight import STAYED, flight
from formcheck.pose.track import INDEX, PoseTrack
from tests.filmed import FROM_THE_FRONT, FROM_THE_LEFT, filmed, look_of
from tests.pinhole import Camera

pytestmark = pytest.mark.usefixtures("exact_joints")
UPPER_BODY = ("shoulder", "elbow", "wrist", "ear")


def clapped(track: PoseTrack, at_s: float, lasts_s: float, joints: tuple[str, ...]) -> PoseTrack:
    """These joints thrown up at one moment, on a parabola as high as half an arm or so."""
    xy = track.xy_px.copy()
    since = (track.t_s - at_s) / lasts_s
    up_px = np.where((since > 0) & (since < 1), 4 * since * (1 - since), 0.0) * 70.0
    for side in ("left", "right"):
        for joint in joints:
            xy[:, INDEX[f"{side}_{joint}"], 1] -= up_px
    return replace(track, xy_px=xy)


@pytest.mark.parametrize("camera", [FROM_THE_LEFT, FROM_THE_FRONT])
def test_a_clap_is_timed_and_still_a_rep(camera: Camera) -> None:
    track = filmed(camera)
    plain = look_of(track)
    second = plain.reps[1]
    look = look_of(clapped(track, second.top_s - 0.1, 0.5, UPPER_BODY))
    assert len(look.reps) == len(plain.reps)
    times = [flight(look, rep) for rep in look.reps]
    assert [time.known for time in times] == [False, True, False]
    # What rises by less than an eighth of an arm is not told from a hand on the floor.
    assert times[1].value == pytest.approx(0.4, abs=0.13)
    assert times[0].reason == STAYED


def test_a_wrist_landmark_that_jumps_takes_nobody_off_the_floor() -> None:
    track = filmed(FROM_THE_LEFT)
    second = look_of(track).reps[1]
    look = look_of(clapped(track, second.top_s - 0.1, 0.5, ("wrist",)))
    assert not any(flight(look, rep).known for rep in look.reps)
