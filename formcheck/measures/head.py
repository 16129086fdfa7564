"""Where the head is against the line of the trunk."""

from __future__ import annotations

import numpy as np

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.signals.curves import Signals
from formcheck.signals.view import View

HEAD_NEEDS_SIDE = "the head against the trunk shows only from the side"
HEAD_HIDDEN = "ear, shoulder or hip was hidden or out of the picture, or the track has no ears"
_PLUS_MINUS_DEG = 8.5  # 95 %, against exact joints


def head_angle(signals: Signals, rep: Rep, view: View) -> Quantity:
    """Angle (deg) by which the head hangs below the trunk's line at the bottom, - raised."""
    if view.kind in ("front", "rear"):
        return not_measured(HEAD_NEEDS_SIDE)
    part = signals.head_deg[signals.between(rep.bottom_s - 0.1, rep.bottom_s + 0.1)]
    if not np.isfinite(part).any():
        return not_measured(HEAD_HIDDEN)
    slant = 1.5 if view.kind == "oblique" else 1.0
    return Quantity(float(np.nanmedian(part)), _PLUS_MINUS_DEG * slant, view=view.kind)
