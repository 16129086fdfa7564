"""How long the hands were off the floor after an explosive press, as in a clap."""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.body_model import SIDES

STAYED = "the hands stayed on the floor in this rep"
UNSEEN = "the hands were hidden or out of the picture, so whether they left the floor is not seen"
# Arm lengths that hands and shoulders both rise by, over where they are in the set's tops: a
# landmark that slides takes no shoulder along, and shoulders that round lift no hand (assumed).
_HANDS_RISE, _SHOULDERS_RISE = 0.12, 0.05
# Three pictures at 15 a second would show it; below that it may be one landmark's jump.
_LEAST_S = 0.1
_USUAL_S = 1.0  # before and after, in which the hands are mostly down


def flight(look: Look, rep: Rep) -> Quantity:
    """Seconds from the hands' leaving the floor to their landing, in the press and after it."""
    signals = look.signals
    span = signals.between(rep.bottom_end_s, max(rep.top_s + _USUAL_S, rep.bottom_end_s))
    sides = SIDES if look.view.along_body else (signals.near_side,)
    off = np.all([_risen(look, side) for side in sides], axis=0)[span]
    seen = np.all(
        [np.isfinite(signals.drawn_px[f"{side}_wrist"][span, 0]) for side in sides], axis=0
    )
    if not seen.any():
        return not_measured(UNSEEN)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(int), [0]])))
    lasts_s = max((edges[1::2] - edges[::2]) / signals.rate_hz, default=0.0)
    if lasts_s < _LEAST_S:
        return not_measured(STAYED)
    frame_s = 1.0 / min(signals.pose_rate_hz, signals.rate_hz)
    return Quantity(float(lasts_s), 2 * frame_s, view=look.view.kind)


def _risen(look: Look, side: str) -> BoolArray:
    """(M,) where hand and shoulder of one side are both well above where the tops have them."""
    hand = _above_usual(look, f"{side}_wrist", 50.0)
    shoulder = _above_usual(look, f"{side}_shoulder", 90.0)
    return np.asarray((hand > _HANDS_RISE) & (shoulder > _SHOULDERS_RISE))


def _above_usual(look: Look, landmark: str, percentile: float) -> FloatArray:
    """(M,) height over the ``percentile`` of its heights in the set, arm lengths."""
    signals = look.signals
    up = -signals.drawn_px[landmark][:, 1] / signals.arm_length_px
    known = up[signals.in_position & np.isfinite(up)]
    return up - (np.percentile(known, percentile) if len(known) else np.nan)
