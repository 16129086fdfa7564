"""Paint one moment of a set onto pictures: the body, the band below it, the fault called.

Everything here draws onto a canvas in place and knows no files. ``unit`` is the picture's width
over 360, so that sizes are what they look like on a phone held upright.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from formcheck.analysis import RepResult
from formcheck.asked.tempo import Tempo
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.rules import Fault
from formcheck.maths.arrays import FloatArray
from formcheck.measures.hold import SupportHold
from formcheck.report import theme
from formcheck.report.moments import (
    PHASE_KEYS,
    Moment,
    asked_s,
    bounds_s,
    phase_words,
    phases_of,
)
from formcheck.report.targets import Targets
from formcheck.report.video.canvas import Canvas, Matrix, Plane, Point
from formcheck.report.video.lettering import text_width
from formcheck.report.words import limit_text, with_unit
from formcheck.reps.look import Look

Points = Mapping[str, FloatArray]  # landmark → (2,) px in the picture, NaN unseen

BAND_UNITS = 74  # height of the band under the picture
_CASING = theme.BAND
_WHITE = theme.STRAIGHT.picture
_BONE = theme.LIMB.picture
_DIM = theme.BAND_QUIET


@dataclass(frozen=True)
class Readings:
    """Of one view at one moment, degrees, NaN where unknown. ``hot`` holds the keys of faults
    that are happening now."""

    elbow_left_deg: float
    elbow_right_deg: float
    elbow_deg: float
    hot: frozenset[str] = frozenset()

    def accused(self, part: str) -> bool:
        """Whether a fault of this part of the body is happening now."""
        return any(fault_kinds()[key].part == part for key in self.hot)


def paint_body(
    picture: Canvas, points: Points, look: Look, readings: Readings, unit: float
) -> None:
    """Limbs, body line against straight, elbow arc and number, as far as this view shows them: from
    the side those of the arm that carries, which is the far one where the near hand rests."""
    if look.view.along_body:
        _paint_from_front(picture, points, readings, unit)
    else:
        _paint_from_side(picture, points, look.signals.near_side, readings, unit)


def _paint_from_side(
    picture: Canvas, points: Points, side: str, readings: Readings, unit: float
) -> None:
    shoulder, elbow, wrist, hip, knee, ankle = (
        points[f"{side}_{joint}"]
        for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
    )
    far_end = ankle if _seen(ankle) else knee
    bent = readings.accused("line")
    line_colour = theme.FAULT.picture if bent else theme.LINE.picture
    if _seen(shoulder, hip, far_end):
        if bent:
            picture.wash((shoulder, hip, far_end), line_colour, 0.55)
        _dashed(picture, shoulder, far_end, _WHITE, unit)
        body = (shoulder, hip, far_end)
        _stroke(picture, body, line_colour, (3.4 if bent else 2.2) * unit, unit)
        _joint(picture, hip, line_colour, 3.2 * unit, unit)
    hot = readings.accused("arm")
    arm_colour = theme.FAULT.picture if hot else _BONE
    if _seen(shoulder, elbow, wrist):
        _stroke(picture, (shoulder, elbow, wrist), arm_colour, (4.2 if hot else 2.8) * unit, unit)
        ahead = math.copysign(1.0, shoulder[0] - hip[0]) if _seen(hip) else 1.0
        _elbow(picture, (shoulder, elbow, wrist), readings.elbow_deg, ahead, arm_colour, unit)
        for joint in (shoulder, wrist):
            _joint(picture, joint, arm_colour, 2.6 * unit, unit)


def _paint_from_front(picture: Canvas, points: Points, readings: Readings, unit: float) -> None:
    left, right = points["left_shoulder"], points["right_shoulder"]
    if _seen(left, right):
        _stroke(picture, (left, right), theme.LINE.picture, 2.2 * unit, unit)
    hot = readings.accused("arm")
    colour = theme.FAULT.picture if hot else _BONE
    for side, angle in (("left", readings.elbow_left_deg), ("right", readings.elbow_right_deg)):
        arm = tuple(points[f"{side}_{joint}"] for joint in ("shoulder", "elbow", "wrist"))
        if not _seen(*arm):
            continue
        other = right if side == "left" else left
        outward = math.copysign(1.0, arm[0][0] - other[0]) if _seen(other) else 1.0
        _stroke(picture, arm, colour, (4.2 if hot else 2.8) * unit, unit)
        _elbow(picture, arm, angle, outward, colour, unit)
        for joint in (arm[0], arm[2]):
            _joint(picture, joint, colour, 2.6 * unit, unit)


CALL_UNITS, MOST_CALLS = 21, 2  # height of a called fault, and how many are called at once


def paint_call(picture: Canvas, faults: Sequence[Fault], unit: float, *, above: bool) -> None:
    """The faults that are happening now, called along the lower edge of the picture, or the upper
    one when the person is below."""
    height, width = picture.height, picture.width
    row = round(CALL_UNITS * unit)
    for place, fault in enumerate(faults[:MOST_CALLS]):
        top = row * place if above else height - row * (place + 1)
        ground = theme.FAULT.paper
        picture.box(0, top, width, top + row - round(unit), ground)
        _bars(picture, 0, top, round(15 * unit), row - round(unit), unit)
        call = fault_kinds()[fault.key].name
        numbers = f"{with_unit(fault.value, fault.unit)}"
        limit = f"limit {limit_text(fault.value, fault.limit, fault.unit)}"
        base = top + 15 * unit
        x = 21 * unit
        picture.letter(call, x, base, 14 * unit, _WHITE)
        x += text_width(call, round(14 * unit)) + 7 * unit
        picture.letter(numbers, x, base, 14 * unit, _WHITE)
        x += text_width(numbers, round(14 * unit)) + 8 * unit
        if x + text_width(limit, round(10.5 * unit), bold=False) < width - 4 * unit:
            picture.letter(limit, width - 6 * unit, base, 10.5 * unit, _WHITE,
                   anchor="right", bold=False)  # fmt: skip


def paint_stuck(
    picture: Canvas, says: str, arm: Sequence[FloatArray], unit: float, *, above: bool
) -> None:
    """Where a press sticks: the elbow ringed, and a line of words along the edge that the faults
    leave free."""
    _, elbow, _ = arm
    if _seen(elbow):
        for thickness, tone in ((3.2 * unit, _CASING), (1.6 * unit, theme.TARGET.paper)):
            picture.arc(elbow, 12.0 * unit, 0.0, 359.0, tone, thickness)
    row = CALL_UNITS * unit
    top = 0.0 if above else picture.height - row
    picture.box(0, top, picture.width, top + row - unit, theme.BAND)
    size = 12 * unit
    while size > 6 * unit and text_width(says, round(size)) > picture.width - 12 * unit:
        size -= unit
    picture.letter(says, 6 * unit, top + 14.5 * unit, size, _WHITE)


def paint_band(
    band: Canvas,
    now: Moment | None,
    reps: Sequence[RepResult],
    t_s: float,
    elbow_deg: float,
    tempo: Tempo | None,
    targets: Targets,
    unit: float,
    hold: SupportHold | None = None,
) -> None:
    """Rep, phase against the tempo, and the elbow between its two limits; or the time held."""
    band.fill(theme.BAND)
    if not reps:
        words = "No rep found"
        if hold is not None:
            held_s = min(max(t_s - hold.start_s, 0.0), hold.held_s)
            words = f"Support hold, {held_s:.0f} s" if held_s > 0 else "Ready"
        band.letter(words, 12 * unit, 46 * unit, 17 * unit, _WHITE)
        return
    _paint_set(band, reps, t_s, unit)
    done = [result for result in reps if result.rep.start_s <= t_s]
    number = str(done[-1].rep.index) if done else "0"
    band.letter(number, 31 * unit, 53 * unit, (34 if len(number) < 3 else 24) * unit, _WHITE,
           anchor="middle")  # fmt: skip
    band.letter(f"of {len(reps)}", 31 * unit, 68 * unit, 11 * unit, _DIM, anchor="middle",
           bold=False)  # fmt: skip
    _paint_tempo(band, now, tempo, bool(done), 64 * unit, band.width - 112 * unit, unit)
    _paint_range(band, elbow_deg, targets, unit)


def _paint_set(band: Canvas, reps: Sequence[RepResult], t_s: float, unit: float) -> None:
    """One mark a rep along the upper edge: full when it counted, open and crossed when not."""
    strip = band.part(0, 0, band.width, 14 * unit)
    marks = tuple(_mark(result, t_s) for result in reps)
    strip.show(_marks(marks, strip.width, strip.height, unit, band.matrix), 0)


def _mark(result: RepResult, t_s: float) -> str:
    if result.rep.top_s > t_s:
        return "to come"
    if result.attempt != "counted":
        return "not counted"
    return "faulty" if any(f.verdict == "fault" for f in result.faults) else "clean"


@lru_cache(maxsize=4)
def _marks(
    marks: tuple[str, ...], width: int, height: int, unit: float, matrix: Matrix
) -> tuple[Plane, Plane, Plane]:
    """The planes of the marks: they change once a rep, and a long set has hundreds."""
    band = Canvas.over(np.zeros((height * 3 // 2, width), np.uint8), matrix)
    band.fill(theme.BAND)
    step = min(24 * unit, (width - 12 * unit) / len(marks))
    top, bottom = 4 * unit, 10 * unit
    for place, mark in enumerate(marks):
        x0 = 6 * unit + place * step
        x1 = x0 + max(step - 3 * unit, 0.6 * step)
        if mark == "to come":
            band.box(x0, top, x1, bottom, theme.BAND_RULE, outline=unit)
        elif mark == "not counted":
            colour = theme.FAULT.picture
            band.box(x0, top, x1, bottom, colour, outline=unit)
            band.path(((x0, bottom), (x1, top)), colour, 1.2 * unit)
        else:
            band.box(x0, top, x1, bottom, theme.DONE.picture)
            if mark == "faulty":
                band.box(x0, bottom + unit, x1, bottom + 3 * unit, theme.FAULT.picture)
    return band.y, band.u, band.v


def _paint_tempo(
    band: Canvas,
    now: Moment | None,
    tempo: Tempo | None,
    begun: bool,
    x0: float,
    x1: float,
    unit: float,
) -> None:
    asked = asked_s(tempo)
    base = 32 * unit
    if now is None:
        band.letter("Set done" if begun else "Ready", x0, base, 15 * unit, _WHITE)
    else:
        rep = now.result.rep
        band.letter(phase_words(rep, now.phase), x0, base, 15 * unit, _WHITE)
        judged = now.phase < len(phases_of(rep))
        aim = asked[now.phase] if judged else None
        fast = tempo is not None and now.phase == 2 and aim is None and judged
        count = f"{now.elapsed_s:.1f}"
        goal = " / X" if fast else f" / {aim:g} s" if aim is not None else " s"
        goal_width = text_width(goal, round(11 * unit), bold=False)
        band.letter(goal, x1, base, 11 * unit, _DIM, anchor="right", bold=False)
        band.letter(count, x1 - goal_width, base, 15 * unit, _WHITE, anchor="right")
    _paint_phases(band, now, tempo, x0, x1, 39 * unit, 53 * unit, unit)


def _paint_phases(
    band: Canvas,
    now: Moment | None,
    tempo: Tempo | None,
    x0: float,
    x1: float,
    top: float,
    bottom: float,
    unit: float,
) -> None:
    """Four places as wide as what is asked, filling as time goes by; below, asked or done."""
    asked = asked_s(tempo)
    shares = [max(0.55, aim if aim is not None else 1.0) for aim in asked]
    edges = x0 + (x1 - x0) * np.concatenate(([0.0], np.cumsum(shares) / sum(shares)))
    bounds = bounds_s(now.result.rep) if now is not None else None
    for place, key in enumerate(PHASE_KEYS):
        left, right = float(edges[place]) + unit, float(edges[place + 1]) - unit
        aim = asked[place]
        known = 0 if now is None else len(phases_of(now.result.rep))
        if now is None or bounds is None or place > now.phase or place >= known:
            filled, spent = 0.0, None
        else:
            spent = now.elapsed_s if place == now.phase else bounds[place + 1] - bounds[place]
            own = bounds[place + 1] - bounds[place]
            filled = min(1.0, spent / max(aim if aim else own, 0.05))
        look = theme.PHASES[key]
        band.box(left, top, right, bottom, theme.BAND_TROUGH)
        if filled > 0:
            _phase_fill(band, left, top, left + (right - left) * filled, bottom, look, unit)
        current = now is not None and place == now.phase and place < known
        band.box(left, top, right, bottom, _WHITE if current else theme.BAND_RULE,
             outline=unit)  # fmt: skip
        if tempo is not None:
            label = "X" if place == 2 and aim is None else f"{aim:g}"
        else:
            label = f"{spent:.1f}" if spent is not None and not current else ""
        band.letter(label, (left + right) / 2, 66 * unit, 10.5 * unit,
               _WHITE if current else _DIM, anchor="middle", bold=current)  # fmt: skip


def _paint_range(band: Canvas, elbow_deg: float, targets: Targets, unit: float) -> None:
    """The elbow between its two rails: lockout above, depth below."""
    x0, x1 = band.width - 40 * unit, band.width - 29 * unit
    known = math.isfinite(elbow_deg)
    number = f"{elbow_deg:.0f}°" if known else "–"
    band.letter(number, x0 - 10 * unit, 46 * unit, 21 * unit, _WHITE, anchor="right")
    band.letter("elbow", x0 - 12 * unit, 60 * unit, 10.5 * unit, _DIM, anchor="right", bold=False)

    def height_of(angle_deg: float) -> float:
        return (16 + 54 * (180.0 - min(max(angle_deg, 60.0), 180.0)) / 120.0) * unit

    band.box(x0, height_of(180), x1, height_of(60), theme.BAND_TROUGH)
    for limit, upper in ((targets.lockout_deg, True), (targets.depth_deg, False)):
        if not math.isfinite(limit):
            continue
        rail = height_of(limit)
        reached = known and (elbow_deg >= limit if upper else elbow_deg <= limit)
        zone = (height_of(180), rail) if upper else (rail, height_of(60))
        colour = theme.DONE.picture if reached else theme.TARGET.picture
        band.box(x0, zone[0], x1, zone[1], colour)
        band.path(((x0, rail), (x1 + 3 * unit, rail)), _WHITE, 1.2 * unit)
        band.letter(f"{limit:.0f}°", x1 + 5 * unit, rail + 3.2 * unit, 9 * unit, _DIM, bold=False)
    if known:
        y = height_of(elbow_deg)
        band.path(((x0, y), (x1, y)), _WHITE, 2 * unit)
        band.arrow((x0 + unit, y), 7 * unit, _WHITE)


def _elbow(
    picture: Canvas,
    arm: Sequence[FloatArray],
    angle_deg: float,
    toward: float,
    colour: str,
    unit: float,
) -> None:
    shoulder, elbow, wrist = arm
    radius = 10.0 * unit
    ends = [
        math.degrees(math.atan2(end[1] - elbow[1], end[0] - elbow[0])) for end in (shoulder, wrist)
    ]
    sweep = (ends[1] - ends[0] + 180.0) % 360.0 - 180.0
    for thickness, tone in ((3.4 * unit, _CASING), (1.6 * unit, colour)):
        picture.arc(elbow, radius, ends[0], ends[0] + sweep, tone, thickness)
    if math.isfinite(angle_deg):
        number, size = f"{angle_deg:.0f}°", round(14.0 * unit)
        wide = text_width(number, size)
        x = float(elbow[0]) + (14.0 * unit if toward > 0 else -14.0 * unit - wide)
        x = min(max(x, 2.0 * unit), picture.width - wide - 2.0 * unit)
        picture.letter(number, x, float(elbow[1]) + 5.0 * unit, size, _WHITE, casing=_CASING)


def _stroke(
    picture: Canvas, points: Sequence[Point], colour: str, thickness: float, unit: float
) -> None:
    picture.path(points, _CASING, thickness + 1.8 * unit)
    picture.path(points, colour, thickness)


def _dashed(
    picture: Canvas,
    start: FloatArray,
    end: FloatArray,
    colour: str,
    unit: float,
) -> None:
    length = float(np.hypot(*(end - start)))
    if length < 1:
        return
    step = (end - start) / length
    dashes = [
        (start + step * at, start + step * min(at + 5.0 * unit, length))
        for at in np.arange(0.0, length, 9.0 * unit)
    ]
    picture.strokes(dashes, _CASING, 2.6 * unit)
    picture.strokes(dashes, colour, 1.3 * unit)


def _joint(picture: Canvas, point: Point, colour: str, radius: float, unit: float) -> None:
    picture.dot(point, radius + 0.9 * unit, _CASING)
    picture.dot(point, radius, colour)


def _phase_fill(
    band: Canvas, x0: float, y0: float, x1: float, y1: float, look: theme.PhaseLook, unit: float
) -> None:
    """A filled box with the phase's hatching, cut to the box."""
    box = band.part(x0, y0, x1, y1)
    box.fill(look.fill.picture)
    step = 6.0 * unit
    if look.hatch == "dots":
        for x in np.arange(step / 2, box.width, step):
            box.dot((x, box.height / 2), 1.2 * unit, look.lines)
    elif look.hatch != "solid":
        first, last = (0, box.height) if look.hatch == "down" else (box.height, 0)
        lines = [
            ((x, first), (x + box.height, last)) for x in np.arange(-box.height, box.width, step)
        ]
        box.strokes(lines, look.lines, 0.9 * unit)


def _bars(picture: Canvas, x: float, y: float, width: float, height: float, unit: float) -> None:
    """The fault hatching at the head of a call: it reads without colour."""
    box = picture.part(x, y, x + width, y + height)
    bars = [
        ((x, box.height), (x + box.height, 0))
        for x in np.arange(-box.height, box.width, 6.0 * unit)
    ]
    box.strokes(bars, _WHITE, 1.6 * unit)


def _seen(*points: FloatArray) -> bool:
    return all(bool(np.isfinite(point).all()) for point in points)
