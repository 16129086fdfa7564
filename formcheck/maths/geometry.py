"""Angles and lines on arrays of points. Points are (..., 2) or (..., 3); angles in degrees."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from formcheck.maths.arrays import FloatArray


def length(vector: FloatArray) -> FloatArray:
    """(...,) Euclidean length of (..., D) vectors."""
    return np.asarray(np.linalg.norm(vector, axis=-1))


def joint_angle_deg(proximal: FloatArray, joint: FloatArray, distal: FloatArray) -> FloatArray:
    """(...,) angle at ``joint`` between its two segments, 180 = straight; NaN where degenerate."""
    first, second = proximal - joint, distal - joint
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = np.sum(first * second, axis=-1) / (length(first) * length(second))
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def line_deviation_deg(upper: FloatArray, middle: FloatArray, lower: FloatArray) -> FloatArray:
    """(...,) how far ``middle`` breaks the line from ``upper`` to ``lower``, in the image.

    180 minus the angle at ``middle``; positive when ``middle`` lies below the line (toward
    larger y), negative above: a sagging hip is positive, a piked one negative.
    """
    bend = 180.0 - joint_angle_deg(upper, middle, lower)
    span = lower - upper
    offset = middle - upper
    below = span[..., 0] * offset[..., 1] - span[..., 1] * offset[..., 0]
    sign = np.where(below * np.sign(span[..., 0]) >= 0.0, 1.0, -1.0)
    return np.asarray(sign * bend)


def inclination_deg(low_end: FloatArray, high_end: FloatArray) -> FloatArray:
    """(...,) elevation of ``high_end`` over ``low_end`` above the image's horizontal."""
    rise = low_end[..., 1] - high_end[..., 1]
    run = np.abs(high_end[..., 0] - low_end[..., 0])
    return np.asarray(np.degrees(np.arctan2(rise, run)))


_MOST_CELLS = 1000  # of a side of the grid in which a mode is looked for


def usual_place(points: FloatArray, span: float, within: float) -> FloatArray:
    """(2,) where ``points`` (N, 2) are for longest: their mode, on a scale of ``span``.

    The median of those within ``within`` spans of it; NaN points are left out.
    """
    known = points[np.isfinite(points[:, 0])]
    low = known.min(axis=0)
    # One point far away does not make the grid as large as its distance.
    cell = max(0.1 * span, float(np.ptp(known, axis=0).max()) / _MOST_CELLS)
    if cell <= 0:  # all in one place
        return np.asarray(low)
    cells = np.floor((known - low) / cell).astype(int)
    counts = np.zeros(cells.max(axis=0) + 1)
    np.add.at(counts, (cells[:, 0], cells[:, 1]), 1.0)
    busiest = np.unravel_index(_blurred(counts).argmax(), counts.shape)
    place = low + (np.array(busiest) + 0.5) * cell
    for _ in range(2):
        near = length(known - place) < within * span
        if near.any():
            place = np.median(known[near], axis=0)
    return np.asarray(place)


def _blurred(counts: FloatArray) -> FloatArray:
    """(A, B) with each cell spread over its neighbours like a bell, of one cell (sd)."""
    bell = np.exp(-0.5 * np.arange(-4, 5) ** 2)
    for _ in counts.shape:  # down, then the other way
        around = np.pad(counts, ((4, 4), (0, 0)), mode="symmetric")
        counts = (sliding_window_view(around, len(bell), axis=0) @ bell).T
    return counts
