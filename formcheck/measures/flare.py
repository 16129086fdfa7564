"""Elbow flare at the bottom: upper arm against the trunk axis, 0 along the trunk, 90 straight out.

The elbow is placed in space by the body that was fitted to the set. From the front it shows
where the elbows go; from the side the flare is what foreshortening leaves unseen, which is known
less well.
"""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.depth import JITTERY, MOST_NOISE
from formcheck.measures.values import why_hidden
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.calibration import stated

BOTTOM_WINDOW_S = 0.12  # either side of the deepest moment
LEAST_BEND_DEG = 140.0  # a straighter arm has no flare to speak of

_HARDLY_BENT = "the arms hardly bend in this attempt, so the elbows do not show where they go"
_NEEDS_FRONT = "one arm hides the other from here; film from the front to tell them apart"
_UNSEEN = "the elbows are hidden at the bottom; film from the front with both elbows in the picture"


def elbow_flare(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) at the bottom of one rep, mean of both arms."""
    if look.view.kind not in ("front", "side"):
        return not_measured(why_hidden("elbow_flare_deg", look.view.kind) or _UNSEEN)
    signals = look.signals
    now = np.abs(signals.t_s - rep.bottom_s) <= BOTTOM_WINDOW_S
    if reason := _why_not(signals.elbow_deg[now]):
        return not_measured(reason)
    if signals.noise > MOST_NOISE:
        return not_measured(JITTERY)
    value, sd = median_known(signals.flare_deg[now]), median_known(signals.flare_sd_deg[now])
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return stated("elbow_flare_deg", look.view.kind, value, sd, signals.misfit)


def elbow_flare_left(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) of the left arm at the bottom, from the front."""
    return _arm(look, rep, "left")


def elbow_flare_right(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) of the right arm at the bottom, from the front."""
    return _arm(look, rep, "right")


def _arm(look: Look, rep: Rep, side: str) -> Quantity:
    if look.view.kind != "front":
        return not_measured(_NEEDS_FRONT)
    signals, body = look.signals, look.signals.body
    now = np.abs(signals.t_s - rep.bottom_s) <= BOTTOM_WINDOW_S
    if reason := _why_not(signals.elbow_deg[now]):
        return not_measured(reason)
    if body is None:
        return not_measured(_UNSEEN)
    name = f"flare_{side}"
    value, sd = median_known(body.curve[name][now]), median_known(body.sd[name][now])
    return stated(f"elbow_flare_{side}_deg", look.view.kind, value, sd, body.misfit)


def _why_not(elbow_deg: FloatArray) -> str | None:
    """Why these elbows (K,) at the bottom show no flare, if they do not."""
    bend_deg = median_known(elbow_deg)
    if not np.isfinite(bend_deg):
        return _UNSEEN
    return _HARDLY_BENT if bend_deg > LEAST_BEND_DEG else None
