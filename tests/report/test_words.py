from __future__ import annotations

import math

import pytest

from formcheck.faults.limits import default_limits
from formcheck.report.contract import schema
from formcheck.report.page.icons import SIGNS, UNKNOWN, sign
from formcheck.report.words import (
    CAUTIONS,
    FAULTS,
    HOW_TO_FILM,
    fault_words,
    limit_text,
    plus_minus,
    visible,
    with_unit,
)

KEYS = schema()["properties"]["reps"]["items"]["properties"]["faults"]["items"]["enum"]


@pytest.mark.parametrize("key", KEYS)
def test_every_fault_has_its_words_and_its_own_sign(key: str) -> None:
    words = FAULTS[key]
    assert all(vars(words).values())
    assert len(words.call) <= 16  # fits a phone beside its number
    assert sign(key) != UNKNOWN


def test_no_two_faults_share_a_sign_or_a_name() -> None:
    assert len(set(SIGNS.values())) == len(SIGNS)
    assert len({words.name for words in FAULTS.values()}) == len(FAULTS)


def test_a_fault_without_an_entry_is_spoken_as_it_is() -> None:
    assert fault_words("odd_new_key").name == "Odd new key"


def test_cautions_say_stop_on_pain_and_who_decides() -> None:
    text = " ".join(CAUTIONS).lower()
    assert "pain" in text and "not a medical judgement" in text
    assert "qualified professional" in text


def test_what_hides_in_one_view_is_filmed_from_the_other() -> None:
    assert "side" in HOW_TO_FILM["hip_sag"] and "front" in HOW_TO_FILM["elbow_flare"]


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (104.4, "deg", "104°"),
        (-0.2, "deg", "0°"),
        (-15.0, "deg", "−15°"),
        (0.351, "s", "0.35 s"),
        (1.346, "shoulder widths", "1.35 shoulder widths"),
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


def test_every_unit_of_the_limits_file_can_be_written() -> None:
    for limit in default_limits().values():
        assert with_unit(1.0, limit.unit).startswith("1")


def test_a_plain_name_stays_as_it_is_and_a_turning_sign_is_written_out() -> None:
    assert visible("plain name – 1.mp4") == "plain name – 1.mp4"
    assert visible("a\u202eb\x1b[31m") == "a⟨U+202E⟩b⟨U+001B⟩[31m"
