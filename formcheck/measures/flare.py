"""Elbow flare at the bottom: upper arm against the trunk axis, 0 along the trunk, 90 straight out.

From the front the elbow is placed in space: at the top the arms show their full length, at the
bottom what is neither sideways nor down lies along the trunk. From the side the flare is what
foreshortening leaves unseen, which is known far less well.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.depth import JITTERY, MOST_NOISE
from formcheck.measures.values import why_hidden
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

SIDES = ("left", "right")
BOTTOM_WINDOW_S = 0.12  # either side of the deepest moment
LEAST_BEND_DEG = 140.0  # a straighter arm has no flare to speak of

# 95 % on rendered front clips, where elbow landmarks lie up to 5 % of the arm too far in.
FRONT_PLUS_MINUS_DEG = 7.0
FRONT_ONE_ARM_PLUS_MINUS_DEG = 9.0
SIDE_LEAST_PLUS_MINUS_DEG = 9.0

_HARDLY_BENT = "the arms hardly bend in this attempt, so the elbows do not show where they go"
_NEEDS_FRONT = "one arm hides the other from here; film from the front to tell them apart"
_UNSEEN = "the elbows are hidden at the bottom; film from the front with both elbows in the picture"


def elbow_flare(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) at the bottom of one rep: of both arms from the front, of the near one else.

    From the front the mean of both arms is surer than either: a camera off the middle line errs
    on them in opposite ways.
    """
    if look.view.kind == "front":
        sides = [_arm(look, rep, side, FRONT_PLUS_MINUS_DEG) for side in SIDES]
        hidden = next((arm for arm in sides if not arm.known), None)
        return hidden or replace(sides[0], value=float(np.mean([arm.value for arm in sides])))
    if look.view.kind != "side":
        return not_measured(why_hidden("elbow_flare_deg", look.view.kind) or _UNSEEN)
    return _near_arm(look, rep)


def elbow_flare_left(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) of the left arm at the bottom, from the front."""
    return _arm(look, rep, "left", FRONT_ONE_ARM_PLUS_MINUS_DEG)


def elbow_flare_right(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) of the right arm at the bottom, from the front."""
    return _arm(look, rep, "right", FRONT_ONE_ARM_PLUS_MINUS_DEG)


def _arm(look: Look, rep: Rep, side: str, plus_minus_deg: float) -> Quantity:
    scene = look.signals.scene
    if scene is None:
        return not_measured(_NEEDS_FRONT if look.view.kind != "front" else _UNSEEN)
    now = np.abs(look.signals.t_s - rep.bottom_s) <= BOTTOM_WINDOW_S
    if reason := _why_not(scene.both_elbows_deg[now]):
        return not_measured(reason)
    value = median_known(scene.flare_deg[side][now])
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return Quantity(value, plus_minus_deg, view="front")


def _near_arm(look: Look, rep: Rep) -> Quantity:
    """Flare (deg) of the near arm at the bottom of one rep, from foreshortening in a side view."""
    signals = look.signals
    now = np.abs(signals.t_s - rep.bottom_s) <= BOTTOM_WINDOW_S
    if reason := _why_not(signals.elbow_deg[now]):
        return not_measured(reason)
    if signals.noise > MOST_NOISE:
        return not_measured(JITTERY)
    value, plus_minus = (
        median_known(signals.flare_deg[now]),
        median_known(signals.flare_plus_minus_deg[now]),
    )
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return Quantity(value, max(SIDE_LEAST_PLUS_MINUS_DEG, plus_minus), view="side")


def _why_not(elbow_deg: FloatArray) -> str | None:
    """Why these elbows (K,) at the bottom show no flare, if they do not."""
    bend_deg = median_known(elbow_deg)
    if not np.isfinite(bend_deg):
        return _UNSEEN
    return _HARDLY_BENT if bend_deg > LEAST_BEND_DEG else None
