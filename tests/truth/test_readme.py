"""The figures in the documents are those that were measured."""

from __future__ import annotations

import re

import pytest

from tests.truth.readme import BLOCKS, DOCUMENTS, ROOT, renewed


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_holds_the_figures_of_the_latest_tables(name: str) -> None:
    text = text_of(name)
    assert "<!-- figures: " in text
    assert renewed(text) == text, "python -m tests.truth.readme renews it"


def test_a_figure_changed_by_hand_is_noticed() -> None:
    text = text_of("README.md")
    line = next(line for line in text.splitlines() if line.startswith("| Elbow at the bottom"))
    other = text.replace(line, re.sub(r"\d", "7", line))
    assert other != text and renewed(other) == text


def test_every_block_stands_in_a_document() -> None:
    everything = "".join(text_of(name) for name in DOCUMENTS)
    assert set(re.findall(r"<!-- figures: (\w+) -->", everything)) == set(BLOCKS)


def test_the_places_that_developers_are_sent_to_exist() -> None:
    text = text_of("DEVELOPERS.md")
    table = text[text.index("## Where things are") : text.index("## Conventions")]
    places = re.findall(r"`([\w/]+(?:\.\w+|/))`", table)
    assert len(places) > 25
    for place in places:
        assert (ROOT / "formcheck" / place).exists() or (ROOT / place).exists(), place
