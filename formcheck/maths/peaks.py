"""The highs of a curve, and how far each stands out.

scipy.signal has this and much more; importing it takes half as long as judging a whole set, so
what little is needed stands here, and a test holds it to scipy's answers.
"""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import FloatArray, IntArray


def peaks(curve: FloatArray, prominence: float = 0.0) -> IntArray:
    """Places of the local highs of ``curve`` (M,) that stand out by ``prominence`` or more, both
    ends left out; the middle of those that are flat.

    A high stands out by how far one must climb down from it, on the side where that is less, to
    come to a higher place or to the end.
    """
    edges = np.flatnonzero(np.diff(curve)) + 1
    starts, ends = np.concatenate([[0], edges]), np.concatenate([edges, [len(curve)]])
    level = curve[starts]
    high = np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])) + 1
    places = (starts[high] + ends[high] - 1) // 2
    if prominence <= 0:
        return np.asarray(places)

    def stands_out(place: int) -> bool:
        foot = max(_foot(curve[place::-1]), _foot(curve[place:]))
        return bool(curve[place] - foot >= prominence)

    return np.array([place for place in places if stands_out(place)], dtype=np.intp)


def _foot(downward: FloatArray) -> float:
    """The lowest of a curve that begins at a high, before it comes to a higher place."""
    higher = np.flatnonzero(downward > downward[0])
    return float(downward[: higher[0] if len(higher) else None].min())
