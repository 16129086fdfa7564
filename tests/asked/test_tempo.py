"""The four places of a tempo: lowering, bottom pause, pressing up, top pause."""

from __future__ import annotations

import pytest

from formcheck.asked.tempo import EXAMPLE, Tempo, TempoError, parse_tempo
from formcheck.plain import plain

DRIVEN = Tempo(eccentric_s=2.0, bottom_pause_s=1.0, concentric_s=None, top_pause_s=1.0)


@pytest.mark.parametrize("text", ["2-1-X-1", "21X1", "2/1/X/1", "2 1 X 1"])
def test_one_tempo_reads_the_same_however_it_is_written(text: str) -> None:
    assert parse_tempo(text) == DRIVEN


@pytest.mark.parametrize("text", ["2-1-x-1", "21x1", "  2-1-X-1 "])
def test_a_small_x_and_spaces_around_do_not_matter(text: str) -> None:
    assert parse_tempo(text) == DRIVEN


def test_a_number_in_the_third_place_is_asked_of_the_press() -> None:
    assert parse_tempo("3-0-1-0") == Tempo(3.0, 0.0, 1.0, 0.0)
    assert parse_tempo("3010") == Tempo(3.0, 0.0, 1.0, 0.0)


def test_order_is_lowering_bottom_pressing_top() -> None:
    """Wilk et al., J Sports Sci Med 2019;18:191-197: eccentric, pause, concentric, pause."""
    tempo = parse_tempo("6-0-4-1")
    assert (tempo.eccentric_s, tempo.bottom_pause_s) == (6.0, 0.0)
    assert (tempo.concentric_s, tempo.top_pause_s) == (4.0, 1.0)


def test_tenths_and_two_digits_are_read() -> None:
    assert parse_tempo("2.5-0.5-1.5-0") == Tempo(2.5, 0.5, 1.5, 0.0)
    assert parse_tempo("10/0/12/1") == Tempo(10.0, 0.0, 12.0, 1.0)


@pytest.mark.parametrize("text", ["X-1-2-1", "2-X-1-1", "2-1-1-X", "X1X1", "21XX"])
def test_x_is_possible_only_in_pressing_up(text: str) -> None:
    with pytest.raises(TempoError):
        parse_tempo(text)


NONSENSE = [
    "", "fast", "2-1-X", "21X", "2-1-X-1-1", "21X11", "2--1-X-1", "-2-1-X-1", "2,1,X,1",
    "2-1-X-1s", "2.-1-X-1", "100-0-1-0", "2-1-∞-1", "2-1-X-1\n3-0-1-0",
]  # fmt: skip


@pytest.mark.parametrize("text", NONSENSE)
def test_nonsense_gets_one_sentence_with_the_text_and_an_example(text: str) -> None:
    with pytest.raises(TempoError) as caught:
        parse_tempo(text)
    said = str(caught.value)
    assert f"“{plain(text)}”" in said and EXAMPLE in said
    assert said.endswith(".") and said.replace(text, "").count("\n") == 0


@pytest.mark.parametrize("text", ["2-1-X-1", "3-0-1-0", "2.5-0.5-X-10"])
def test_what_is_printed_reads_back_as_the_same_tempo(text: str) -> None:
    assert str(parse_tempo(text)) == text
    assert parse_tempo(str(parse_tempo(text))) == parse_tempo(text)


def test_the_example_in_the_message_is_itself_a_tempo() -> None:
    assert parse_tempo(EXAMPLE) == DRIVEN
