from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks

from formcheck.maths.peaks import peaks


@pytest.mark.parametrize("prominence", [0.0, 0.5, 2.0, 5.0])
def test_the_highs_are_those_that_scipy_finds(prominence: float) -> None:
    rng = np.random.default_rng(1)
    for decimals in (0, 1, 6):  # rounded walks have flat highs
        for count in (1, 2, 3, 40, 300):
            curve = np.round(np.cumsum(rng.normal(size=count)), decimals)
            found, _ = find_peaks(curve, prominence=prominence)
            assert np.array_equal(peaks(curve, prominence), found)


def test_a_high_stands_out_by_the_lesser_climb_down_before_a_higher_place() -> None:
    curve = np.array([0.0, 5.0, 3.0, 4.0, 1.0, 9.0, 0.0])
    assert list(peaks(curve)) == [1, 3, 5]
    assert list(peaks(curve, 1.5)) == [1, 5]
    assert list(peaks(curve, 4.5)) == [5]
