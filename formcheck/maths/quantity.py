"""A measured value with its uncertainty, or the reason why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import FloatArray


@dataclass(frozen=True)
class Quantity:
    """A value and the half-width of its 95 % interval, both in the unit its key names.

    ``value`` is NaN when nothing could be measured; ``reason`` then says why, in words for
    the person who filmed the clip. ``view`` is the view that showed it, ``at_s`` when, where a
    value belongs to one moment.
    """

    value: float
    plus_minus: float = math.nan
    reason: str | None = None
    view: str | None = None
    at_s: float | None = None

    @property
    def known(self) -> bool:
        return math.isfinite(self.value)


def median_known(values: FloatArray) -> float:
    """Median of the values (K,) that are known; NaN when none is."""
    return float(np.nanmedian(values)) if np.isfinite(values).any() else math.nan


def not_measured(reason: str) -> Quantity:
    return Quantity(math.nan, math.nan, reason)
