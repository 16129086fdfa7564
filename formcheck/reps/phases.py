"""When a movement begins and ends, from the whole of its course.

A boundary of a phase is where its speed crosses 5 % of the phase's peak. Noise hides so slow a
movement, but not the movement as a whole: so a course is fitted to all of it, and the crossing
is that of the course. The family holds the minimum-jerk movement, which people make when nothing
hinders them (Flash and Hogan, J Neurosci 1985;5:1688-1703) and whose way over time
10u^3 - 15u^4 + 6u^5 is the incomplete beta function I_u(3, 3); other exponents give a jerkier or
steadier start and end. How far they may stray from 3 is weighed against what the curve shows.

A press that grinds has two speeds and fits no one course: where one fits badly and two of minimum
jerk, one after the other or over each other, fit far better, it is taken for those two
(submovements: Flash and Henis, J Cogn Neurosci 1991;3:220-230).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.least_squares import Fit, least_squares, slope_of

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
# A fit ends with a step that gains less, in squares of the wobble.
_MOST_STEPS, _LEAST_GAIN, _DAMPING = 40, 1e-3, 0.1
_STEPS_U = np.linspace(0.0, 1.0, 401)
_MIDDLE_U = (_STEPS_U[1:] + _STEPS_U[:-1]) / 2
_PEAK_U = np.linspace(0.0, 1.0, 2001)[1:-1]
_NO_MOVEMENT_S = 0.03  # what takes less is a jump of the landmarks
# A small part of the way and then, or before it, so long a stop: settling at the top.
_SETTLING, _STOPS_S = 0.25, 0.3
# Two courses are tried where one misses by more than the curve wobbles, and taken where they miss
# by less than this share of that, and where both do a part of the way: less of it is drift.
_BADLY, _FAR_BETTER, _LEAST_PART = 0.75, 0.75, 0.12
_FIRST_PARTS = (0.5, 0.7, 0.85)  # of the way, that the first of two may have done
_NEARLY = 0.04  # of the way, left to go


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


def whole_of(t_s: FloatArray, curve: FloatArray) -> tuple[float, float]:
    """Times (s) between which the one rise of ``curve`` (M,) goes all but the last of its way."""
    gone = (curve - curve[0]) / max(float(curve[-1] - curve[0]), 1e-9)
    late = int(np.argmax(gone >= 1 - _NEARLY))
    early = late - int(np.argmax(gone[late::-1] <= _NEARLY))
    return float(t_s[early]), float(t_s[late])


# A step that goes too far overflows, fits badly, and is not taken.
@np.errstate(over="ignore", divide="ignore", invalid="ignore")
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

    def away(done: FloatArray) -> FloatArray:
        """The levels it moves between follow from the course; where rest is hardly seen, from the
        samples beside it."""
        left = 1.0 - done
        low_weight, high_weight = ((one**2).sum(axis=1) + 1.0 for one in (left, done))
        cross = (left * done).sum(axis=1)
        low_sum, high_sum = left @ curve + level[0], done @ curve + level[1]
        both = low_weight * high_weight - cross**2
        low_deg = (high_weight * low_sum - cross * high_sum) / both
        high_deg = (low_weight * high_sum - cross * low_sum) / both
        fitted = left * low_deg[:, None] + done * high_deg[:, None]
        return np.asarray((fitted - curve) / _WOBBLE_DEG)

    def outside(begin_s: FloatArray, lasts_s: FloatArray) -> FloatArray:
        """What lies outside the window is another phase."""
        beyond_s = np.hstack([t_s[0] - begin_s, begin_s + lasts_s - t_s[-1]])
        return np.asarray(np.maximum(beyond_s, 0.0) / _OUTSIDE_S)

    def one(courses: FloatArray) -> FloatArray:
        begin_s, lasts_s, rise, fall = np.split(courses, 4, axis=1)
        lasts_s = np.exp(lasts_s)
        u = np.clip((t_s - begin_s) / lasts_s, 0.0, 1.0)
        done = gone(u, np.exp(rise), np.exp(fall))
        strays = (courses[:, 2:] - _SMOOTH) / _SHAPE_SD
        return np.hstack([away(done), strays, outside(begin_s, lasts_s)])

    def two(courses: FloatArray) -> FloatArray:
        first_s, first_lasts, second_s, second_lasts, _ = np.split(courses, 5, axis=1)
        return np.hstack(
            [
                away(_two_done(t_s, courses)),
                outside(first_s, np.exp(first_lasts)),
                outside(second_s, np.exp(second_lasts)),
            ]
        )

    lasts_s = max((guess[1] - guess[0]) / (1 - 2 * _SLOW), 0.1)
    start = np.array([guess[0] - _SLOW * lasts_s, np.log(lasts_s), _SMOOTH, _SMOOTH])
    fitted = _fit(one, start)
    begin_s, log_lasts, *shape = fitted.x
    begins, ends = begin_s + np.exp(log_lasts) * _slow_ends(*np.exp(shape))
    missed = _rms(fitted.misfit[: len(t_s)])
    if missed > _BADLY:
        tries = [_fit(two, first) for first in _starts_of_two(t_s, curve, level)]
        best = min(tries, key=lambda fit: fit.cost)
        part = 1.0 / (1.0 + np.exp(-best.x[4]))
        both_move = bool((best.x[[1, 3]] > np.log(_NO_MOVEMENT_S)).all())
        if both_move and _rms(best.misfit[: len(t_s)]) < _FAR_BETTER * missed:
            if (settles := _settles(best.x)) is not None:
                begins, ends = settles
            elif _LEAST_PART < part < 1.0 - _LEAST_PART:
                begins, ends = _slow_ends_of_two(best.x)
    if not t_s[0] <= begins + _REST_S < ends <= t_s[-1] + 2 * _REST_S:
        return guess
    return float(max(begins, t_s[0])), float(min(ends, t_s[-1]))


def _fit(misfits: Callable[[FloatArray], FloatArray], start: FloatArray) -> Fit:
    return least_squares(
        lambda x: misfits(x[None])[0], slope_of(misfits), start, _MOST_STEPS, _LEAST_GAIN, _DAMPING
    )


def gone(u: FloatArray, rise: FloatArray, fall: FloatArray) -> FloatArray:
    """(K, M) share of the way gone at shares ``u`` (K, M) of the duration, I_u(rise, fall), by
    adding up the speed; exponents (K, 1). Off by a few hundredths of a degree at most; scipy's,
    which is exact, takes as long to import as half a set takes to judge.
    """
    speed = _MIDDLE_U ** (rise - 1.0) * (1.0 - _MIDDLE_U) ** (fall - 1.0)
    way = np.pad(np.cumsum(speed, axis=1), ((0, 0), (1, 0)))
    return np.stack(
        [np.interp(at, _STEPS_U, one / one[-1]) for at, one in zip(u, way, strict=True)]
    )


def smoothly_gone(u: FloatArray) -> FloatArray:
    """``gone`` in a minimum-jerk movement."""
    return np.asarray(u**3 * (10.0 - 15.0 * u + 6.0 * u**2))


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _two_done(t_s: FloatArray, courses: FloatArray) -> FloatArray:
    """(K, M) share of the way gone in two movements, K times: begin (s) and log of the duration of
    each, and the logit of the first one's share (K, 5)."""
    first_s, first_lasts, second_s, second_lasts, logit = np.split(courses, 5, axis=1)
    share = 1.0 / (1.0 + np.exp(-logit))
    first, second = (
        smoothly_gone(np.clip((t_s - begin_s) / np.exp(log_lasts), 0.0, 1.0))
        for begin_s, log_lasts in ((first_s, first_lasts), (second_s, second_lasts))
    )
    return np.asarray(share * first + (1.0 - share) * second)


def _starts_of_two(t_s: FloatArray, curve: FloatArray, level: FloatArray) -> list[FloatArray]:
    """Where to look for two movements: the first of them ends when so much of the way is gone."""
    gone = np.maximum.accumulate((curve - level[0]) / max(float(level[1] - level[0]), 1e-9))

    def when(part: float) -> float:
        return float(t_s[min(int(np.searchsorted(gone, part)), len(t_s) - 1)])

    begins, ends = when(_NEARLY), when(1.0 - _NEARLY)
    out = []
    for part in _FIRST_PARTS:
        turns = when(part)
        first, second = max(turns - begins, 0.1), max(ends - turns, 0.1)
        out.append(
            np.array([begins, np.log(first), turns, np.log(second), np.log(part / (1.0 - part))])
        )
    return out


def _settles(courses: FloatArray) -> FloatArray | None:
    """(2,) seconds at which the speed of the larger of two movements is 5 % of its peak, where a
    stop parts it from a small one: arms that give a little at the top do not lower the body yet.
    """
    part = 1.0 / (1.0 + np.exp(-courses[4]))
    begins, lasts_s = courses[[0, 2]], np.exp(courses[[1, 3]])
    stops_s = max(begins[1] - begins[0] - lasts_s[0], begins[0] - begins[1] - lasts_s[1])
    if stops_s < _STOPS_S or _SETTLING < part < 1.0 - _SETTLING:
        return None
    larger = int(part < 0.5)
    return np.asarray(begins[larger] + lasts_s[larger] * np.array([_SLOW, 1.0 - _SLOW]))


def _slow_ends_of_two(courses: FloatArray) -> FloatArray:
    """(2,) seconds at which the speed is first and last 5 % of its peak."""
    begins = courses[[0, 2]]
    ends = begins + np.exp(courses[[1, 3]])
    fine_s = np.linspace(begins.min(), ends.max(), len(_PEAK_U))
    speed = np.gradient(_two_done(fine_s, courses[None])[0], fine_s)
    fast = np.flatnonzero(speed >= BOUNDARY_SHARE * speed.max())
    return fine_s[fast[[0, -1]]]


def _slow_ends(rise: float, fall: float) -> FloatArray:
    """(2,) shares of the duration at which the speed is 5 % of its peak."""
    speed = (rise - 1) * np.log(_PEAK_U) + (fall - 1) * np.log1p(-_PEAK_U)
    fast = np.flatnonzero(speed >= speed.max() + np.log(BOUNDARY_SHARE))
    return _PEAK_U[fast[[0, -1]]]
