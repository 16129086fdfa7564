"""Elbow flare at the bottom: upper arm against the trunk axis, 0 along the trunk, 90 straight out.

From the front the elbow is placed in space: at the top the arms show their full length, at the
bottom what is neither sideways nor down lies along the trunk. From the side the flare is what
foreshortening leaves unseen, which is known far less well.
"""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.depth import JITTERY, MOST_NOISE
from formcheck.reps.find import Rep
from formcheck.signals.curves import Signals
from formcheck.signals.front_arms import SIDES, FrontScene

BOTTOM_WINDOW_S = 0.12  # either side of the deepest moment
LEAST_BEND_DEG = 140.0  # a straighter arm has no flare to speak of

# 95 % on rendered front clips, where elbow landmarks lie up to 5 % of the arm too far in.
FRONT_PLUS_MINUS_DEG = 7.0
FRONT_ONE_ARM_PLUS_MINUS_DEG = 9.0
SIDE_LEAST_PLUS_MINUS_DEG = 9.0

_HARDLY_BENT = "the arms hardly bend in this attempt, so the elbows do not show where they go"
_UNSEEN = "the elbows are hidden at the bottom; film from the front with both elbows in the picture"


def front_flare(scene: FrontScene, t_s: FloatArray, rep: Rep) -> dict[str, Quantity]:
    """``elbow_flare_deg`` and its left and right, in degrees, at the bottom of one rep.

    ``t_s`` (M,) is the scene's time grid, ``rep`` on the same clock. The mean of both arms is
    surer than either: a camera off the middle line errs on them in opposite ways.
    """
    now = np.abs(t_s - rep.bottom_s) <= BOTTOM_WINDOW_S
    if reason := _why_not(scene.both_elbows_deg[now]):
        nothing = not_measured(reason)
        return dict.fromkeys(
            ("elbow_flare_deg", "elbow_flare_left_deg", "elbow_flare_right_deg"), nothing
        )
    arms = {side: median_known(scene.flare_deg[side][now]) for side in SIDES}
    out = {
        f"elbow_flare_{side}_deg": _quantity(value, FRONT_ONE_ARM_PLUS_MINUS_DEG)
        for side, value in arms.items()
    }
    out["elbow_flare_deg"] = _quantity(float(np.mean(list(arms.values()))), FRONT_PLUS_MINUS_DEG)
    return out


def side_flare(signals: Signals, rep: Rep) -> Quantity:
    """Flare (deg) of the near arm at the bottom of one rep, from foreshortening in a side view."""
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


def _quantity(value: float, plus_minus: float) -> Quantity:
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return Quantity(value, plus_minus, view="front")
