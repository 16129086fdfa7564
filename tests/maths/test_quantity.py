"""A value is known or it is not, and what is not known says why."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest

from formcheck.maths.quantity import Quantity, median_known, not_measured


@pytest.mark.parametrize(
    ("value", "known"),
    [(12.0, True), (0.0, True), (-3.0, True), (math.nan, False), (math.inf, False)],
)
def test_only_a_finite_value_is_known(value: float, known: bool) -> None:
    assert Quantity(value, 1.0).known == known


def test_what_was_not_measured_has_no_value_and_says_why() -> None:
    hidden = not_measured("the arm was hidden")
    assert not hidden.known and hidden.reason == "the arm was hidden"
    assert math.isnan(hidden.value) and math.isnan(hidden.plus_minus)
    assert hidden.view is None and hidden.at_s is None


def test_the_median_is_of_what_is_known() -> None:
    assert median_known(np.array([np.nan, 9.0, 1.0, 2.0, np.nan])) == 2.0


@pytest.mark.parametrize("unknown", [[], [np.nan, np.nan]])
def test_nothing_known_has_no_median_and_raises_no_alarm(unknown: list[float]) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert math.isnan(median_known(np.array(unknown)))
