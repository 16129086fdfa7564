"""Coefficients of agreement between two raters who say yes or no, on 2 × 2 tallies.

A tally is an array (..., 4) of how often both said yes, only the first did, only the second did,
neither did. Every coefficient works along the last axis, so that a bootstrap is one call.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formcheck.maths.arrays import FloatArray

Coefficient = Callable[[FloatArray], FloatArray]

DRAWS = 2000  # of the bootstrap: the ends of a 95 % interval then move by about a hundredth
LEAST_SETS = 4  # assumed
_SEED = 20  # any; the same labels give the same interval


@dataclass(frozen=True)
class Estimate:
    """A coefficient and its 95 % interval; all NaN where the tally does not define it."""

    value: float
    low: float = math.nan
    high: float = math.nan


UNKNOWN = Estimate(math.nan)


def tally(
    first: npt.NDArray[np.bool_], second: npt.NDArray[np.bool_], group: npt.NDArray[np.int_]
) -> FloatArray:
    """Tallies (S, 4) of verdicts (K,), one row for each group number 0 … S − 1."""
    cell = np.where(first, np.where(second, 0, 1), np.where(second, 2, 3))
    out = np.zeros((int(group.max()) + 1 if len(group) else 0, 4))
    np.add.at(out, (group, cell), 1.0)
    return out


def precision(counts: FloatArray) -> FloatArray:
    """Share of the first rater's yes that the second one shares: 1 means no false accusation."""
    both, only_first, _, _ = _cells(counts)
    return _share(both, both + only_first)


def recall(counts: FloatArray) -> FloatArray:
    """Share of the second rater's yes that the first one shares."""
    both, _, only_second, _ = _cells(counts)
    return _share(both, both + only_second)


def f1(counts: FloatArray) -> FloatArray:
    """Harmonic mean of precision and recall."""
    both, only_first, only_second, _ = _cells(counts)
    return _share(2 * both, 2 * both + only_first + only_second)


def agreement(counts: FloatArray) -> FloatArray:
    """Share of all on which both say the same."""
    both, _, _, neither = _cells(counts)
    return _share(both + neither, counts.sum(-1))


def cohen_kappa(counts: FloatArray) -> FloatArray:
    """Agreement beyond chance, chance taken from each rater's own share of yes.

    Cohen J, Educ Psychol Meas 1960;20:37-46. Undefined when both always say the same one thing;
    near 0 in spite of high agreement when yes is rare.
    """
    both, only_first, only_second, neither = _cells(counts)
    total = counts.sum(-1)
    by_chance = _share(
        (both + only_first) * (both + only_second)
        + (neither + only_first) * (neither + only_second),
        total**2,
    )
    return _beyond(agreement(counts), by_chance)


def gwet_ac1(counts: FloatArray) -> FloatArray:
    """Agreement beyond chance, chance taken from how evenly yes and no are spread.

    Gwet KL, Br J Math Stat Psychol 2008;61:29-48. Stays with the agreement where yes is rare:

    >>> counts = np.array([1.0, 2.0, 2.0, 95.0])  # both yes, first only, second only, neither
    >>> round(float(agreement(counts)), 2), round(float(cohen_kappa(counts)), 2)
    (0.96, 0.31)
    >>> round(float(gwet_ac1(counts)), 2)
    0.96
    """
    both, only_first, only_second, _ = _cells(counts)
    mean_yes = _share(both + (only_first + only_second) / 2, counts.sum(-1))
    return _beyond(agreement(counts), 2 * mean_yes * (1 - mean_yes))


def estimate(counts: FloatArray, coefficient: Coefficient, draws: int = DRAWS) -> Estimate:
    """The coefficient of all sets together, and a percentile bootstrap over whole sets.

    ``counts`` (S, 4), a tally a set. Reps of one set are alike, so sets are drawn, not reps: an
    interval from single reps would be too narrow. There is no interval where fewer than
    ``LEAST_SETS`` sets bear on the coefficient: it would come out too narrow.
    """
    value = float(coefficient(counts.sum(0)))
    if np.isfinite(coefficient(counts)).sum() < LEAST_SETS:
        return Estimate(value)
    drawn = np.random.default_rng(_SEED).multinomial(
        len(counts), np.full(len(counts), 1 / len(counts)), size=draws
    )
    spread = coefficient(drawn @ counts)
    spread = spread[np.isfinite(spread)]
    if not len(spread):
        return Estimate(value)
    low, high = np.quantile(spread, (0.025, 0.975))
    return Estimate(value, float(low), float(high))


def _cells(counts: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    return counts[..., 0], counts[..., 1], counts[..., 2], counts[..., 3]


def _share(part: FloatArray, whole: FloatArray) -> FloatArray:
    nothing = np.full(np.shape(whole), math.nan)
    return np.asarray(np.divide(part, whole, out=nothing, where=whole > 0))


def _beyond(seen: FloatArray, by_chance: FloatArray) -> FloatArray:
    nothing = np.full(np.shape(seen), math.nan)
    return np.asarray(np.divide(seen - by_chance, 1 - by_chance, out=nothing, where=by_chance < 1))
