"""Figures for notebooks and pages in the one look of the report."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.rcsetup import cycler

from formcheck.report import theme

STYLE: dict[Any, Any] = {
    "font.family": "sans-serif", "font.size": 9.5, "axes.titlesize": 10.5,
    "axes.titlelocation": "left", "axes.titleweight": "bold", "axes.spines.top": False,
    "axes.spines.right": False, "axes.edgecolor": theme.QUIET, "axes.labelcolor": theme.INK,
    "text.color": theme.INK, "xtick.color": theme.QUIET, "ytick.color": theme.QUIET,
    "axes.facecolor": "none", "figure.facecolor": theme.PAPER, "savefig.facecolor": theme.PAPER,
    "legend.frameon": False, "lines.solid_capstyle": "round", "svg.fonttype": "path",
    "axes.prop_cycle": cycler(
        color=[theme.LINE.paper, theme.FAULT.paper, theme.TARGET.picture, theme.BORDERLINE.paper],
        marker=["o", "s", "^", "D"],
    ),
    "lines.linestyle": "-", "lines.markersize": 5.0,
}  # fmt: skip


class ShownFigure(Figure):
    """A figure that a notebook shows where a cell ends with it, whatever its settings."""

    def _repr_png_(self) -> bytes:
        picture = io.BytesIO()
        with matplotlib.rc_context(STYLE):
            self.savefig(picture, format="png", dpi=110)
        return picture.getvalue()


@contextmanager
def themed() -> Iterator[None]:
    """Whatever is drawn inside looks like the report."""
    with matplotlib.rc_context(STYLE):
        yield


def new_figure(width_in: float = 7.0, height_in: float = 3.4) -> tuple[Figure, Axes]:
    """An empty figure of one part; inside ``themed``."""
    figure = ShownFigure(figsize=(width_in, height_in), layout="constrained")
    return figure, figure.subplots()


def svg_url(figure: Figure) -> str:
    """The figure as a data URL for an ``<img>``."""
    text = io.StringIO()
    with matplotlib.rc_context({**STYLE, "svg.hashsalt": "formcheck"}):
        figure.savefig(text, format="svg", transparent=True, metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(text.getvalue().encode()).decode()
