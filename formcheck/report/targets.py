"""The limits a picture of the set is drawn against."""

from __future__ import annotations

import math
from dataclasses import dataclass

from formcheck.analysis import Analysis


@dataclass(frozen=True)
class Targets:
    """Degrees; NaN where nothing is asked. ``depth_deg`` elbow at most this at the bottom,
    ``lockout_deg`` at least this at the top, body line between ``pike_deg`` and ``sag_deg``."""

    depth_deg: float = 90.0
    lockout_deg: float = 160.0
    sag_deg: float = 12.0
    pike_deg: float = -15.0


def targets_of(analysis: Analysis) -> Targets:
    """What this set was held to; a depth that is not an elbow angle has no line to draw."""
    asked_by_elbow = analysis.prescription.range_standard == "elbow-90"
    return Targets(depth_deg=90.0 if asked_by_elbow else math.nan)
