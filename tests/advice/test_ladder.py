"""The rungs in their order, with the loads that force plates read."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from formcheck.advice.ladder import (
    Exercise,
    height_of,
    ladder,
    level_load,
    nearest_rung,
    steps,
    ways,
)
from formcheck.measures.load import USUAL_ARM_M

FLOOR = Exercise("floor", "toes", "two", "normal", 0.0)
BY_KEY = {rung.key: rung for rung in ladder()}


def test_the_ladder_climbs_by_what_the_working_arm_bears() -> None:
    for lighter, heavier in pairwise(ladder()):
        assert heavier.working_load >= lighter.working_load - 1e-9, heavier.key


def test_loads_stand_to_the_floor_as_force_plates_read_them() -> None:
    """Ebben et al., J Strength Cond Res 2011;25:2891-2894 (numbers second-hand)."""
    for height_m, percent in ((0.61, 41), (0.305, 55), (-0.305, 70), (-0.61, 74)):
        ratio = level_load(height_m / USUAL_ARM_M) / level_load(0.0)
        assert ratio == pytest.approx(percent / 64, abs=0.035), height_m


def test_knees_take_off_as_much_as_published() -> None:
    # Suprak 2011 53.56 / 69.16 and Ebben 2011 49 / 64 (second-hand); Gouvali & Boudolos 2005
    # 52.9 / 66.4 (abstract).
    ratio = BY_KEY["knees"].load / BY_KEY["floor"].load
    for kneeling, toes in ((53.56, 69.16), (52.9, 66.4), (49.0, 64.0)):
        assert ratio == pytest.approx(kneeling / toes, abs=0.02)


def test_the_ladder_orders_published_conditions_as_measured() -> None:
    # Ebben 2011 (order in the abstract): hands high, knees, hands low, floor, feet low, feet high.
    published = (
        "hands_on_chair", "knees", "hands_on_step", "floor", "feet_on_step", "feet_on_chair",
    )  # fmt: skip
    assert [rung.key for rung in ladder() if rung.key in published] == list(published)


def test_every_rung_but_uneven_hands_is_found_from_its_own_exercise() -> None:
    for rung in ladder():
        if not rung.uneven:
            done = Exercise(rung.surface, rung.support, rung.arms, rung.hands, rung.height)
            assert nearest_rung(done) == rung


def test_what_is_not_known_of_an_exercise_has_no_rung() -> None:
    assert nearest_rung(replace(FLOOR, surface=None)) is None
    assert nearest_rung(replace(FLOOR, support=None)) is None
    high = nearest_rung(replace(FLOOR, surface="hands_raised", height=math.nan))
    assert high is not None and high.surface == "hands_raised"


def test_height_and_load_are_one_curve() -> None:
    for height in (1.2, 0.4, 0.0, -0.5):
        assert height_of(level_load(height)) == pytest.approx(height, abs=0.02)
    assert height_of(0.1) == math.inf and height_of(0.9) == -math.inf


def test_ways_fit_what_was_done() -> None:
    assert {"slow_lowering", "bottom_pause", "deficit"} == {w.key for w in ways("harder", FLOOR)}
    assert "deficit" not in {w.key for w in ways("harder", replace(FLOOR, rings=True))}
    assert {"negatives"} == {w.key for w in ways("easier", FLOOR)}
    assert not ways("easier", replace(FLOOR, support="knees"))


def test_every_figure_of_the_data_is_read_by_the_code() -> None:
    """What nothing reads has no place in the file."""
    from pathlib import Path

    import formcheck.advice as room

    code = "".join(p.read_text("utf-8") for p in Path(room.__path__[0]).glob("*.py"))
    assert all(f'"{name}"' in code for name in steps())
