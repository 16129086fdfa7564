"""Hand spacing: distance between the wrists over biacromial distance, from the front.

Both are lengths of the body that was fitted to the set, so that the depth and height of the
hands and the shoulders, and where landmarks lie beside shoulders, are taken out.
"""

from __future__ import annotations

import numpy as np

from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.values import why_hidden
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.calibration import stated

_UNSEEN = "a hand or shoulder is hidden; film from the front with both hands in the picture"


def hand_spacing(look: Look, rep: Rep) -> Quantity:
    """Wrist distance over biacromial distance in one rep."""
    signals, body = look.signals, look.signals.body
    if look.view.kind != "front":
        return not_measured(why_hidden("hand_spacing_ratio", look.view.kind) or _UNSEEN)
    if body is None:
        return not_measured(_UNSEEN)
    within = signals.between(rep.start_s, rep.end_s)
    value, sd = (
        median_known(body.curve["spacing"][within]),
        median_known(body.sd["spacing"][within]),
    )
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return stated("hand_spacing_ratio", look.view.kind, value, sd, body.misfit)
