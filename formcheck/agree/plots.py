"""Plots of agreement and of limits, in the report's own look; each returns its figure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from formcheck.agree.compare import CountAgreement, Verdict
from formcheck.agree.suggest import Suggestion
from formcheck.agree.sweep import Sweep
from formcheck.faults.catalogue import fault_kinds
from formcheck.measures.values import rep_values
from formcheck.report import theme
from formcheck.report.figures import new_figure, themed
from formcheck.report.words import fault_name, unit_name

_ENOUGH = 0.95


def limit_figure(swept: Sweep, suggestion: Suggestion | None = None) -> Figure:
    """Precision and recall as the limit is relaxed, with what is in force and what is suggested."""
    table = swept.table()
    with themed():
        figure, axis = new_figure()
        axis.plot(
            table["limit"], table["precision"], label="accusations that were right", ms=0, lw=2
        )
        axis.plot(
            table["limit"], table["recall"], label="faults that were called", ms=0, lw=2, ls="--"
        )
        _limits(axis, swept, suggestion)
        axis.set_ylim(0, 1.04)
        axis.set_xlabel(f"limit {swept.key}, {unit_name(swept.limit.unit)}")
        axis.set_ylabel("share of reps")
        axis.set_title(fault_name(swept.fault), pad=18)
        figure.legend(loc="outside lower center", ncols=2)
    return figure


def precision_recall_figure(swept: Sweep, suggestion: Suggestion | None = None) -> Figure:
    """What is gained in faults found for what is lost in accusations that were right."""
    table = swept.table().dropna(subset=["precision"])
    with themed():
        figure, axis = new_figure(4.6, 3.8)
        axis.plot(table["recall"], table["precision"], ms=0, lw=2)
        named = [("in force", swept.limit.value, theme.INK)]
        if suggestion is not None and not suggestion.refused:
            named.append(("suggested", suggestion.limit.value, theme.FAULT.paper))
        for words, value, colour in named:
            if len(table) and np.isfinite(value):
                row = table.iloc[int(np.argmin(np.abs(table["limit"].to_numpy() - value)))]
                axis.plot(
                    row["recall"], row["precision"], "o", color=colour, ms=8, ls="",
                    label=f"{words}: {value:g}",
                )  # fmt: skip
        axis.legend(loc="lower left")
        axis.axhline(_ENOUGH, color=theme.QUIET, lw=0.9, ls=(0, (4, 3)))
        axis.set_xlim(0, 1.04)
        axis.set_ylim(0, 1.04)
        axis.set_xlabel("faults that were called")
        axis.set_ylabel("accusations that were right")
        axis.set_title(f"{fault_name(swept.fault)}: every limit")
    return figure


def values_figure(verdicts: Sequence[Verdict], fault: str) -> Figure:
    """What was measured on each labelled rep with its ±, by what the coach says of it."""
    known = [
        one for one in verdicts if one.label.fault == fault and one.plus_minus > 0
    ]  # fmt: skip
    said = ("no", "unsure", "yes")
    with themed():
        figure, axis = new_figure(7.0, 3.0)
        for place, word in enumerate(said):
            rows = sorted(
                (one for one in known if one.label.verdict == word), key=lambda v: v.value
            )
            spread = np.linspace(-0.32, 0.32, len(rows)) if len(rows) > 1 else np.zeros(len(rows))
            for one, beside in zip(rows, spread, strict=True):
                colour = theme.FAULT.paper if one.disagrees else theme.LINE.paper
                axis.errorbar(
                    one.value, place + beside, xerr=one.plus_minus, color=colour, elinewidth=0.5,
                    fmt="s" if one.disagrees else "o", ms=4,
                )  # fmt: skip
        limits = {one.limit for one in known if np.isfinite(one.limit)}
        for limit in limits:
            axis.axvline(limit, color=theme.INK, lw=1.2, ls=(0, (4, 3)))
        axis.set_yticks(range(3), [f"coach: {word}" for word in said])
        axis.set_ylim(-0.6, 2.6)
        value = rep_values()[fault_kinds()[fault].measure]
        axis.set_xlabel(f"{value.label}, {unit_name(value.unit)}; dashed: limit in force")
        axis.set_title(f"{fault_name(fault)}: measured ± and said; squares disagree")
    return figure


def counts_figure(found: CountAgreement) -> Figure:
    """Bland–Altman: the difference of two counts of a set against their mean."""
    first, second = found.table["first"].to_numpy(float), found.table["second"].to_numpy(float)
    apart = found.apart
    with themed():
        figure, axis = new_figure(5.6, 3.2)
        places, times = np.unique(
            np.column_stack([(first + second) / 2, first - second]), axis=0, return_counts=True
        )
        axis.scatter(places[:, 0], places[:, 1], s=26 * times, color=theme.LINE.paper, alpha=0.85)
        for value, words in (
            (apart.upper, "upper limit"), (apart.bias, "bias"), (apart.lower, "lower limit"),
        ):  # fmt: skip
            if not np.isfinite(value.value):
                continue
            if np.isfinite(value.low):
                axis.axhspan(value.low, value.high, color=theme.TARGET.picture, alpha=0.15, lw=0)
            axis.axhline(value.value, color=theme.INK, lw=1.0, ls=(0, (4, 3)))
            axis.annotate(
                f"{words} {value.value:+.1f}", (1.0, value.value),
                xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points",
                va="center",
            )  # fmt: skip
        axis.set_xlabel(f"reps counted, mean of {found.first} and {found.second}")
        axis.set_ylabel(f"{found.first} − {found.second}")
        axis.set_title(f"Counted reps, {apart.pairs} sets")
    return figure


def _limits(axis: Axes, swept: Sweep, suggestion: Suggestion | None) -> None:
    """Lines at the limit in force and the suggested one, named above the plot on either side."""
    marks = [("in force", swept.limit.value, theme.INK, "--")]
    if suggestion is not None and not suggestion.refused:
        limit = suggestion.limit
        if np.isfinite(limit.low):
            axis.axvspan(limit.low, limit.high, color=theme.TARGET.picture, alpha=0.22, lw=0)
        marks.append(("suggested", limit.value, theme.FAULT.paper, "-"))
    marks = [mark for mark in marks if np.isfinite(mark[1])]
    rightmost = max((value for _, value, _, _ in marks), default=0.0)
    for words, value, colour, dashes in marks:
        axis.axvline(value, color=colour, lw=1.4, ls=dashes)
        left = len(marks) > 1 and value < rightmost
        axis.annotate(
            f"{words} {value:g}", (value, 1.0), xycoords=("data", "axes fraction"),
            xytext=(-2 if left else 2, 2), textcoords="offset points", color=colour, va="bottom",
            ha="right" if left else "left",
        )  # fmt: skip
