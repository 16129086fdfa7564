"""Peaks of a curve, as ``scipy.signal.find_peaks`` finds them, which takes long to import."""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import FloatArray, IntArray


def peaks(values: FloatArray, least: float = 0.0) -> IntArray:
    """(K,) places in ``values`` (M,) higher than what lies beside them; of a level top its middle.

    Only those that stand out by ``least``: from a peak the curve falls so far on both sides before
    it rises above the peak, or ends.
    """
    changes = np.flatnonzero(np.diff(values))
    rises = values[changes + 1] > values[changes]
    tops = np.flatnonzero(rises[:-1] & ~rises[1:])
    places = (changes[tops] + 1 + changes[tops + 1]) // 2
    if least <= 0:
        return places
    return np.array([place for place in places if _stands_out(values, place) >= least], int)


def _stands_out(values: FloatArray, place: int) -> float:
    left, right = values[place::-1], values[place:]
    return float(values[place] - max(_lowest(left), _lowest(right)))


def _lowest(side: FloatArray) -> float:
    """The lowest of a side until it rises above its first value."""
    higher = side > side[0]
    return float(side[: higher.argmax() if higher.any() else None].min())
