"""Contrast as WCAG 2.2 asks: 4.5 : 1 for text (1.4.3), 3 : 1 for marks (1.4.11), level AA."""

from __future__ import annotations

from itertools import pairwise

import pytest

from formcheck.report import theme
from formcheck.report.theme import PHASES


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, relative luminance)."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    red, green, blue = (_linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else float(((channel + 0.055) / 1.055) ** 2.4)


def test_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.2, definition of contrast ratio: from 1 (none) to 21 (black on white).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


@pytest.mark.parametrize(
    "colour", [theme.INK, theme.QUIET, theme.FAULT.paper, theme.BORDERLINE.paper, theme.DONE.paper]
)
def test_text_on_the_page_reads(colour: str) -> None:
    assert contrast(colour, theme.PAPER) >= 4.5


@pytest.mark.parametrize(
    "colour",
    [
        theme.STRAIGHT.picture, theme.BAND_QUIET, theme.LIMB.picture, theme.LINE.picture,
        theme.DONE.picture, theme.FAULT.picture, theme.BORDERLINE.picture,
    ],
)  # fmt: skip
def test_text_on_the_clips_band_and_on_pages_in_the_dark_reads(colour: str) -> None:
    assert contrast(colour, theme.BAND) >= 4.5
    assert contrast(colour, theme.BAND_TROUGH) >= 4.5  # the current row of a table


def test_a_fault_called_over_the_picture_reads() -> None:
    assert contrast(theme.STRAIGHT.picture, theme.FAULT.paper) >= 4.5


def test_the_current_row_of_a_table_reads() -> None:
    for colour in (theme.INK, theme.QUIET, theme.FAULT.paper, theme.BORDERLINE.paper):
        assert contrast(colour, theme.TARGET.paper) >= 4.5


@pytest.mark.parametrize(
    "tone", [theme.LIMB, theme.LINE, theme.TARGET, theme.DONE, theme.FAULT, theme.BORDERLINE]
)
def test_marks_in_the_clip_stand_out_from_their_casing(tone: theme.Tone) -> None:
    assert contrast(tone.picture, theme.BAND) >= 3.0


def test_neighbouring_phases_differ_in_pattern_and_not_by_hue_alone() -> None:
    looks = list(PHASES.values())
    for one, other in pairwise(looks):
        assert one.hatch != other.hatch
        assert contrast(one.fill.paper, other.fill.paper) >= 1.5


def test_hatching_shows_on_its_fill() -> None:
    for look in PHASES.values():
        if look.hatch != "solid":
            assert contrast(look.lines, look.fill.paper) >= 3.0
