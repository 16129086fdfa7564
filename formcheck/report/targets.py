"""The limits a picture of the set is drawn against."""

from __future__ import annotations

import math
from dataclasses import dataclass

from formcheck.analysis import Analysis


@dataclass(frozen=True)
class Targets:
    """Degrees; NaN where nothing is asked. ``depth_deg`` elbow at most this at the bottom,
    ``lockout_deg`` at least this at the top, body line between ``pike_deg`` and ``sag_deg``."""

    depth_deg: float
    lockout_deg: float
    sag_deg: float
    pike_deg: float


def targets_of(analysis: Analysis) -> Targets:
    """What this set was held to; a depth that is not an elbow angle has no line to draw."""
    limits = analysis.limits
    by_elbow = analysis.prescription.range_standard == "elbow-90"
    return Targets(
        depth_deg=limits["shallow"].value if by_elbow else math.nan,
        lockout_deg=limits["soft_lockout"].value,
        sag_deg=limits["hip_sag"].value,
        pike_deg=limits["hip_pike"].value,
    )


def elbow_view(analysis: Analysis) -> str:
    """The view by which the elbows of most reps were judged: what is drawn is what was judged."""
    views = [
        result.values[name].view or ""
        for result in analysis.reps
        for name in ("elbow_bottom_deg", "elbow_top_deg")
        if name in result.values and result.values[name].known
    ]
    kinds = [look.view.kind for look in analysis.looks]
    return max(kinds, key=lambda kind: (views.count(kind), -kinds.index(kind)))
