"""Range of a rep: how far the elbows bend at the bottom and straighten at the top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.timing import NOT_PRESSED_UP
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.calibration import stated

ELBOW_HIDDEN = "the near elbow or wrist was hidden or out of the picture at that moment"
ARM_LOST = "the tracker lost the arm at the bottom of this rep, so its depth was not seen"
JITTERY = "the landmarks jitter too much to tell angles; film in better light, nearer, on a tripod"
MOST_NOISE = 0.0125  # jitter, in arm lengths, beyond which angles are not told
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
    sd = float(signals.elbow_sd_deg[span][deepest])
    value = float(curve[deepest])
    if signals.by_reach:  # it has its own error; what is known of a fitted body's says nothing
        return Quantity(value, 1.96 * sd, view=look.view.kind)
    return stated("elbow_bottom_deg", look.view.kind, value, sd, signals.misfit)


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
    sd = float(np.nanmedian(signals.elbow_sd_deg[span]))
    found = stated("elbow_top_deg", look.view.kind, value, sd, signals.misfit)
    return replace(found, value=min(found.value, 180.0)) if found.known else found


def upper_arm_bottom(look: Look, rep: Rep) -> Quantity:
    """How far (deg) the elbow end of the upper arm lies below its shoulder end at the bottom.

    Zero is parallel to the floor, negative deeper.
    """
    body, span = look.signals.body, look.signals.between(rep.bottom_start_s, rep.bottom_end_s)
    if body is None or not np.isfinite(body.curve["upper_arm"][span]).any():
        return not_measured(ELBOW_HIDDEN)
    value = float(np.nanmedian(body.curve["upper_arm"][span]))
    sd = float(np.nanmedian(body.sd["upper_arm"][span]))
    return stated("upper_arm_bottom_deg", look.view.kind, value, sd, body.misfit)


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
