from __future__ import annotations

import pytest

from formcheck.errors import ClipError
from formcheck.plain import plain


@pytest.mark.parametrize(
    "name", ["plain name – 1.mp4", "Liegestütz ×3 “A”.mov", "押し上げ.mp4", ""]
)
def test_a_name_that_can_be_seen_stays_as_it_is(name: str) -> None:
    assert plain(name) == name


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\u202eb\x1b[31m", "a⟨U+202E⟩b⟨U+001B⟩[31m"),
        ("one\ntwo\u2028three", "one⟨U+000A⟩two⟨U+2028⟩three"),
        ("\ud800\x00\ufeff\ue000", "⟨U+D800⟩⟨U+0000⟩⟨U+FEFF⟩⟨U+E000⟩"),
        ("\x9b2J", "⟨U+009B⟩2J"),  # the one-sign form of an escape
    ],
)
def test_a_sign_that_hides_or_moves_or_cannot_be_written_is_written_out(
    text: str, shown: str
) -> None:
    assert plain(text) == shown
    shown.encode("utf-8")


def test_a_text_without_end_is_cut() -> None:
    assert plain("a" * 1_000_000, longest=20) == "a" * 19 + "…"


def test_a_problem_told_shows_no_sign_as_it_came() -> None:
    assert str(ClipError("\x1b[2Ja.mp4 is empty.")) == "⟨U+001B⟩[2Ja.mp4 is empty."
