"""Stretches of samples in a row for which something holds."""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import BoolArray, IntArray


def stretches(where: BoolArray) -> list[IntArray]:
    """The places in ``where`` (M,) that hold, as one array for each run of them."""
    places = np.flatnonzero(where)
    if not len(places):
        return []
    return np.split(places, np.flatnonzero(np.diff(places) > 1) + 1)


def without_short(where: BoolArray, least: int) -> BoolArray:
    """(M,) only the stretches of at least so many samples."""
    out = np.zeros(len(where), bool)
    for places in stretches(where):
        out[places] = len(places) >= least
    return out


def without_gaps(where: BoolArray, least: int) -> BoolArray:
    """(M,) with gaps of fewer samples filled, between two stretches and not at the ends."""
    out = where.copy()
    for places in stretches(~where):
        inside = places[0] > 0 and places[-1] < len(where) - 1
        out[places] = inside and len(places) < least
    return out


def nearby(where: BoolArray, within: int) -> BoolArray:
    """(M,) what lies within so many samples of one that holds."""
    before = np.concatenate([[0], np.cumsum(where)])  # how many hold before each place
    at = np.arange(len(where))
    first, last = np.maximum(at - within, 0), np.minimum(at + within + 1, len(where))
    return np.asarray(before[last] > before[first])
