from __future__ import annotations

import math

import pytest

from formcheck.faults.limits import default_limits, with_values
from formcheck.measures.values import rep_values
from formcheck.report.words import (
    disagreement_text,
    how_to_film,
    in_force_text,
    judged_name,
    limit_text,
    plus_minus,
    unit_name,
    variation_text,
    with_unit,
)
from formcheck.variation.recognise import Disagreement
from tests.report.conftest import judged


def test_what_hides_in_one_view_is_filmed_from_the_other() -> None:
    assert "from the side" in how_to_film("hip_sag")
    assert "from the front" in how_to_film("elbow_flare")
    assert how_to_film("rushed_eccentric") == how_to_film("tempo") == ""


def test_what_was_not_judged_has_a_name_whatever_its_kind() -> None:
    assert judged_name("hip_sag") == judged_name("hip_pike") == "Body line"
    assert judged_name("load_fraction") == "Load on the hands"
    assert judged_name("surface") == "Support and surface"


def test_what_was_done_is_named_from_what_is_known() -> None:
    assert variation_text(judged("hip_sag_side").variation) == "on the toes, hands on the floor"
    assert variation_text(judged("wide_front").variation) == "wide hands"


def test_a_disagreement_says_which_word_counts() -> None:
    text = disagreement_text(Disagreement("surface", "floor", "hands_raised", 0.8))
    assert text == (
        "You said hands on the floor; the clip looks like hands raised (80 % sure). Yours counts."
    )
    assert "judged against" in disagreement_text(Disagreement("hands", "wide", "close", 0.999))


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (104.4, "deg", "104°"),
        (-0.2, "deg", "0°"),
        (-15.0, "deg", "−15°"),
        (0.351, "s", "0.35 s"),
        (1.346, "shoulder widths", "1.35 shoulder widths"),
        (0.714, "share of body mass", "71 % of body mass"),
        (math.nan, "deg", "–"),
        (None, "s", "–"),
    ],
)
def test_a_number_carries_its_unit(value: float | None, unit: str, text: str) -> None:
    assert with_unit(value, unit) == text


def test_the_unit_is_said_once_with_the_uncertainty() -> None:
    assert plus_minus(1.29, 0.2, "s") == "1.29 ± 0.20 s"
    assert plus_minus(104.0, 5.0, "deg") == "104° ± 5°"
    assert plus_minus(104.0, math.nan, "deg") == "104°"


def test_the_limit_names_the_side_that_was_left() -> None:
    assert limit_text(104.0, 90.0, "deg") == "at most 90°"
    assert limit_text(147.0, 160.0, "deg") == "at least 160°"


def test_every_unit_can_be_written_and_heads_a_column() -> None:
    limits, values = default_limits().values(), rep_values().values()
    for unit in {one.unit for one in limits} | {one.unit for one in values}:
        assert with_unit(1.0, unit).startswith("1")
        assert unit_name(unit) in with_unit(1.0, unit)


def test_own_limits_are_told_by_the_faults_name_with_their_unit() -> None:
    mine = with_values(default_limits(), {"hip_sag": 8.5, "hip_pike": -20.0})
    said = in_force_text(mine, None)
    assert "hips sag 8.5° instead of 12°" in said and "hips piked −20° instead of −15°" in said
