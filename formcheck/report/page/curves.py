"""Curves of one set: elbow, body line, shoulder height and tempo, one column a rep.

Drawn by the page's own template, in its colours: a library that plots takes as long to import as
a set takes to judge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from formcheck.analysis import Analysis
from formcheck.faults.catalogue import PhaseKey, fault_kinds
from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.measures.bodyline import judged_line
from formcheck.measures.values import rep_values
from formcheck.report import theme
from formcheck.report.moments import PHASE_KEYS, asked_s, bounds_s, phases_of
from formcheck.report.page.marks import Box
from formcheck.report.targets import Targets, elbow_view
from formcheck.report.templates import templates_of
from formcheck.variation.arms import near_arm_alone

_LEFT, _RIGHT, _BOTTOM = 44.0, 8.0, 44.0  # px beside the rows and under them
_FIRST_TITLE, _TITLE = 29.0, 38.0  # px above the first row and above the others
_HEIGHTS = {"elbow_deg": 182.0, "tempo": 72.0}  # px, of a row
_HEIGHT = 120.0  # of the other rows
_TICK_PX, _NUMBER_PX = 80.0, 20.0  # room that a time and the number of a rep take
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
class Row:
    """One curve, or the tempo: from ``top`` to ``bottom``, where a curve is ``high`` and ``low``.

    ``line`` the path of the curve and ``hot`` that of what it is accused of; ``ticks`` y and label;
    ``bands`` where it should be, y and height; ``limits`` the y of each; ``bars`` the phases.
    """

    key: str
    title: str
    top: float
    bottom: float
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    bands: tuple[tuple[float, float], ...] = ()
    limits: tuple[float, ...] = ()
    line: str = ""
    hot: str = ""
    bars: tuple[Box, ...] = ()


@dataclass(frozen=True)
class Chart:
    """Where everything lies on a field of ``width`` by ``height`` px: the time from ``x0`` at
    ``t0_s`` to ``x1`` at ``t1_s``; ``columns`` x, width and attempt of every second rep and of
    those that do not count; ``numbers`` x, number and attempt of those with room for it; ``times``
    x and label."""

    width: float
    height: float
    t0_s: float
    t1_s: float
    x0: float
    x1: float
    rows: tuple[Row, ...]
    columns: tuple[tuple[float, float, str], ...]
    numbers: tuple[tuple[float, int, str], ...]
    times: tuple[tuple[float, str], ...]


@dataclass(frozen=True)
class Drawing:
    """A drawing that a notebook shows where a cell ends with it. ``svg`` is all of it, for a
    file."""

    svg: str

    def _repr_svg_(self) -> str:
        return self.svg


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
    """The curves over the tempo, one column a rep; of a hold its body line alone. None when there
    is nothing to show."""
    reps, hold = analysis.reps, analysis.hold
    if reps:
        first_s, last_s = reps[0].rep.start_s, reps[-1].rep.end_s
    elif hold:
        series = [one for one in series if one.key == "body_line_deg"]
        first_s, last_s = hold.start_s, hold.start_s + hold.held_s
    if not series or not (reps or hold):
        return None
    time = _Time(first_s - _ROOM_S, last_s + _ROOM_S, width_px)
    rows, top = [], _FIRST_TITLE
    for one in series:
        rows.append(_curve(one, analysis, targets, time, top))
        top = rows[-1].bottom + _TITLE
    if reps:
        rows.append(_tempo(analysis, time, top))
    return Chart(
        width_px, rows[-1].bottom + _BOTTOM, time.t0_s, time.t1_s, _LEFT, width_px - _RIGHT,
        tuple(rows),
        tuple(
            (time.x(r.rep.start_s), (r.rep.end_s - r.rep.start_s) * time.px_per_s, r.attempt)
            for r in reps
            if r.attempt != "counted" or r.rep.index % 2
        ),
        _numbers(analysis, time),
        tuple((time.x(t_s), label) for t_s, label in _even(time.t0_s, time.t1_s, time.most)),
    )  # fmt: skip


def drawing(chart: Chart) -> Drawing:
    """The chart on its own, with the page's colours."""
    template = templates_of("formcheck.report.page").get_template("figure.svg.j2")
    return Drawing(template.render(one=chart, theme=theme))


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


class _Time:
    """The scale of time that all rows share."""

    def __init__(self, t0_s: float, t1_s: float, width_px: float) -> None:
        self.t0_s, self.t1_s = t0_s, t1_s
        self.px_per_s = (width_px - _LEFT - _RIGHT) / (t1_s - t0_s)
        self.most = width_px / _TICK_PX

    def x(self, t_s: float) -> float:
        return _LEFT + (t_s - self.t0_s) * self.px_per_s


def _even(low: float, high: float, most: float) -> list[tuple[float, str]]:
    """Round values between two, about so many at most, and how they are written."""
    least = (high - low) / most
    power = math.floor(math.log10(least))
    step = next(n * 10.0**power for n in (1, 2, 5, 10) if n * 10.0**power >= least)
    digits = max(0, -math.floor(math.log10(step)))
    values = [n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)]
    return [(value, f"{value:.{digits}f}") for value in values]


def _numbers(analysis: Analysis, time: _Time) -> tuple[tuple[float, int, str], ...]:
    every, reps = 1, analysis.reps
    shortest_s = min((r.rep.end_s - r.rep.start_s for r in reps), default=1.0)
    while shortest_s * every * time.px_per_s < _NUMBER_PX and every < len(reps):
        every += 1
    return tuple(
        (time.x((r.rep.start_s + r.rep.end_s) / 2), r.rep.index, r.attempt) for r in reps[::every]
    )


def _curve(one: Series, analysis: Analysis, targets: Targets, time: _Time, top: float) -> Row:
    lowest, highest = float(np.nanmin(one.values)), float(np.nanmax(one.values))
    title = f"{one.name}, {one.unit}"
    limits: tuple[float, ...] = ()
    bands: list[tuple[float, float]] = []
    if one.key == "elbow_deg":
        low, high = min(60.0, lowest - 5), 186.0
        ticks = _written(60.0, targets.depth_deg, 120.0, targets.lockout_deg)
        limits = (targets.lockout_deg, targets.depth_deg)
        bands = [(targets.lockout_deg, high), (low, targets.depth_deg)]
    elif one.key == "body_line_deg":
        low, high = min(lowest - 3, targets.pike_deg - 5), max(highest + 3, targets.sag_deg + 5)
        ticks = _written(targets.pike_deg, 0.0, targets.sag_deg)
        limits = (targets.pike_deg, targets.sag_deg)
        bands = [(targets.pike_deg, targets.sag_deg)]
    else:
        room = max(0.05, 0.12 * (highest - lowest))
        low, high = lowest - room, highest + room
        ticks = _even(low, high, 5)
        first = analysis.reps[0].rep
        inside = one.values[(one.t_s >= first.start_s) & (one.t_s <= first.end_s)]
        if np.isfinite(inside).any():
            bands = [(float(np.nanmin(inside)), float(np.nanmax(inside)))]
            title += f"; shaded: rep {first.index}"
    height = _HEIGHTS.get(one.key, _HEIGHT)
    bottom = top + height

    def y(value: float) -> float:
        return bottom - (value - low) / (high - low) * height

    shown = (one.t_s >= time.t0_s) & (one.t_s <= time.t1_s)
    xs = _LEFT + (one.t_s - time.t0_s) * time.px_per_s
    ys = bottom - (np.where(shown, one.values, np.nan) - low) / (high - low) * height
    return Row(
        one.key, title, top, bottom, low, high,
        ticks=tuple((y(value), label) for value, label in ticks),
        bands=tuple((y(b), y(a) - y(b)) for a, b in bands if math.isfinite(a) and math.isfinite(b)),
        limits=tuple(y(limit) for limit in limits if math.isfinite(limit)),
        line=_path(xs, ys),
        hot=_path(xs, np.where(_beyond(one, analysis, targets), ys, np.nan)),
    )  # fmt: skip


def _written(*values: float) -> list[tuple[float, str]]:
    return [(value, f"{value:g}".replace("-", "−")) for value in values if math.isfinite(value)]


def _beyond(one: Series, analysis: Analysis, targets: Targets) -> BoolArray:
    """Where the body line leaves its band in a rep that is accused of it."""
    accused = np.zeros(len(one.t_s), bool)
    if one.key != "body_line_deg":
        return accused
    for result in analysis.reps:
        if any(f.verdict == "fault" and fault_kinds()[f.key].part == "line" for f in result.faults):
            accused |= (one.t_s >= result.rep.start_s) & (one.t_s <= result.rep.top_s)
    return accused & ((one.values < targets.pike_deg) | (one.values > targets.sag_deg))


def _path(x: FloatArray, y: FloatArray) -> str:
    """Through the known places, broken where some are unknown. Of those on one pixel the highest
    and the lowest: nobody sees what lies between, and a long set has many."""
    known = np.flatnonzero(np.isfinite(y))
    if not len(known):
        return ""
    order = known[np.lexsort((y[known], np.floor(x[known])))]
    turns = np.diff(np.floor(x[order])) > 0
    last, first = np.append(turns, True), np.insert(turns, 0, True)
    kept = np.sort(order[last | first])
    stretch = np.cumsum(~np.isfinite(y))[kept]
    begins = np.diff(stretch, prepend=-1) > 0
    return "".join(
        f"{'M' if begin else 'L'}{at:.1f} {height:.1f}"
        for begin, at, height in zip(begins, x[kept].tolist(), y[kept].tolist(), strict=True)
    )


def _tempo(analysis: Analysis, time: _Time, top: float) -> Row:
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
    height = _HEIGHTS["tempo"]
    lines = [("asked", aimed), ("done", done)] if known else [("done", done)]
    share = height / len(lines)
    bars, ticks = [], []
    for place, (name, phases) in enumerate(lines):
        upper = top + place * share
        ticks.append((upper + 0.45 * share, name))
        bars += [
            Box(time.x(start_s), upper, (end_s - start_s) * time.px_per_s, 0.9 * share, key)
            for key, start_s, end_s in phases
            if end_s > start_s
        ]
    tempo = analysis.prescription.tempo
    title = f"Tempo, {tempo} s asked" if tempo else "Tempo"
    return Row("tempo", title, top, top + height, 0.0, 1.0, ticks=tuple(ticks), bars=tuple(bars))
