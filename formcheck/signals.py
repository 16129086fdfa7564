"""From a pose track to evenly spaced, smoothed signals of one set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Signals:
    """Curves of one clip on a uniform time grid; every array (M,), NaN where unknown.

    ``in_position`` True while the body is in the push-up position (not kneeling up, walking in).
    ``elbow_deg`` three-dimensional elbow angle (mean of both arms where both are seen),
    ``elbow_left_deg``/``elbow_right_deg`` each arm (NaN where the view hides it).
    ``body_line_deg`` 180 minus shoulder-hip-ankle (knee when on the knees), + sag, - pike.
    ``head_deg`` head against the trunk line, + hangs below.
    ``flare_deg`` upper arm against the trunk axis.
    ``shoulder_height`` of the shoulders above the hands, in arm lengths (the height signal
    that reps, speed and evenness use).
    ``points_px`` smoothed image positions (M, 2) by landmark name, for drawing and load.
    """

    t_s: FloatArray
    rate_hz: float
    in_position: npt.NDArray[np.bool_]
    elbow_deg: FloatArray
    elbow_left_deg: FloatArray
    elbow_right_deg: FloatArray
    elbow_plus_minus_deg: FloatArray
    body_line_deg: FloatArray
    head_deg: FloatArray
    flare_deg: FloatArray
    shoulder_height: FloatArray
    points_px: Mapping[str, FloatArray]
    visibility: Mapping[str, FloatArray]
