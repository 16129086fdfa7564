"""Curves of one set as SVG: elbow, body line, shoulder height and tempo, one column a rep."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from xml.etree import ElementTree

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from formcheck.analysis import Analysis
from formcheck.faults.catalogue import PhaseKey, fault_kinds
from formcheck.maths.arrays import FloatArray
from formcheck.measures.bodyline import judged_line
from formcheck.measures.values import rep_values
from formcheck.report import theme
from formcheck.report.figures import ShownFigure
from formcheck.report.moments import PHASE_KEYS, asked_s, bounds_s, phases_of
from formcheck.report.targets import Targets, elbow_view
from formcheck.variation.arms import near_arm_alone

_PT_PER_INCH = 72.0
_SVG = "http://www.w3.org/2000/svg"
ElementTree.register_namespace("", _SVG)
ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")
_HATCH = {"down": "\\\\\\\\", "up": "////", "dots": "...", "solid": ""}
_ROOM_S = 0.8  # shown before the first rep and after the last
_SAMPLE_HZ = 15.0  # of the values handed to the page for its moving read-out


@dataclass(frozen=True)
class Series:
    """One signal on the reference clock; ``name`` and ``unit`` as written on the page."""

    key: str
    name: str
    unit: str
    t_s: FloatArray
    values: FloatArray


@dataclass(frozen=True)
class Chart:
    """``svg`` text, and where the data lie in it: from ``x0`` at ``t0_s`` to ``x1`` at ``t1_s``
    (svg units), and for each row its series key, y of its lower and upper value."""

    svg: str
    width: float
    height: float
    t0_s: float
    t1_s: float
    x0: float
    x1: float
    rows: tuple[tuple[str, float, float, float, float], ...]


def series_of(analysis: Analysis) -> list[Series]:
    """The curves this set has, each from the view that shows it best; NaN out of position."""
    found = []
    judged_from, work = elbow_view(analysis), analysis.variation.arm_work
    for key, name, unit in (
        ("elbow_deg", "Elbow angle", "°"),
        ("body_line_deg", "Body line, + sags", "°"),
        ("shoulder_height", "Shoulder height", "arm lengths"),
    ):
        best: Series | None = None
        for view in analysis.looks:
            hidden = rep_values()["hip_deviation_deg"].hidden
            if key == "body_line_deg" and view.view.kind in hidden:
                continue
            if key == "elbow_deg" and view.view.kind != judged_from:
                continue
            signals = view.signals
            one_arm = work.arms in ("archer", "one") and not near_arm_alone(view, work)
            if key == "shoulder_height" and one_arm:
                continue  # the height is that of a body on two arms
            curve = (
                judged_line(view, analysis.variation.support, analysis.line.own)
                if key == "body_line_deg"
                else getattr(signals, key)
            )
            values = np.where(signals.in_position, curve, np.nan)
            if best is None or np.isfinite(values).sum() > np.isfinite(best.values).sum():
                best = Series(key, name, unit, view.signals.t_s + view.offset_s, values)
        if best is not None and key == "elbow_deg":
            best = _as_judged(best, analysis)
        if best is not None and np.isfinite(best.values).any():
            found.append(best)
    return found


def _as_judged(elbow: Series, analysis: Analysis) -> Series:
    """The elbow's curve, and in a rep that another view judged, because this one did not see it,
    that view's."""
    values = elbow.values.copy()
    for result in analysis.reps:
        here = (elbow.t_s >= result.rep.start_s) & (elbow.t_s <= result.rep.end_s)
        bottom = result.values["elbow_bottom_deg"]
        look = next((k for k in analysis.looks if k.view.kind == bottom.view), None)
        at_bottom = np.abs(elbow.t_s - result.rep.bottom_s) < 0.1
        if look is not None and bottom.known and not np.isfinite(elbow.values[at_bottom]).any():
            other = np.where(look.signals.in_position, look.signals.elbow_deg, np.nan)
            values[here] = np.interp(elbow.t_s[here], look.signals.t_s + look.offset_s, other)
    return replace(elbow, values=values)


def chart(
    analysis: Analysis, series: Sequence[Series], targets: Targets, width_px: float
) -> Chart | None:
    """Draw the curves ``width_px`` wide (96 px an inch); of a hold its body line alone. None when
    there is nothing to show."""
    if not analysis.reps:
        series = [one for one in series if one.key == "body_line_deg" and analysis.hold]
    if not series:
        return None
    figure = curves_figure(analysis, series, targets, width_px)
    axes = figure.axes
    with matplotlib.rc_context(_style(width_px)):
        svg = _svg(figure, f"w{width_px:.0f}")
    t0_s, t1_s = axes[0].get_xlim()
    width_in, height_in = figure.get_size_inches()
    width, height = width_in * _PT_PER_INCH, height_in * _PT_PER_INCH
    box = axes[0].get_position()
    return Chart(
        svg, width, height, t0_s, t1_s, box.x0 * width, box.x1 * width,
        tuple(
            (one.key, *axis.get_ylim(), (1 - axis.get_position().y0) * height,
             (1 - axis.get_position().y1) * height)
            for axis, one in zip(axes, series, strict=False)
        ),
    )  # fmt: skip


def curves_figure(
    analysis: Analysis, series: Sequence[Series], targets: Targets, width_px: float
) -> Figure:
    """The curves over the tempo, one column a rep; those of a hold without. Raises ValueError where
    there is neither."""
    reps, hold = analysis.reps, analysis.hold
    if not series or not (reps or hold):
        raise ValueError("there is no rep to draw")
    first_s, last_s = (
        (reps[0].rep.start_s, reps[-1].rep.end_s)
        if hold is None
        else (hold.start_s, hold.start_s + hold.held_s)
    )
    t0_s, t1_s = first_s - _ROOM_S, last_s + _ROOM_S
    heights = [1.9 if one.key == "elbow_deg" else 1.25 for one in series]
    heights += [0.75] * bool(reps)
    width_in, height_in = width_px / 96, sum(heights) + 0.32 * len(heights) + 0.5
    with matplotlib.rc_context(_style(width_px)):
        figure = ShownFigure(figsize=(width_in, height_in))
        rows = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights, squeeze=False)
        axes: list[Axes] = list(rows[:, 0])
        for axis, one in zip(axes, series, strict=False):
            _columns(axis, analysis)
            _curve(axis, one, analysis, targets)
        axes[0].set_xlim(t0_s, t1_s)
        if reps:
            _columns(axes[-1], analysis)
            _tempo(axes[-1], analysis)
            _rep_numbers(axes[0], analysis, width_px / (t1_s - t0_s))
        else:
            axes[-1].tick_params(labelbottom=True)
        axes[-1].set_xlabel("time in the clip, s")
        figure.subplots_adjust(
            left=44 / width_px, right=1 - 8 / width_px, top=1 - 0.3 / height_in,
            bottom=0.46 / height_in, hspace=0.32,
        )  # fmt: skip
    return figure


def samples(series: Sequence[Series], t0_s: float, t1_s: float) -> dict[str, Any]:
    """Values for the moving read-out: first time, step, and a list a series; null = unknown."""
    t_s = np.arange(t0_s, t1_s, 1 / _SAMPLE_HZ)
    return {
        "t0": round(t0_s, 3),
        "step": 1 / _SAMPLE_HZ,
        "series": {
            one.key: [
                round(float(value), 2) if math.isfinite(value) else None
                for value in np.interp(t_s, one.t_s, one.values, left=np.nan, right=np.nan)
            ]
            for one in series
        },
    }


def _style(width_px: float) -> dict[Any, Any]:
    size = 8.5 if width_px > 600 else 8.0
    return {
        "svg.fonttype": "none", "font.family": "sans-serif", "font.size": size,
        "axes.titlesize": size + 0.5, "axes.titlelocation": "left", "axes.titleweight": "bold",
        # Of their own accord titles look for what they might lie over: a fifth of the drawing.
        "axes.titlepad": 4.0, "axes.titley": 1.0,
        "axes.spines.top": False, "axes.spines.right": False,
        "axes.edgecolor": theme.QUIET, "axes.labelcolor": theme.QUIET,
        "text.color": theme.INK, "xtick.color": theme.QUIET, "ytick.color": theme.QUIET,
        "axes.facecolor": "none", "figure.facecolor": "none", "hatch.linewidth": 0.7,
        "path.simplify_threshold": 0.3, "lines.solid_capstyle": "round",
    }  # fmt: skip


def _columns(axis: Axes, analysis: Analysis) -> None:
    for result in analysis.reps:
        rep = result.rep
        if result.attempt == "counted":
            if rep.index % 2:
                axis.axvspan(rep.start_s, rep.end_s, facecolor=theme.RULE, alpha=0.35, lw=0)
        else:
            axis.axvspan(
                rep.start_s, rep.end_s, facecolor="none", edgecolor=theme.FAULT.paper,
                alpha=0.5, hatch="////", lw=0,
            )  # fmt: skip


def _rep_numbers(axis: Axes, analysis: Analysis, px_per_s: float) -> None:
    every = 1
    durations = [r.rep.end_s - r.rep.start_s for r in analysis.reps]
    while min(durations) * every * px_per_s < 20 and every < len(durations):
        every += 1
    for result in analysis.reps[::every]:
        rep = result.rep
        middle_s = (rep.start_s + rep.end_s) / 2
        axis.annotate(
            str(rep.index), (middle_s, 1.0), xycoords=("data", "axes fraction"),
            xytext=(0, 3), textcoords="offset points", ha="center", fontweight="bold",
            color=theme.INK if result.attempt == "counted" else theme.FAULT.paper,
        )  # fmt: skip


def _curve(axis: Axes, one: Series, analysis: Analysis, targets: Targets) -> None:
    axis.set_title(f"{one.name}, {one.unit}", pad=4 if one.key != "elbow_deg" else 14)
    low, high = np.nanmin(one.values), np.nanmax(one.values)
    if one.key == "elbow_deg":
        axis.set_ylim(min(60.0, low - 5), 186.0)
        axis.set_yticks([v for v in (60.0, targets.depth_deg, 120.0, targets.lockout_deg)
                         if math.isfinite(v)])  # fmt: skip
        _band(axis, targets.lockout_deg, 186.0)
        _band(axis, axis.get_ylim()[0], targets.depth_deg)
        _limits(axis, targets.lockout_deg, targets.depth_deg)
    elif one.key == "body_line_deg":
        axis.set_ylim(min(low - 3, targets.pike_deg - 5), max(high + 3, targets.sag_deg + 5))
        axis.set_yticks([targets.pike_deg, 0.0, targets.sag_deg])
        _band(axis, targets.pike_deg, targets.sag_deg)
        _limits(axis, targets.pike_deg, targets.sag_deg)
    else:
        room = max(0.05, 0.12 * (high - low))
        axis.set_ylim(low - room, high + room)
        first = analysis.reps[0].rep
        inside = (one.t_s >= first.start_s) & (one.t_s <= first.end_s)
        if np.isfinite(one.values[inside]).any():
            _band(axis, np.nanmin(one.values[inside]), np.nanmax(one.values[inside]))
            axis.set_title(f"{one.name}, {one.unit}; shaded: rep {first.index}", pad=4)
    axis.plot(one.t_s, one.values, color=theme.LINE.paper, lw=1.8)
    _beyond(axis, one, analysis, targets)
    axis.tick_params(labelbottom=False, length=0)
    axis.spines["bottom"].set_visible(False)


def _beyond(axis: Axes, one: Series, analysis: Analysis, targets: Targets) -> None:
    """Where the body line leaves its band in a rep that is accused of it: hot and thick."""
    if one.key != "body_line_deg":
        return
    accused = np.zeros(len(one.t_s), bool)
    for result in analysis.reps:
        if any(f.verdict == "fault" and fault_kinds()[f.key].part == "line" for f in result.faults):
            accused |= (one.t_s >= result.rep.start_s) & (one.t_s <= result.rep.top_s)
    beyond = (one.values < targets.pike_deg) | (one.values > targets.sag_deg)
    hot = np.where(accused & beyond, one.values, np.nan)
    if np.isfinite(hot).any():
        axis.plot(one.t_s, hot, color=theme.FAULT.paper, lw=3.2)


def _band(axis: Axes, low: float, high: float) -> None:
    if math.isfinite(low) and math.isfinite(high):
        axis.axhspan(low, high, facecolor=theme.TARGET.picture, alpha=0.2, lw=0)


def _limits(axis: Axes, *limits: float) -> None:
    for limit in limits:
        if math.isfinite(limit):
            axis.axhline(limit, color=theme.QUIET, lw=0.9, ls=(0, (4, 3)))


def _tempo(axis: Axes, analysis: Analysis) -> None:
    asked = asked_s(analysis.prescription.tempo)
    known = any(aim is not None for aim in asked)
    done: list[tuple[PhaseKey, float, float]] = []
    aimed: list[tuple[PhaseKey, float, float]] = []
    for result in analysis.reps:
        bounds = bounds_s(result.rep)
        done += phases_of(result.rep)
        from_s = bounds[0]
        for place, (key, aim) in enumerate(zip(PHASE_KEYS, asked, strict=True)):
            took = bounds[place + 1] - bounds[place]
            to_s = from_s + (aim if aim is not None else min(took, 1.0))
            aimed.append((key, from_s, min(to_s, bounds[4])))
            from_s = to_s
    _phases(axis, done, 0.0)
    if known:
        _phases(axis, aimed, 1.15)
    axis.set_ylim(-0.15, 2.3 if known else 1.15)
    axis.set_yticks([0.5, 1.65] if known else [0.5], ["done", "asked"] if known else ["done"])
    tempo = analysis.prescription.tempo
    title = f"Tempo, {tempo} s asked" if tempo else "Tempo"
    axis.set_title(title, pad=4)
    axis.tick_params(axis="y", length=0)
    axis.spines["left"].set_visible(False)


def _phases(axis: Axes, phases: Sequence[tuple[PhaseKey, float, float]], low: float) -> None:
    """The phases of all reps, each with its start and end (s)."""
    for key in PHASE_KEYS:
        look = theme.PHASES[key]
        spans = [(start, end - start) for own, start, end in phases if own == key and end > start]
        if spans:
            axis.broken_barh(
                spans, (low, 1.0), facecolor=look.fill.paper,
                edgecolor=look.lines if look.hatch != "solid" else look.fill.paper,
                hatch=_HATCH[look.hatch], lw=0.5,
            )  # fmt: skip


# What the page calls these colours: it has others in the dark.
_VARIABLES = {
    theme.INK: "--ink", theme.QUIET: "--quiet", theme.RULE: "--rule", theme.LINE.paper: "--line",
    theme.FAULT.paper: "--fault", theme.PHASES["bottom_pause"].fill.paper: "--bottom",
    theme.PHASES["top_pause"].fill.paper: "--top",
}  # fmt: skip
_COLOUR = re.compile(r"#[0-9a-f]{6}")


def _as_the_page_has_it(colour: re.Match[str]) -> str:
    name = _VARIABLES.get(colour[0])
    return f"var({name})" if name else colour[0]


def _svg(figure: Figure, salt: str) -> str:
    """The figure as an ``<svg>`` element whose ids cannot meet another figure's.

    What is referred to by an id is named by matplotlib from ``salt``; the names of groups are
    the same in every figure and nobody refers to them.
    """
    text = io.BytesIO()
    # Nothing said about date, maker and format: then there is no metadata element.
    unsaid = dict.fromkeys(("Creator", "Date", "Format", "Type"))
    with matplotlib.rc_context({"svg.hashsalt": salt}):
        figure.savefig(text, format="svg", transparent=True, metadata=unsaid)
    svg = ElementTree.fromstring(text.getvalue())
    del svg.attrib["width"], svg.attrib["height"]  # the page sizes it
    patterns = {one for defs in svg.iter(f"{{{_SVG}}}defs") for one in defs.iter()}
    for one in svg.iter():
        if "style" in one.attrib and one not in patterns:
            one.set("style", _COLOUR.sub(_as_the_page_has_it, one.attrib["style"]))
    for group in svg.iter(f"{{{_SVG}}}g"):
        group.attrib.pop("id", None)
    return ElementTree.tostring(svg, encoding="unicode")
