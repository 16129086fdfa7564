"""The body's line: how far the hips leave it, and how far they leave the person's own line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from formcheck.filtering import low_pass
from formcheck.measures.depth import between
from formcheck.quantity import Quantity, not_measured
from formcheck.reps import Rep
from formcheck.signals import HIP_VENTRAL_SD, Signals
from formcheck.views import View

FloatArray = npt.NDArray[np.float64]

LINE_NEEDS_SIDE = "the line of the body shows only from the side"
LINE_HIDDEN = "shoulder, hip or foot was hidden or out of the picture during the rep"
# A trunk sinks and rises slowly; faster wobble of the line is noise of three landmarks.
_LINE_CUTOFF_HZ = 2.0
# What remains within one clip after smoothing, and the clip's own constant error, as measured
# against exact joints; both one standard deviation, degrees.
_WITHIN_SD_DEG = 0.8
_SLANT_SD_DEG = 4.0


def line_curve(signals: Signals, support: Literal["toes", "knees"] | None) -> FloatArray:
    """(M,) smoothed signed deviation (deg) of the hips: + sag, - pike."""
    curve = signals.body_line_knee_deg if support == "knees" else signals.body_line_deg
    return low_pass(curve, signals.rate_hz, _LINE_CUTOFF_HZ)


def hip_deviation(
    signals: Signals, line: FloatArray, rep: Rep, view: View, support: str | None
) -> Quantity:
    """The deviation furthest from zero between leaving the top and reaching it again (deg)."""
    if view.kind in ("front", "rear"):
        return not_measured(LINE_NEEDS_SIDE)
    part = line[between(signals, rep.start_s, rep.top_s)]
    if not np.isfinite(part).any():
        return not_measured(LINE_HIDDEN)
    low, high = np.nanpercentile(part, [5.0, 95.0])
    value = high if abs(high) >= abs(low) else low
    return Quantity(float(value), _absolute_plus_minus_deg(view, support), view=view.kind)


def own_line_deg(signals: Signals, line: FloatArray, reps: Sequence[Rep]) -> float:
    """The person's own line: the median deviation in the top position before the first rep."""
    if not reps:
        return float("nan")
    first = reps[0]
    part = line[between(signals, first.start_s - 1.0, first.start_s)]
    return float(np.nanmedian(part)) if np.isfinite(part).any() else float("nan")


def hip_deviation_change(deviation: Quantity, own_deg: float, view: View) -> Quantity:
    """Deviation of a rep against the person's own line at the first top (deg)."""
    if not deviation.known or not np.isfinite(own_deg):
        return not_measured(deviation.reason or LINE_HIDDEN)
    error = 1.96 * _WITHIN_SD_DEG * (3.0 if view.kind == "oblique" else 1.0) * np.sqrt(2)
    return Quantity(deviation.value - own_deg, float(error), view=view.kind)


def _absolute_plus_minus_deg(view: View, support: str | None) -> float:
    # A hip out by b shares of the trunk turns the line by b at the trunk and b / (leg / trunk)
    # at the leg; hip to ankle is 1.67 trunks, hip to knee 0.80 (de Leva 1996, mean of both).
    leg = 0.80 if support == "knees" else 1.67
    constant = np.degrees(HIP_VENTRAL_SD * (1 + 1 / leg))
    slant = _SLANT_SD_DEG if view.kind == "oblique" else 0.0
    return float(1.96 * np.sqrt(constant**2 + _WITHIN_SD_DEG**2 + slant**2))
