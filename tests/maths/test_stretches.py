"""Stretches at the ends, alone and everywhere."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from formcheck.maths.arrays import BoolArray
from formcheck.maths.stretches import nearby, stretches, without_gaps, without_short


def held(signs: str) -> BoolArray:
    return np.array([sign == "x" for sign in signs])


@pytest.mark.parametrize(
    ("signs", "found"),
    [("", []), ("...", []), ("xxx", [[0, 1, 2]]), ("x..xx.x", [[0], [3, 4], [6]])],
)
def test_each_run_is_one_stretch(signs: str, found: list[list[int]]) -> None:
    assert [places.tolist() for places in stretches(held(signs))] == found


def test_short_stretches_go_and_short_gaps_between_two_are_filled() -> None:
    assert without_short(held("x..xx.xxx"), 2).tolist() == held("...xx.xxx").tolist()
    assert without_gaps(held(".x..xx.x.."), 2).tolist() == held(".x..xxxx..").tolist()


@pytest.mark.parametrize("count", [1, 7, 200])
def test_they_are_what_morphology_on_a_line_gives(count: int) -> None:
    rng = np.random.default_rng(7)
    for share in (0.1, 0.5, 0.9, 1.0):
        where = rng.random(count) < share
        for size in (1, 2, 5, 30):
            line = np.ones(size, bool)
            opened = ndimage.binary_opening(where, line)
            closed = ndimage.binary_closing(np.pad(where, size), line)[size:-size]
            around = ndimage.binary_dilation(where, np.ones(2 * size + 1, bool))
            assert without_short(where, size).tolist() == opened.tolist()
            assert without_gaps(where, size).tolist() == closed.tolist()
            assert nearby(where, size).tolist() == around.tolist()
