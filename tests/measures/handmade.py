"""Looks drawn by hand: every curve is what the test says, and unknown where it says nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from formcheck.maths.filtering import RATE_HZ
from formcheck.pose.track import LANDMARKS, PoseTrack
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.curves import Signals
from formcheck.signals.view import View

FloatArray = npt.NDArray[np.float64]

SIDE, FRONT = View("side", "left"), View("front", None, 90.0)
OBLIQUE, REAR = View("oblique", "left", 45.0), View("rear", None, -90.0)

T_S = np.arange(0.0, 8.0, 1 / RATE_HZ)
# Down from 2 to 3 s, held until 4, up until 5, at the top until 6.
REP = Rep(1, start_s=2.0, bottom_start_s=3.0, bottom_s=3.5, bottom_end_s=4.0, top_s=5.0, end_s=6.0)

_CURVES = (
    "elbow_deg", "elbow_left_deg", "elbow_right_deg", "elbow_sd_deg", "body_line_deg",
    "body_line_knee_deg", "line_sd_deg", "head_deg", "head_sd_deg", "flare_deg", "flare_sd_deg",
    "reach", "shoulder_height", "hip_height",
)  # fmt: skip


def through(*corners: tuple[float, float], t_s: FloatArray = T_S) -> FloatArray:
    """Straight lines between (seconds, value) corners, level before and after."""
    when_s, value = zip(*corners, strict=True)
    return np.asarray(np.interp(t_s, when_s, value))


def drawn(t_s: FloatArray = T_S, **given: Any) -> Signals:
    """Signals with the fields that are given and nothing else known."""
    fields: dict[str, Any] = {name: np.full(len(t_s), np.nan) for name in _CURVES}
    fields |= {
        name: {landmark: np.full((len(t_s), 2), np.nan) for landmark in LANDMARKS}
        for name in ("drawn_px", "points_px", "steady_px")
    }
    fields |= {
        "in_position": np.ones(len(t_s), dtype=bool),
        "arm_length_px": 200.0,
        "near_side": "left",
        "pose_rate_hz": RATE_HZ,
        "noise": 0.0,
        "bridged": np.zeros(len(t_s), dtype=bool),
    }
    return Signals(t_s=t_s, rate_hz=RATE_HZ, **(fields | given))


def look_at(
    signals: Signals,
    view: View = SIDE,
    reps: Sequence[Rep] = (REP,),
    clip: int = 0,
    offset_s: float = 0.0,
) -> Look:
    """The look of a view that shows ``signals``; ``reps`` stand on the look's own clock."""
    track = unseen_track(signals.t_s)
    return Look(clip, track, view, signals, tuple(reps), offset_s)


def unseen_track(t_s: FloatArray) -> PoseTrack:
    """A track on which nobody is seen: measures read the signals, not the landmarks."""
    frames = len(t_s)
    return PoseTrack(
        t_s=t_s,
        xy_px=np.full((frames, len(LANDMARKS), 2), np.nan),
        visibility=np.full((frames, len(LANDMARKS)), np.nan),
        world_m=None,
        width=1280,
        height=720,
        fps=RATE_HZ,
        duration_s=frames / RATE_HZ,
        frames=frames,
        source_name="drawn",
    )
