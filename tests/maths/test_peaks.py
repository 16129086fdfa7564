"""The curves of a set have ends, level tops and peaks within peaks."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks

from formcheck.maths.peaks import peaks


def test_a_level_top_counts_once_in_its_middle_and_an_end_is_no_peak() -> None:
    values = np.array([9.0, 1.0, 5.0, 5.0, 5.0, 0.0, 3.0, 2.0, 4.0])
    assert peaks(values).tolist() == [3, 6]
    assert peaks(values, 2.0).tolist() == [3]
    assert peaks(values[:1]).tolist() == peaks(np.ones(5)).tolist() == []


@pytest.mark.parametrize("least", [0.0, 0.5, 2.0])
@pytest.mark.parametrize("steps", [1.0, 0.0])
def test_they_are_those_that_scipy_finds(least: float, steps: float) -> None:
    rng = np.random.default_rng(1)
    for count in (2, 3, 10, 200):
        for _ in range(30):
            values = np.cumsum(rng.normal(size=count))
            values = np.round(values) if steps else values
            prominence = {"prominence": least} if least else {}
            assert peaks(values, least).tolist() == find_peaks(values, **prominence)[0].tolist()
