"""The pose track: where every landmark was, at every pose frame of one clip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from formcheck.maths.arrays import FloatArray

LANDMARKS: tuple[str, ...] = (
    "nose", "left_eye_inner", "left_eye", "left_eye_outer", "right_eye_inner", "right_eye",
    "right_eye_outer", "left_ear", "right_ear", "mouth_left", "mouth_right",
    "left_shoulder", "right_shoulder", "left_elbow", "right_elbow", "left_wrist", "right_wrist",
    "left_pinky", "right_pinky", "left_index", "right_index", "left_thumb", "right_thumb",
    "left_hip", "right_hip", "left_knee", "right_knee", "left_ankle", "right_ankle",
    "left_heel", "right_heel", "left_foot_index", "right_foot_index",
)  # fmt: skip
Side = Literal["left", "right"]
INDEX: dict[str, int] = {name: i for i, name in enumerate(LANDMARKS)}
REQUIRED: tuple[str, ...] = tuple(
    f"{side}_{joint}"
    for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
    for side in ("left", "right")
)


@dataclass(frozen=True)
class PoseTrack:
    """Landmarks of the person doing the set, one row a pose frame.

    ``t_s`` (N,) presentation times from the clip's first frame, increasing.
    ``xy_px`` (N, 33, 2) image pixels after rotation, x right, y down; NaN where unseen.
    ``visibility`` (N, 33), 0 to 1; NaN where unseen.
    ``world_m`` (N, 33, 3) the model's own metric landmarks, or None.
    ``width``, ``height`` px of the picture as displayed; ``fps`` of the clip.
    ``duration_s`` and ``frames`` describe the clip the track came from (all frames, not
    only pose frames). ``notes`` are remarks for the report (several people in frame, …).
    """

    t_s: FloatArray
    xy_px: FloatArray
    visibility: FloatArray
    world_m: FloatArray | None
    width: int
    height: int
    fps: float
    duration_s: float
    frames: int
    source_name: str
    source_sha256: str | None = None
    model_name: str | None = None
    model_sha256: str | None = None
    notes: tuple[str, ...] = ()

    def xy(self, landmark: str) -> FloatArray:
        """(N, 2) pixels of one landmark."""
        return self.xy_px[:, INDEX[landmark]]

    @property
    def frames_with_pose(self) -> int:
        shoulders = [INDEX["left_shoulder"], INDEX["right_shoulder"]]
        return int(np.isfinite(self.xy_px[:, shoulders, 0]).any(axis=1).sum())
