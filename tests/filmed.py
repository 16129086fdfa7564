"""One exact set filmed from several places, for tests of curves and of the ground under them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.pose.track import INDEX, PoseTrack
from formcheck.reps.find import find_reps
from formcheck.reps.look import Look
from formcheck.signals.curves import Signals, read_signals
from formcheck.signals.view import recognise_view
from tests.pinhole import Camera, PushUpSet

FloatArray = npt.NDArray[np.float64]

DONE = PushUpSet(bottoms_deg=(85.0, 85.0, 85.0))
FROM_THE_LEFT = Camera(yaw_deg=0.0, height=0.7, aim=(-1.2, 0.5))
FROM_THE_RIGHT = replace(FROM_THE_LEFT, yaw_deg=180.0)
FROM_THE_FRONT = Camera()
SIDES = pytest.mark.parametrize("camera", [FROM_THE_LEFT, FROM_THE_RIGHT], ids=["left", "right"])


def filmed(camera: Camera = FROM_THE_LEFT, noise_px: float = 0.4) -> PoseTrack:
    return DONE.film(camera, noise_px=noise_px)


def read(track: PoseTrack) -> Signals:
    return read_signals(track, recognise_view(track))


def look_of(track: PoseTrack) -> Look:
    """A track read for itself, with the reps that it shows."""
    view = recognise_view(track)
    signals = read_signals(track, view)
    reps = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)
    return Look(0, track, view, signals, tuple(reps))


def moved(track: PoseTrack, joint: str, by_px: tuple[float, float] | FloatArray) -> PoseTrack:
    """Both sides of a joint shifted in the picture."""
    xy = track.xy_px.copy()
    for side in ("left", "right"):
        xy[:, INDEX[f"{side}_{joint}"]] += by_px
    return replace(track, xy_px=xy)


def within_set(signals: Signals, curve: FloatArray) -> FloatArray:
    return curve[(signals.t_s > 1.0) & (signals.t_s < DONE.duration_s() - 1.0)]
