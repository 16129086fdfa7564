"""Elbow curves of sets whose every phase is known exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 30.0
# A minimum-jerk movement 10u^3 - 15u^4 + 6u^5 (Flash and Hogan, J Neurosci 1985;5:1688-1703)
# has the speed 30 u^2 (1 - u)^2, 1.875 at most; it is at 5 % of that at u = 0.0594 (computed).
SLOW_END = 0.0594


def eased(u: FloatArray) -> FloatArray:
    """0 to 1, minimum jerk."""
    u = np.clip(u, 0.0, 1.0)
    return 10 * u**3 - 15 * u**4 + 6 * u**5


@dataclass(frozen=True)
class Once:
    """One attempt: seconds of its phases, elbow angle (deg) at its bottom and at its end."""

    down_s: float = 1.5
    bottom_s: float = 0.5
    up_s: float = 1.0
    top_s: float = 1.0
    bottom_deg: float = 85.0
    top_deg: float = 170.0

    @property
    def eccentric_s(self) -> float:
        """Between the moments at 5 % of the peak speed."""
        return self.down_s * (1 - 2 * SLOW_END)

    @property
    def concentric_s(self) -> float:
        return self.up_s * (1 - 2 * SLOW_END)

    @property
    def bottom_pause_s(self) -> float:
        return self.bottom_s + SLOW_END * (self.down_s + self.up_s)


def elbow_curve(
    attempts: Sequence[Once], hold_s: float = 2.0, after_s: float = 2.0
) -> tuple[FloatArray, FloatArray]:
    """Times (M,) and elbow angle (M,): a hold, the attempts, a hold."""
    lasts = [a.down_s + a.bottom_s + a.up_s + a.top_s for a in attempts]
    t_s = np.arange(0.0, hold_s + sum(lasts) + after_s, 1 / RATE_HZ)
    elbow = np.full(len(t_s), 170.0)
    begin_s, from_deg = hold_s, 170.0
    for attempt, length_s in zip(attempts, lasts, strict=True):
        into_s = t_s - begin_s
        down = eased(into_s / attempt.down_s)
        up = eased((into_s - attempt.down_s - attempt.bottom_s) / attempt.up_s)
        elbow += (attempt.bottom_deg - from_deg) * down
        elbow += (attempt.top_deg - attempt.bottom_deg) * up
        begin_s, from_deg = begin_s + length_s, attempt.top_deg
    return t_s, elbow
