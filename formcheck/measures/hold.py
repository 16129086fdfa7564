"""A support hold: the top position kept without reps, with straight arms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.bodyline import LINE_NEEDS_SIDE, line_curve, line_doubt_deg
from formcheck.reps.look import Look

LEAST_HOLD_S = 5.0  # shorter, and without a rep, it is setting up (common practice)
# Arms straighter than this hold the body up; a bottom position or a stalled press is no hold.
# Locked elbows read 165 to 175 on pose landmarks (common practice), a soft one 150.
STRAIGHT_DEG = 150.0
_LEAST_SEEN = 0.5  # of the time, the elbows have to be


@dataclass(frozen=True, eq=False)
class SupportHold:
    """A hold at the top without reps: ``held_s`` in position, ``line_deg`` its median body line.

    ``drift_deg_per_min`` of the body line while held (+ sagging). ``t_s`` (K,), ``line`` (K,)
    and ``change`` (K,) the line over the hold, itself and against the hold's first second (deg),
    known to within ``doubt_deg`` and ``change_doubt_deg`` (95 %); empty where it does not show.
    """

    start_s: float
    held_s: float
    line_deg: Quantity
    drift_deg_per_min: float
    t_s: FloatArray
    line: FloatArray
    change: FloatArray
    doubt_deg: float
    change_doubt_deg: float


def support_hold(look: Look, support: str | None = None) -> SupportHold | None:
    """The hold when a set has no reps: from the first to the last frame in position.

    None with a rep, when held for less than ``LEAST_HOLD_S``, from behind, or where the arms
    were not seen to be straight. ``support`` "knees" measures the line to the knees.
    """
    signals, view = look.signals, look.view
    held = np.flatnonzero(signals.in_position)
    if look.reps or len(held) < 2 or view.kind == "rear":
        return None
    t_s = signals.t_s[held]
    held_s = float(t_s[-1] - t_s[0])
    elbow = signals.elbow_deg[held]
    seen = np.isfinite(elbow).mean() >= _LEAST_SEEN
    if held_s < LEAST_HOLD_S or not seen or median_known(elbow) < STRAIGHT_DEG:
        return None
    line = line_curve(signals, support)[held]
    if view.along_body or not np.isfinite(line).any():
        empty = np.zeros(0)
        unseen = not_measured(LINE_NEEDS_SIDE)
        return SupportHold(
            float(t_s[0]), held_s, unseen, float("nan"), empty, empty, empty, np.nan, np.nan
        )
    known = np.isfinite(line)
    doubt, doubt_of_change = line_doubt_deg(signals, view, support)
    return SupportHold(
        start_s=float(t_s[0]),
        held_s=held_s,
        line_deg=Quantity(float(np.nanmedian(line)), doubt, view=view.kind),
        drift_deg_per_min=float(np.polyfit(t_s[known], line[known], 1)[0]) * 60,
        t_s=t_s,
        line=line,
        change=line - median_known(line[t_s <= t_s[0] + 1.0]),
        doubt_deg=doubt,
        change_doubt_deg=doubt_of_change,
    )
