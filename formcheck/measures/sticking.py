"""Where a press sticks: the elbow angle and the height at which a slowed press is slowest.

The sticking region of a press runs from its first fastest moment to the slowest one after it; its
end, from which the press gains speed again, is what is named here. A press that does not slow
before the top has none. One that fails sticks where it got no higher.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.filtering import low_pass
from formcheck.maths.peaks import peaks
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.depth import ELBOW_HIDDEN, JITTERY, MOST_NOISE
from formcheck.measures.speed import RISE_HIDDEN
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

DID_NOT_STICK = "the press did not slow on its way up"

_CUTOFF_HZ = 3.5
# A press slows when its speed falls below this share of the fastest before and after; reps of even
# effort waver by less (set on made movements; common practice names no figure).
_SLOWED_TO = 0.7
_GAINS_AGAIN = 0.35  # of the fastest: what waves about near lockout gains less
# Sd of the speed that jitter leaves (1/s), over the jitter: smoothing at 3.5 Hz (computed).
_SPEED_PER_JITTER = 11.0
_MOMENT_S = 0.1  # 95 %, of the slowest moment
# 95 % of the errors of a height, % of the way up, at 60 % of it and at 90 %: the nearer to where
# the attempt left the top the less (383 rendered reps from the side, 156 from the front; a fit).
_HEIGHT_AT = (60.0, 90.0)
_HEIGHT_PLUS_MINUS = {"side": (9.8, 5.3), "oblique": (9.8, 5.3), "front": (9.6, 8.5)}
_EDGE_S = 0.08


def sticking_elbow(look: Look, rep: Rep) -> Quantity:
    """Elbow angle (deg) where the press was slowest, and when; see the module."""
    signals = look.signals
    stuck_s = _stuck_s(look, rep)
    if isinstance(stuck_s, Quantity):
        return stuck_s
    if signals.noise > MOST_NOISE:
        return not_measured(JITTERY)
    near = signals.between(stuck_s - _MOMENT_S, stuck_s + _MOMENT_S)
    value = float(np.interp(stuck_s, signals.t_s, signals.elbow_deg))
    if not np.isfinite(value):
        return not_measured(ELBOW_HIDDEN)
    error = 1.96 * float(np.nanmedian(signals.elbow_sd_deg[near]))
    passed = float(np.nanmax(np.abs(signals.elbow_deg[near] - value)))
    return Quantity(value, float(np.hypot(error, passed)), view=look.view.kind, at_s=stuck_s)


def sticking_height(look: Look, rep: Rep) -> Quantity:
    """Height (% of the way up) of the shoulders where the press was slowest.

    The way up runs from the deepest point to where the attempt left the top.
    """
    signals = look.signals
    stuck_s = _stuck_s(look, rep)
    if isinstance(stuck_s, Quantity):
        return replace(stuck_s)
    deepest, left_top, stuck = np.interp(
        [rep.bottom_s, rep.start_s, stuck_s], signals.t_s, signals.shoulder_height
    )
    value = 100.0 * float((stuck - deepest) / (left_top - deepest))
    if not np.isfinite(value):
        return not_measured(RISE_HIDDEN)
    height = min(max(value, 0.0), 100.0)
    return Quantity(height, _height_plus_minus(look, height), view=look.view.kind, at_s=stuck_s)


def pressed_up(look: Look, rep: Rep) -> Quantity:
    """How much of the way up the attempt was pressed (%); all of it unless it failed."""
    if rep.failed:
        return sticking_height(look, rep)
    return Quantity(100.0, _height_plus_minus(look, 100.0), view=look.view.kind)


def _height_plus_minus(look: Look, height: float) -> float:
    by_height = _HEIGHT_PLUS_MINUS.get(look.view.kind, _HEIGHT_PLUS_MINUS["front"])
    return float(np.interp(height, _HEIGHT_AT, by_height))


def _stuck_s(look: Look, rep: Rep) -> float | Quantity:
    """When the press was slowest, or why that is not known."""
    if rep.failed:
        return rep.top_s if rep.bottom_end_s < rep.top_s else rep.bottom_s
    signals = look.signals
    span = signals.between(rep.bottom_end_s, rep.top_s)
    height = signals.shoulder_height[signals.between(rep.bottom_end_s - 0.5, rep.top_s + 0.5)]
    if not np.isfinite(height).all() or span.stop - span.start < 5:
        return not_measured(RISE_HIDDEN)
    speed = np.gradient(
        low_pass(signals.shoulder_height, signals.rate_hz, _CUTOFF_HZ), 1.0 / signals.rate_hz
    )[span]
    slow = slowest(speed, _SPEED_PER_JITTER * signals.noise, round(_EDGE_S * signals.rate_hz))
    if slow is None:
        return not_measured(DID_NOT_STICK)
    return float(signals.t_s[span][slow])


def slowest(speed: FloatArray, noise: float, edge: int) -> int | None:
    """Place of the slowest moment between two faster ones in the speed (K,) of a press; None
    where it only rises and falls, as a press that nothing hinders does."""
    found = None
    for dip in peaks(-speed):
        if dip < edge or dip >= len(speed) - edge:
            continue
        faster = min(float(speed[:dip].max()), float(speed[dip:].max()))
        slowed = speed[dip] < _SLOWED_TO * faster and faster - speed[dip] > 3.0 * noise
        gains = faster > _GAINS_AGAIN * float(speed.max())
        if slowed and gains and (found is None or speed[dip] < speed[found]):
            found = int(dip)
    return found
