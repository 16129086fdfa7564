"""How fast the shoulders rise, how that fades over the set, and whether the hips keep up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from formcheck.asked.person import Person
from formcheck.maths.arrays import FloatArray
from formcheck.maths.filtering import low_pass
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.timing import NOT_PRESSED_UP
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.curves import Signals
from formcheck.variation.segments import arm_m

RISE_HIDDEN = "the shoulders or hips were not seen all the way up"
HIPS_NEED_SIDE = "hips and shoulders rise apart visibly only from the side"
# Arm lengths: an error of the rise between two smoothed points, one standard deviation.
_RISE_SD = 0.02
_PEAK_CUTOFF_HZ = 4.0  # a peak over less than a tenth of a second is noise
_LEAST_HIP_RISE = 0.06  # arm lengths; hips that hardly move have no time of their own


def mean_concentric_speed(look: Look, rep: Rep) -> Quantity:
    """Rise of the shoulders over the concentric (arm lengths per second)."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    rise, taken_s = _rise(look.signals, rep), rep.concentric_s
    if not np.isfinite(rise) or taken_s <= 0:
        return not_measured(RISE_HIDDEN)
    relative = np.hypot(1.4 * _RISE_SD / max(rise, 0.05), 0.05 / taken_s)
    return Quantity(rise / taken_s, float(1.96 * relative * rise / taken_s), view=look.view.kind)


def peak_concentric_speed(look: Look, rep: Rep) -> Quantity:
    """Fastest rise of the shoulders within the concentric (arm lengths per second)."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    signals = look.signals
    around = signals.between(rep.bottom_end_s - 0.5, rep.top_s + 0.5)
    smooth = low_pass(signals.shoulder_height[around], signals.rate_hz, _PEAK_CUTOFF_HZ)
    speed = np.gradient(smooth, 1.0 / signals.rate_hz)
    if not np.isfinite(speed).any():
        return not_measured(RISE_HIDDEN)
    value = float(np.nanmax(speed))
    return Quantity(value, 0.15 * value, view=look.view.kind)


def in_metres(speed: Quantity, person: Person) -> Quantity:
    """A speed in arm lengths per second as metres per second, where the arm's length is known."""
    arm = arm_m(person)
    if not arm.known or not speed.known:
        return speed
    return replace(
        speed,
        value=speed.value * arm.value,
        plus_minus=float(np.hypot(speed.plus_minus * arm.value, speed.value * arm.plus_minus)),
    )


def hips_lag(look: Look, rep: Rep) -> Quantity:
    """How much later (s) the hips pass half of their rise than the shoulders; - earlier."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    if not look.view.from_side:
        return not_measured(HIPS_NEED_SIDE)
    signals = look.signals
    span = signals.between(rep.bottom_end_s - 0.2, rep.top_s + 0.2)
    shoulder = _half_way_s(signals.shoulder_height[span], signals.t_s[span])
    hip = _half_way_s(signals.hip_height[span], signals.t_s[span])
    if not np.isfinite(shoulder) or not np.isfinite(hip):
        return not_measured(RISE_HIDDEN)
    return Quantity(hip - shoulder, 0.06 + 0.15 * rep.concentric_s, view=look.view.kind)


def speed_loss_percent(speeds: Sequence[Quantity]) -> float:
    """Loss (%) from the set's fastest rep to its last, 0 at least; NaN with fewer than two known.

    The set's own fastest rep is the reference (Perez-Castilla et al., Appl Sci 2024;14:4531).
    Reps of equal effort vary by 6 to 7 % (van den Tillaar & Ball, Sports 2019;7:207), so less
    than that says nothing.
    """
    known = [q.value for q in speeds if q.known]
    if len(known) < 2 or max(known) <= 0:
        return float("nan")
    return max(0.0, 100.0 * (max(known) - known[-1]) / max(known))


def _rise(signals: Signals, rep: Rep) -> float:
    height = signals.shoulder_height
    low = height[signals.between(rep.bottom_end_s - 0.05, rep.bottom_end_s + 0.05)]
    high = height[signals.between(rep.top_s - 0.05, rep.top_s + 0.05)]
    if not (np.isfinite(low).any() and np.isfinite(high).any()):
        return float("nan")
    return float(np.nanmean(high) - np.nanmean(low))


def _half_way_s(height: FloatArray, t_s: FloatArray) -> float:
    if not np.isfinite(height).all() or len(height) < 4:
        return float("nan")
    low, high = height[:3].mean(), height[-3:].mean()
    if high - low < _LEAST_HIP_RISE:
        return float("nan")
    above = height >= (low + high) / 2
    first = int(np.argmax(above))
    if first == 0:
        return float("nan")
    part = ((low + high) / 2 - height[first - 1]) / (height[first] - height[first - 1])
    return float(t_s[first - 1] + part * (t_s[first] - t_s[first - 1]))
