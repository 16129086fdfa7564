"""Where the head is against the line of the trunk."""

from __future__ import annotations

import numpy as np

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

HEAD_NEEDS_SIDE = "the head against the trunk shows only from the side"
HEAD_HIDDEN = "ear, shoulder or hip was hidden or out of the picture, or the track has no ears"
_PLUS_MINUS_DEG = 8.5  # 95 %, against exact joints


def head_angle(look: Look, rep: Rep) -> Quantity:
    """Angle (deg) by which the head hangs below the trunk's line at the bottom, - raised."""
    if look.view.along_body:
        return not_measured(HEAD_NEEDS_SIDE)
    signals = look.signals
    part = signals.head_deg[signals.between(rep.bottom_s - 0.1, rep.bottom_s + 0.1)]
    if not np.isfinite(part).any():
        return not_measured(HEAD_HIDDEN)
    slant = 1.5 if look.view.slanted else 1.0
    return Quantity(float(np.nanmedian(part)), _PLUS_MINUS_DEG * slant, view=look.view.kind)
