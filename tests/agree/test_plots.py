"""Plots show what they claim, in the report's look."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import to_hex

import formcheck
from formcheck.agree.comparison import hold_against
from formcheck.agree.labels import Label
from formcheck.report import theme
from tests.agree.made import labels_at, with_errors

RNG = np.random.default_rng(4)
TRUE = [RNG.normal(10, 4) + RNG.normal(0, 3, 6) for _ in range(30)]
SETS = with_errors(RNG, TRUE, "hip_deviation_deg", 3.0)
FOUND = hold_against(
    [
        *labels_at(TRUE, 13.0, "hip_sag"),
        *(Label(f"set_{i}", None, "counted", "yes", "AB") for i in range(30)),
    ],
    SETS,
)


def test_a_limits_plot_shows_both_limits_and_the_interval() -> None:
    swept, suggestion = FOUND.sweep("hip_sag"), FOUND.suggest("hip_sag")
    axis = formcheck.limit_figure(swept, suggestion).axes[0]
    words = [text.get_text() for text in axis.texts]
    assert "in force 12" in words and f"suggested {suggestion.limit.value:g}" in words
    right, called = axis.lines[0].get_ydata(), axis.lines[1].get_ydata()
    assert np.allclose(called, swept.table()["recall"])
    assert np.allclose(right, swept.table()["precision"], equal_nan=True)


def test_every_limit_is_one_point_of_precision_and_recall() -> None:
    axis = formcheck.precision_recall_figure(FOUND.sweep("hip_sag")).axes[0]
    table = FOUND.sweep("hip_sag").table().dropna()
    assert np.allclose(axis.lines[0].get_xdata(), table["recall"])


def test_each_value_stands_beside_what_the_coach_says() -> None:
    axis = formcheck.values_figure(FOUND.verdicts, "hip_sag").axes[0]
    assert len(axis.containers) == 180
    assert [label.get_text() for label in axis.get_yticklabels()][-1] == "coach: yes"


def test_counts_are_drawn_with_their_limits_of_agreement() -> None:
    (counts,) = FOUND.counts()
    axis = formcheck.counts_figure(counts).axes[0]
    assert {text.get_text().split(" ")[0] for text in axis.texts} == {"upper", "bias", "lower"}
    assert len(axis.lines) == 3


def test_figures_share_the_reports_paper_and_show_themselves() -> None:
    figure = formcheck.limit_figure(FOUND.sweep("hip_sag"))
    assert to_hex(figure.get_facecolor()) == theme.PAPER
    assert figure._repr_png_().startswith(b"\x89PNG")  # type: ignore[attr-defined]
