"""When a movement begins and ends, from the whole of its course.

A boundary of a phase is where its speed crosses 5 % of the phase's peak. Noise hides so slow a
movement, but not the movement as a whole: so a course is fitted to all of it, and the crossing
is that of the course. The family holds the minimum-jerk movement, which people make when nothing
hinders them (Flash and Hogan, J Neurosci 1985;5:1688-1703) and whose way over time
10u^3 - 15u^4 + 6u^5 is the incomplete beta function I_u(3, 3); other exponents give a jerkier or
steadier start and end. How far they may stray from 3 is weighed against what the curve shows.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares
from scipy.special import betainc

from formcheck.maths.arrays import FloatArray

BOUNDARY_SHARE = 0.05
# Of a minimum-jerk movement: when 20 and 80 % of the way are done, and when the speed is 5 % of
# its peak, as shares of its duration (computed).
_FIFTH, _SLOW = 0.326, 0.0594
_SMOOTH = np.log(3.0)
_SHAPE_SD = 0.35  # of the exponents' logarithm between movements
# What smoothed elbow angles wobble by (deg). Smoothing at 6 Hz leaves 2 of 5 samples at 30 Hz
# independent, so each counts for less.
_WOBBLE_DEG = 1.5 * 2.5**0.5
_REST_S = 0.07  # the outer part of a window, which shows the level it starts or ends at
_LEAST_SAMPLES = 6
_OUTSIDE_S = 0.03  # how far a movement may reach beyond the window that holds it
_PEAK_U = np.linspace(0.0, 1.0, 2001)[1:-1]


def first_guess(t_s: FloatArray, curve: FloatArray) -> tuple[float, float]:
    """Boundaries (s) of the one rise of ``curve`` (M,), from when it is a fifth and four done."""
    gone = (curve - curve[0]) / max(float(curve[-1] - curve[0]), 1e-9)
    late = int(np.argmax(gone >= 0.8))
    early = late - int(np.argmax(gone[late::-1] <= 0.2))
    lasts_s = max(float(t_s[late] - t_s[early]), 1e-3) / (1 - 2 * _FIFTH)
    beyond_s = (_FIFTH - _SLOW) * lasts_s
    return (
        float(max(t_s[early] - beyond_s, t_s[0])),
        float(min(t_s[late] + beyond_s, t_s[-1])),
    )


def boundaries(
    t_s: FloatArray, curve: FloatArray, guess: tuple[float, float]
) -> tuple[float, float]:
    """Boundaries (s) of the one movement of ``curve`` (M,), deg, with rest on either side.

    NaN samples are left out. ``guess`` is given back where the curve is too short to tell.
    """
    known = np.isfinite(curve)
    t_s, curve = t_s[known], curve[known]
    if len(t_s) < _LEAST_SAMPLES:
        return guess
    level = np.array(
        [
            np.median(curve[t_s <= max(guess[0], t_s[0] + _REST_S)]),
            np.median(curve[t_s >= min(guess[1], t_s[-1] - _REST_S)]),
        ]
    )

    def misfit(course: FloatArray) -> FloatArray:
        begin_s, log_lasts, *shape = course
        done = betainc(*np.exp(shape), np.clip((t_s - begin_s) / np.exp(log_lasts), 0.0, 1.0))
        # The levels it moves between follow from the course; where rest is hardly seen, from
        # the samples beside it.
        left = 1.0 - done
        cross = float(left @ done)
        ends = np.linalg.solve(
            [[left @ left + 1.0, cross], [cross, done @ done + 1.0]],
            [left @ curve + level[0], done @ curve + level[1]],
        )
        away = (left * ends[0] + done * ends[1] - curve) / _WOBBLE_DEG
        # What lies outside the window is another phase.
        outside_s = [t_s[0] - begin_s, begin_s + np.exp(log_lasts) - t_s[-1]]
        return np.concatenate(
            [away, (np.array(shape) - _SMOOTH) / _SHAPE_SD, np.maximum(outside_s, 0.0) / _OUTSIDE_S]
        )

    lasts_s = max((guess[1] - guess[0]) / (1 - 2 * _SLOW), 0.1)
    start = [guess[0] - _SLOW * lasts_s, np.log(lasts_s), _SMOOTH, _SMOOTH]
    fitted = least_squares(misfit, start, method="lm", xtol=1e-3, ftol=1e-4)
    begin_s, log_lasts, *shape = fitted.x
    slow = _slow_ends(*np.exp(shape))
    begins, ends = begin_s + np.exp(log_lasts) * slow
    if not t_s[0] <= begins + _REST_S < ends <= t_s[-1] + 2 * _REST_S:
        return guess
    return float(max(begins, t_s[0])), float(min(ends, t_s[-1]))


def _slow_ends(rise: float, fall: float) -> FloatArray:
    """(2,) shares of the duration at which the speed is 5 % of its peak."""
    speed = (rise - 1) * np.log(_PEAK_U) + (fall - 1) * np.log1p(-_PEAK_U)
    fast = np.flatnonzero(speed >= speed.max() + np.log(BOUNDARY_SHARE))
    return _PEAK_U[fast[[0, -1]]]
