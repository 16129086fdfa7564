"""How far two counts of the same sets lie apart: bias and limits of agreement."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from formcheck.agree.coefficients import UNKNOWN, Estimate
from formcheck.maths.arrays import FloatArray


@dataclass(frozen=True)
class BlandAltman:
    """First minus second over ``pairs`` sets. ``lower`` and ``upper`` are the limits of agreement,
    between which 95 % of the differences are expected; each with its own 95 % interval."""

    pairs: int
    bias: Estimate
    sd: float
    lower: Estimate
    upper: Estimate


def bland_altman(first: FloatArray, second: FloatArray) -> BlandAltman:
    """Compare two measurements (K,) of the same things.

    Bland JM, Altman DG, Lancet 1986;1:307-310: limits at 1.96 standard deviations, their standard
    error sqrt(3 s² / n), intervals by Student's t. All NaN but the bias for fewer than two pairs.

    >>> found = bland_altman(np.array([5.0, 8.0, 6.0, 10.0]), np.array([5.0, 9.0, 6.0, 12.0]))
    >>> found.bias.value, round(found.lower.value, 2), round(found.upper.value, 2)
    (-0.75, -2.63, 1.13)
    """
    apart = np.asarray(first, float) - np.asarray(second, float)
    pairs = len(apart)
    bias = float(apart.mean()) if pairs else math.nan
    if pairs < 2:
        return BlandAltman(pairs, Estimate(bias), math.nan, UNKNOWN, UNKNOWN)
    sd = float(apart.std(ddof=1))
    t = float(stats.t.ppf(0.975, pairs - 1))
    of_bias, of_limit = t * sd / math.sqrt(pairs), t * sd * math.sqrt(3 / pairs)
    lower, upper = bias - 1.96 * sd, bias + 1.96 * sd
    return BlandAltman(
        pairs,
        Estimate(bias, bias - of_bias, bias + of_bias),
        sd,
        Estimate(lower, lower - of_limit, lower + of_limit),
        Estimate(upper, upper - of_limit, upper + of_limit),
    )
