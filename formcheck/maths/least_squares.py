"""Least squares by Levenberg and Marquardt, as scipy has it, which takes long to import."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from formcheck.maths.arrays import FloatArray

_STEP = 1e-6


class Fit(NamedTuple):
    """``x`` (P,) that fits best; there the ``misfit`` (R,), its sum of squares ``cost``, and the
    Jacobian (R, P)."""

    x: FloatArray
    misfit: FloatArray
    cost: float
    jacobian: FloatArray


def least_squares(
    misfit: Callable[[FloatArray], FloatArray],
    slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    x: FloatArray,
    iterations: int,
    least_gain: float = 1e-2,
    damping: float = 1e-2,
) -> Fit:
    """The parameters (P,) near ``x`` whose ``misfit`` (R,) has the smallest sum of squares.

    ``slope`` gives the Jacobian (R, P) and the misfit. It ends after so many steps, or with one
    that lowers the sum by less than ``least_gain``. The more ``damping``, the shorter the first.
    """
    jacobian, left = slope(x)
    cost = float(left @ left)
    for _ in range(iterations):
        normal = jacobian.T @ jacobian
        scale = np.diag(np.diag(normal) + 1e-12)  # a parameter that changes nothing stays
        step = np.linalg.solve(normal + damping * scale, -jacobian.T @ left)
        after = misfit(x + step)
        reached = float(after @ after)
        if reached < cost:
            settled = cost - reached < least_gain
            x, damping = x + step, damping * 0.2
            jacobian, left = slope(x)
            cost = float(left @ left)
            if settled:
                break
        else:
            damping *= 6.0
            if damping > 1e6:
                break
    return Fit(x, left, cost, jacobian)


def slope_of(
    misfits: Callable[[FloatArray], FloatArray],
) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
    """The Jacobian and the misfit by moving each parameter a little; ``misfits`` gives (K, R) of
    K sets of parameters (K, P) at once."""

    def slope(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        left = misfits(x + _STEP * np.eye(len(x) + 1, len(x), -1))
        return (left[1:] - left[0]).T / _STEP, left[0]

    return slope
