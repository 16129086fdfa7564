"""Range of a rep: how far the elbows bend at the bottom and straighten at the top."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.timing import NOT_PRESSED_UP
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.side_arm import UPPER

ELBOW_HIDDEN = "the near elbow or wrist was hidden or out of the picture at that moment"
ARM_LOST = "the tracker lost the arm at the bottom of this rep, so its depth was not seen"
JITTERY = "the landmarks jitter too much to tell angles; film in better light, nearer, on a tripod"
MOST_NOISE = 0.0125  # jitter, in arm lengths, beyond which angles are not told
# From the front a nearly straight arm bends along the line of sight.
_FRONT_TOP_PLUS_MINUS_DEG = 5.0
_UPPER_ARM_PLUS_MINUS_DEG = 14.0  # 95 %, against exact joints; the elbow landmark is the weak one
_BEND_SHARE_PLUS_MINUS = 0.10  # 95 %, of the share, against exact joints
_TOP_WINDOW_S = 1.5  # the straightest moment is looked for this long after reaching the top
_STEADY = 90.0  # percentile that stands for "straightest" without chasing noise


def elbow_bottom(look: Look, rep: Rep) -> Quantity:
    """Smallest elbow angle (deg) of the rep."""
    signals = look.signals
    span = signals.between(rep.start_s, rep.top_s)
    curve = signals.elbow_deg[span]
    if not np.isfinite(curve).any():
        return not_measured(ELBOW_HIDDEN)
    if signals.noise > MOST_NOISE:
        return not_measured(JITTERY)
    turn = signals.between(rep.bottom_s - 0.1, rep.bottom_s + 0.1)
    if (signals.bridged | ~np.isfinite(signals.elbow_deg))[turn].any():
        return not_measured(ARM_LOST)
    deepest = int(np.nanargmin(curve))
    error = float(signals.elbow_plus_minus_deg[span][deepest])
    return Quantity(float(curve[deepest]), error, view=look.view.kind)


def elbow_top(look: Look, rep: Rep) -> Quantity:
    """Elbow angle (deg) reached at the top, from reaching it until the next rep."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    signals = look.signals
    span = signals.between(rep.top_s, min(rep.end_s, rep.top_s + _TOP_WINDOW_S))
    curve = signals.elbow_deg[span]
    if not np.isfinite(curve).any():
        return not_measured(ELBOW_HIDDEN)
    if signals.noise > MOST_NOISE:
        return not_measured(JITTERY)
    value = float(np.nanpercentile(curve, _STEADY))
    error = float(np.nanmedian(signals.elbow_plus_minus_deg[span]))
    if look.view.kind == "front":
        error = float(np.hypot(error, _FRONT_TOP_PLUS_MINUS_DEG))
    return Quantity(value, error, view=look.view.kind)


def upper_arm_bottom(look: Look, rep: Rep) -> Quantity:
    """How far (deg) the elbow end of the upper arm lies below its shoulder end at the bottom.

    Zero is parallel to the floor, negative deeper. The vertical part of the upper arm shows
    truly in a level view, whatever its direction in depth.
    """
    signals = look.signals
    near = signals.near_side
    drop = signals.steady_px[f"{near}_elbow"][:, 1] - signals.steady_px[f"{near}_shoulder"][:, 1]
    span = signals.between(rep.bottom_start_s, rep.bottom_end_s)
    sine = drop[span] / (UPPER * signals.arm_length_px)
    if not look.view.from_side or not np.isfinite(sine).any():
        return not_measured(ELBOW_HIDDEN)
    above = float(np.degrees(np.arcsin(np.clip(np.nanmedian(sine), -1.0, 1.0))))
    return Quantity(above, _UPPER_ARM_PLUS_MINUS_DEG, view=look.view.kind)


def shoulder_height_bottom(look: Look, rep: Rep) -> Quantity:
    """Height (arm lengths) of the shoulder joint above the wrists at the bottom."""
    signals = look.signals
    span = signals.between(rep.start_s, rep.top_s)
    height = signals.shoulder_height[span]
    if not np.isfinite(height).any():
        return not_measured(ELBOW_HIDDEN)
    return Quantity(float(np.nanmin(height)), 0.05, view=look.view.kind)


def bend_share(look: Look, rep: Rep) -> Quantity:
    """How much of the bend beside it an attempt reached (%), see ``Rep.bend_share_percent``."""
    if not np.isfinite(rep.bend_share_percent):
        return not_measured(ARM_LOST)
    share = rep.bend_share_percent
    return Quantity(share, _BEND_SHARE_PLUS_MINUS * share, view=look.view.kind)


def range_loss_deg(bottoms: Sequence[Quantity]) -> float:
    """How much less the last full attempts bend than the set's deepest (deg), NaN if unknown."""
    known = [q.value for q in bottoms if q.known]
    return known[-1] - min(known) if len(known) > 1 else float("nan")
