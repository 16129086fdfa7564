"""Zero-phase smoothing, gaps and outliers, on evenly or unevenly sampled curves.

scipy has a filter and Akima's curve too, but importing them takes as long as judging a set.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from formcheck.maths.arrays import FloatArray

RATE_HZ = 30.0  # of the even grid that every curve stands on
# A push-up at 60 a minute is 1 Hz, so 6 Hz keeps six harmonics of the fastest sets while
# landmark jitter is cut; 6 Hz is the usual choice for human movement (Appl Sci 2025;15(4):2177).
CUTOFF_HZ = 6.0
# Longest stretch without a landmark that is bridged: half of the fastest whole rep, or the
# tracker's usual short loss.
LONGEST_GAP_S = 0.7
# Beyond its ends a curve goes on as its reflection, so many samples, and then stays where it is
# until the filter has forgotten: so many periods of the cut-off.
_REFLECTED, _FORGOTTEN = 9, 4
_LEAST_SAMPLES = 15  # below them nothing is smoothed
_MEDIAN_WINDOW_S = 0.36
_OUTLIER_MADS = 6.0

# Running a second-order filter forward and backward lowers its -3 dB point; the design cut-off
# is divided by this so the pair has the cut-off asked for: (sqrt(2) - 1) ** (1/4), Winter,
# Biomechanics and Motor Control of Human Movement, 4th ed.
TWO_PASS_CORRECTION = (2.0**0.5 - 1.0) ** 0.25


def low_pass(values: FloatArray, rate_hz: float, cutoff_hz: float = CUTOFF_HZ) -> FloatArray:
    """Zero-lag fourth-order Butterworth along axis 0. NaN stretches stay NaN.

    The second-order filter run forward and backward. ``values`` (M, ...) evenly sampled at
    ``rate_hz``. Gaps are bridged while filtering so that what lies beside them is not lost, and
    blanked again.
    """
    design = min(cutoff_hz / TWO_PASS_CORRECTION / rate_hz, 0.45)
    flat = values.reshape(len(values), -1)
    known = np.isfinite(flat)
    out = np.full(flat.shape, np.nan)
    complete = known.all(axis=0)
    if len(flat) > _LEAST_SAMPLES:
        if complete.any():
            out[:, complete] = _both_ways(flat[:, complete], design)
        places = np.arange(len(flat))
        for column in np.flatnonzero(~complete & (known.sum(axis=0) > _LEAST_SAMPLES)):
            here = known[:, column]
            filled = np.interp(places, places[here], flat[here, column])
            out[here, column] = _both_ways(filled[:, None], design)[here, 0]
    else:
        out = flat.copy()
    return out.reshape(values.shape)


def _both_ways(values: FloatArray, design: float) -> FloatArray:
    """``values`` (M, K) through a second-order Butterworth filter forward and backward, whose
    cut-off is ``design`` cycles a sample.

    Both ways together delay nothing and leave of each frequency the square of what one leaves:
    1 / (1 + (f / cut-off)^4), f warped by tan(pi f) for samples (bilinear transform; Oppenheim and
    Schafer, Discrete-Time Signal Processing, from memory).
    """
    still = math.ceil(_FORGOTTEN / design)
    around = np.pad(values, ((_REFLECTED,) * 2, (0, 0)), mode="reflect", reflect_type="odd")
    around = np.pad(around, ((still,) * 2, (0, 0)), mode="edge")
    warped = np.tan(np.pi * np.fft.rfftfreq(len(around))) / np.tan(np.pi * design)
    left = np.fft.rfft(around, axis=0) / (1.0 + warped[:, None] ** 4)
    smooth = np.fft.irfft(left, len(around), axis=0)
    return np.asarray(smooth[still + _REFLECTED :][: len(values)])


def without_outliers(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """Blank samples that jump away from their neighbours and come back.

    ``values`` (N, K) at uneven times ``t_s`` (N,). The tolerance is six median absolute deviations
    of the curve from its running median. A turn of a fast movement also leaves the median, but not
    the cubic through the samples beside it; an outlier leaves both.
    """
    window = max(3, round(_MEDIAN_WINDOW_S / _usual_step(t_s)) | 1)
    filled = np.where(np.isfinite(values), values, np.nanmedian(values, axis=0, keepdims=True))
    around = np.pad(filled, ((window // 2,) * 2, (0, 0)), mode="edge")
    away = np.abs(values - np.median(sliding_window_view(around, window, axis=0), axis=-1))
    spread = np.nanmedian(away, axis=0, keepdims=True)
    typical = np.nanmedian(spread)
    tolerance = _OUTLIER_MADS * 1.4826 * np.maximum(spread, max(float(typical), 0.5))
    sudden = np.abs(values - _cubic_beside(t_s, filled))
    return np.where((away > tolerance) & (sudden > tolerance), np.nan, values)


def _usual_step(t_s: FloatArray) -> float:
    return float(np.median(np.diff(t_s))) if len(t_s) > 1 else np.inf


def _cubic_beside(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """At each sample, the cubic through the two before and the two after it (Lagrange's form)."""
    step_s = _usual_step(t_s)
    outside_s = np.array([1.0, 2.0]) * (step_s if np.isfinite(step_s) else 1.0)
    at = np.concatenate([t_s[0] - outside_s[::-1], t_s, t_s[-1] + outside_s])
    beside = np.pad(values, ((2, 2), (0, 0)), mode="edge")
    count, offsets = len(t_s), (0, 1, 3, 4)
    cubic = np.zeros_like(values)
    for i in offsets:
        weight = np.ones(count)
        for j in offsets:
            if j != i:
                weight *= (t_s - at[j : j + count]) / (at[i : i + count] - at[j : j + count])
        cubic += weight[:, None] * beside[i : i + count]
    return cubic


def running_quantile(values: FloatArray, share: float, before: int, after: int) -> FloatArray:
    """(N, K) a quantile of ``values`` (N, K) over the samples around each, so many ``before`` and
    ``after`` it, as many as there are; between two samples in proportion. NaN samples count for
    nothing, and where there are no others NaN stays."""
    padded = np.pad(values, ((before, after), (0, 0)), constant_values=np.nan)
    # numpy's nanquantile goes through windows one by one, which takes a hundred times as long.
    around = np.sort(sliding_window_view(padded, before + after + 1, axis=0), axis=-1)  # NaN last
    count = np.isfinite(around).sum(axis=-1, keepdims=True)
    place = share * np.maximum(count - 1, 0)
    lower = np.floor(place).astype(int)
    low, high = (
        np.take_along_axis(around, one, axis=-1)
        for one in (lower, np.minimum(lower + 1, np.maximum(count - 1, 0)))
    )
    return np.asarray((low + (high - low) * (place - lower))[..., 0])


def resample(t_s: FloatArray, values: FloatArray, grid_s: FloatArray) -> FloatArray:
    """``values`` (N, K) at uneven times ``t_s`` (N,) onto ``grid_s`` (M,): (M, K).

    Smooth local interpolation; gaps longer than ``LONGEST_GAP_S`` and the time before the
    first and after the last known sample stay NaN.
    """
    out = np.full((len(grid_s), values.shape[1]), np.nan)
    known = np.isfinite(values)
    patterns, which = np.unique(known, axis=1, return_inverse=True)
    for number in range(patterns.shape[1]):
        columns, rows = np.flatnonzero(which == number), patterns[:, number]
        if rows.sum() < 5:
            continue
        seen_s = t_s[rows]
        curve = _akima(seen_s, values[rows][:, columns], grid_s)
        after = np.searchsorted(seen_s, grid_s)
        before_s = seen_s[np.clip(after - 1, 0, len(seen_s) - 1)]
        next_s = seen_s[np.clip(after, 0, len(seen_s) - 1)]
        curve[(next_s - before_s > LONGEST_GAP_S) & (grid_s != next_s)] = np.nan
        out[:, columns] = curve
    return out


def _akima(t_s: FloatArray, values: FloatArray, at_s: FloatArray) -> FloatArray:
    """``values`` (N, K) at ``t_s`` (N,), N at least 3, between which a smooth curve runs, at
    ``at_s`` (M,); NaN outside.

    A cubic from each to the next. Its slope at a point is the mean of those of the lines beside it,
    each weighted by how little the lines turn on the other side (Akima, J ACM 1970;17:589-602).
    """
    steps_s = np.diff(t_s)[:, None]
    lines = np.diff(values, axis=0) / steps_s
    # Two more lines on either side, each turning as the one before it.
    lines = np.concatenate(
        [
            3 * lines[:1] - 2 * lines[1:2], 2 * lines[:1] - lines[1:2],
            lines,
            2 * lines[-1:] - lines[-2:-1], 3 * lines[-1:] - 2 * lines[-2:-1],
        ]
    )  # fmt: skip
    turns = np.abs(np.diff(lines, axis=0))
    before, after = turns[:-2], turns[2:]
    straight = before + after <= 1e-9 * (before + after).max(initial=0.0)
    share = np.where(straight, 0.5, before / np.where(straight, 1.0, before + after))
    slopes = lines[1:-2] + share * (lines[2:-1] - lines[1:-2])
    place = np.clip(np.searchsorted(t_s, at_s, side="right") - 1, 0, len(t_s) - 2)
    u = ((at_s - t_s[place]) / steps_s[place, 0])[:, None]
    curve = (
        (1 + 2 * u) * (1 - u) ** 2 * values[place]
        + u**2 * (3 - 2 * u) * values[place + 1]
        + u * (1 - u) * steps_s[place] * ((1 - u) * slopes[place] - u * slopes[place + 1])
    )
    curve[(at_s < t_s[0]) | (at_s > t_s[-1])] = np.nan
    return np.asarray(curve)
