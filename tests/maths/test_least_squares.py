"""Problems whose answer is known, from starts as far away as those of a set."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from formcheck.maths.arrays import FloatArray
from formcheck.maths.least_squares import least_squares, slope_of


def valley(x: FloatArray) -> FloatArray:
    """(K, 2) of Rosenbrock's valley, lowest at (1, 1) (Comput J 1960;3:175-184)."""
    return np.stack([10.0 * (x[:, 1] - x[:, 0] ** 2), 1.0 - x[:, 0]], axis=1)


def test_the_end_of_a_bent_valley_is_found() -> None:
    start = np.array([-1.2, 1.0])
    fit = least_squares(lambda x: valley(x[None])[0], slope_of(valley), start, 100, 1e-12)
    assert fit.x == pytest.approx([1.0, 1.0], abs=1e-4)
    assert fit.cost == pytest.approx(0.0, abs=1e-8)


def test_a_decay_is_fitted_as_scipy_fits_it() -> None:
    t_s = np.linspace(0.0, 3.0, 40)
    seen = 4.0 * np.exp(-1.3 * t_s) + np.random.default_rng(6).normal(0.0, 0.05, 40)

    def away(x: FloatArray) -> FloatArray:
        return np.asarray(x[:, :1] * np.exp(-x[:, 1:] * t_s) - seen)

    start = np.array([1.0, 0.2])
    fit = least_squares(lambda x: away(x[None])[0], slope_of(away), start, 60, 1e-12)
    expected = optimize.least_squares(lambda x: away(x[None])[0], start, method="lm")
    assert fit.x == pytest.approx(expected.x, abs=1e-5)
    assert fit.cost == pytest.approx(2 * expected.cost, rel=1e-9)


def test_a_parameter_that_changes_nothing_stays_where_it_was() -> None:
    def away(x: FloatArray) -> FloatArray:
        return np.stack([x[:, 0] - 3.0, 2.0 * (x[:, 0] - 3.0)], axis=1)

    fit = least_squares(lambda x: away(x[None])[0], slope_of(away), np.array([0.0, 7.0]), 30, 1e-12)
    assert fit.x == pytest.approx([3.0, 7.0], abs=1e-5)
