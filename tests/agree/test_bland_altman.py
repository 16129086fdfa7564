"""Bland and Altman's own worked example."""

from __future__ import annotations

import math

import numpy as np
import pytest

from formcheck.agree.bland_altman import bland_altman

# Bland JM, Altman DG. Statistical methods for assessing agreement between two methods of clinical
# measurement. Lancet 1986;1:307-310, table 1: peak flow of 17 people by two meters, first
# readings, l/min. The paper: mean difference -2.1, SD 38.8, limits -79.7 and 75.5 (at 2 SD);
# interval of the bias -22.0 to 17.8, of the lower limit -114.3 to -45.1, of the upper 40.9 to
# 110.1.
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_bias_and_limits_are_those_of_the_paper() -> None:
    found = bland_altman(np.array(LARGE, float), np.array(MINI, float))
    assert found.pairs == 17
    assert found.bias.value == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    # The paper rounds 1.96 to 2; the limits here are that much closer.
    nearer = 0.04 * found.sd
    assert found.lower.value == pytest.approx(-79.7 + nearer, abs=0.1)
    assert found.upper.value == pytest.approx(75.5 - nearer, abs=0.1)
    assert (found.bias.low, found.bias.high) == pytest.approx((-22.0, 17.8), abs=0.1)
    assert (found.lower.low, found.lower.high) == pytest.approx(
        (-114.3 + nearer, -45.1 + nearer), abs=0.3
    )
    assert (found.upper.low, found.upper.high) == pytest.approx(
        (40.9 - nearer, 110.1 - nearer), abs=0.3
    )


def test_one_pair_has_a_bias_and_no_limits() -> None:
    found = bland_altman(np.array([6.0]), np.array([5.0]))
    assert found.bias.value == 1.0 and math.isnan(found.lower.value) and math.isnan(found.sd)
