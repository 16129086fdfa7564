"""Where the head is against the line of the trunk."""

from __future__ import annotations

import numpy as np

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.calibration import stated

HEAD_NEEDS_SIDE = "the head against the trunk shows only from the side"
HEAD_HIDDEN = "ear, shoulder or hip was hidden or out of the picture, or the track has no ears"


def head_angle(look: Look, rep: Rep) -> Quantity:
    """Angle (deg) by which the head hangs below the trunk's line at the bottom, - raised."""
    if look.view.along_body:
        return not_measured(HEAD_NEEDS_SIDE)
    signals = look.signals
    now = signals.between(rep.bottom_s - 0.1, rep.bottom_s + 0.1)
    part = signals.head_deg[now]
    if not np.isfinite(part).any():
        return not_measured(HEAD_HIDDEN)
    value, sd = float(np.nanmedian(part)), float(np.nanmedian(signals.head_sd_deg[now]))
    return stated("head_angle_deg", look.view.kind, value, sd, signals.misfit)
