"""Hands that leave the floor at the bottom and come back to it, as in a hand-release push-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.stretches import stretches
from formcheck.reps.find import Rep

# Hands off the floor at the bottom for longer are a rest (common practice).
_LONGEST_S = 6.0
_BENT_DEG = 120.0  # who is lower than this when the hands leave and when they are back lies low
_LIKE_DEG = 40.0  # and is as low then as before
_MOVES_S = 0.3  # hands take so long to leave their place, and to come back to it
_BEFORE_S = 0.15  # how long before the hands leave depth is read


def across_releases(
    t_s: FloatArray, elbow_deg: FloatArray, in_position: BoolArray
) -> tuple[FloatArray, BoolArray, BoolArray]:
    """``elbow_deg`` (M,) and ``in_position`` (M,) with each release taken for a pause at the
    bottom, and where (M,) that was.

    The body lies on the floor meanwhile: nothing is known of its elbows but that they were bent
    before and after.
    """
    elbow, use = elbow_deg.copy(), in_position.copy()
    released = np.zeros(len(t_s), dtype=bool)
    moves = round(_MOVES_S / float(t_s[1] - t_s[0])) if len(t_s) > 1 else 0
    for before, after in pairwise(stretches(in_position & np.isfinite(elbow_deg))):
        # The hands move before they are found to have left, and when they are back.
        left = int(before[max(len(before) - 1 - moves, 0)])
        back = int(after[min(moves, len(after) - 1)])
        ends_deg = elbow_deg[[left, back]]
        if t_s[back] - t_s[left] > _LONGEST_S or ends_deg.max() > _BENT_DEG:
            continue
        if abs(ends_deg[1] - ends_deg[0]) > _LIKE_DEG:
            continue
        gap = slice(left, back + 1)
        elbow[gap] = np.interp(t_s[gap], t_s[[left, back]], ends_deg)
        use[gap] = released[gap] = True
    return elbow, use, released


def with_releases(reps: Sequence[Rep], t_s: FloatArray, released: BoolArray) -> list[Rep]:
    """``reps`` with how long the hands were off the floor (``released`` (M,)), and with the bottom
    before they left it."""
    out = []
    for rep in reps:
        off_s = t_s[released & (t_s >= rep.start_s) & (t_s <= rep.top_s)]
        if len(off_s):
            lasts_s = len(off_s) * float(t_s[1] - t_s[0])
            bottom_s = min(max(float(off_s[0]) - _BEFORE_S, rep.bottom_start_s), rep.bottom_end_s)
            rep = replace(rep, released_s=lasts_s, bottom_s=bottom_s)
        out.append(rep)
    return out
