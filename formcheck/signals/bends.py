"""One bend and straightening of the arms after the other, in any curve that shows them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import low_pass
from formcheck.maths.peaks import peaks
from formcheck.maths.stretches import stretches

SPEED_CUTOFF_HZ = 3.5


@dataclass(frozen=True)
class Bend:
    """One bend and straightening, in grid indices: highest before, lowest, highest after."""

    start: int
    bottom: int
    end: int


def bends(curve: FloatArray, use: BoolArray, rate_hz: float, least: float) -> list[Bend]:
    """Dips of ``curve`` (M,) by at least ``least`` on both sides, within stretches of ``use``.

    A dip at the very start of a stretch (the clip begins in mid-rep) or one that never comes
    back up is left out: its phases cannot be measured.
    """
    smooth = low_pass(curve, rate_hz, SPEED_CUTOFF_HZ)
    found: list[Bend] = []
    for places in stretches(use & np.isfinite(smooth)):
        first, last = int(places[0]), int(places[-1]) + 1
        part = smooth[first:last]
        low = peaks(-part, least)
        for i, bottom in enumerate(low):
            before = int(low[i - 1]) if i else 0
            after = int(low[i + 1]) if i + 1 < len(low) else len(part)
            start = before + int(np.argmax(part[before:bottom]))
            end = int(bottom) + int(np.argmax(part[bottom:after]))
            found.append(Bend(first + start, first + int(bottom), first + end))
    return found
