"""Signals of a body posed by hand: joints in the plane of the side view, as a camera shows them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from formcheck.pose.track import LANDMARKS
from formcheck.reps.find import Rep
from formcheck.signals.curves import Signals

FloatArray = npt.NDArray[np.float64]

SIDE_NAMES = {"toe": "foot_index"}
PX_PER_STATURE = 500.0
ONE_REP = Rep(
    1, start_s=1.0, bottom_start_s=2.0, bottom_s=2.5, bottom_end_s=3.0, top_s=3.5, end_s=4.0
)


def posed_signals(
    joints: Mapping[str, FloatArray],
    roll_deg: float = 0.0,
    elbow_left_deg: float = 170.0,
    elbow_right_deg: float = 170.0,
    seconds: float = 4.5,
    moved: Mapping[str, FloatArray] | None = None,
    body_line_deg: FloatArray | None = None,
) -> Signals:
    """A body that keeps one posture, both sides alike, head to the left of the picture.

    ``joints`` (1, 2) or (M, 2) in statures, x toward the head, y up (see ``plank.plank``); NaN
    joints stay unseen. ``roll_deg`` turns the picture so that a level line rises toward the head.
    ``moved`` replaces landmarks (full names) by picture points (M, 2) px.
    """
    t_s = np.arange(0.0, seconds, 1 / 30)
    frames = len(t_s)
    turn = np.radians(roll_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    points = {name: np.full((frames, 2), np.nan) for name in LANDMARKS}
    for joint, place in joints.items():
        seen = np.broadcast_to(place, (frames, 2)) @ rotation.T * [-1, -1] * PX_PER_STATURE + 900
        names = ("index", "pinky") if joint == "knuckle" else (SIDE_NAMES.get(joint, joint),)
        for side in ("left", "right"):
            for name in names:
                points[f"{side}_{name}"] = seen.copy()
    points |= dict(moved or {})
    upper, lower = (
        float(np.linalg.norm(joints[a][0] - joints[b][0]))
        for a, b in (("shoulder", "elbow"), ("elbow", "wrist"))
    )
    blank, ones = np.full(frames, np.nan), np.ones(frames)
    return Signals(
        t_s=t_s,
        rate_hz=30.0,
        in_position=np.ones(frames, dtype=bool),
        elbow_deg=blank,
        elbow_left_deg=elbow_left_deg * ones,
        elbow_right_deg=elbow_right_deg * ones,
        elbow_sd_deg=blank,
        line_sd_deg=2.0 * ones,
        head_sd_deg=blank,
        body_line_deg=blank if body_line_deg is None else body_line_deg,
        body_line_knee_deg=blank,
        head_deg=blank,
        flare_deg=blank,
        flare_sd_deg=blank,
        reach=ones,
        shoulder_height=blank,
        hip_height=blank,
        drawn_px=points,
        points_px=points,
        steady_px=points,
        arm_length_px=(upper + lower) * PX_PER_STATURE,
        near_side="left",
        pose_rate_hz=30.0,
        noise=0.0,
        bridged=np.zeros(frames, dtype=bool),
    )
