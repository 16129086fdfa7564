"""The annotated clip: read one or two views, paint every picture, write one clip in step."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from formcheck.analysis import Analysis
from formcheck.clip.info import ClipInfo
from formcheck.clip.read import Planes
from formcheck.clip.small import LONG_SIDE_PX, MOST_FPS, MOST_PX, Drawn, even
from formcheck.clip.write import ClipWriter
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.rules import Fault
from formcheck.maths.arrays import FloatArray
from formcheck.measures.bodyline import judged_line
from formcheck.report import theme
from formcheck.report.moments import called_at_s, moment
from formcheck.report.set_words import as_shown, sticking_text
from formcheck.report.targets import elbow_view, targets_of
from formcheck.report.video.blur import Head, blur_head, heads_at
from formcheck.report.video.canvas import Canvas, Matrix, Picture
from formcheck.report.video.overlay import (
    BAND_UNITS,
    CALL_UNITS,
    MOST_CALLS,
    Readings,
    paint_band,
    paint_body,
    paint_call,
    paint_stuck,
)
from formcheck.report.video.stills import STILL_WIDTH_PX, STUCK, Annotated, FaultId, id_of
from formcheck.reps.look import Look

_STILL_ASPECT = 1.6
_CALL_S = 1.6  # how long a fault stays called
_STUCK_S = 0.6  # before and after the slowest moment of a press, in which it is marked
_LEAD_S = 0.25  # the limb turns hot a little before the call
_DRAWN = tuple(
    f"{side}_{joint}"
    for side in ("left", "right")
    for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
)


@dataclass(frozen=True)
class _Panel:
    """One view's place in the row of pictures, in px of the written clip.

    The whole source picture is scaled to ``full_width`` × ``height``; columns from ``cut`` on
    are shown at ``left``, ``width`` wide. ``points`` and ``curves`` are at the clip's frames.
    """

    source: Look
    drawn: Drawn
    full_width: int
    height: int
    cut: int
    left: int
    width: int
    points: Mapping[str, FloatArray]
    curves: Mapping[str, FloatArray]

    @property
    def info(self) -> ClipInfo:
        return self.drawn.info


def annotate(
    analysis: Analysis,
    clips: Sequence[Drawn],
    out: Path,
    on_frame: Callable[[float], None] | None = None,
    *,
    blur_faces: bool = False,
) -> Annotated:
    """Write the annotated clip of a set.

    ``clips`` are those of ``analysis.looks``, in that order. The first one keeps the clock: its
    pictures, as many as are drawn, keep their own times, and beside each stands the picture of
    the other view nearest in time. The longer side is at most ``LONG_SIDE_PX`` and the whole at
    most ``MOST_PX``. ``on_frame`` is told the seconds done. ``blur_faces`` makes the person's
    face unrecognisable in every picture. Raises ClipError.
    """
    targets = targets_of(analysis)
    panels, width, height = _layout(analysis, clips)
    unit = width / 360
    band_height = even(BAND_UNITS * unit)
    clock = panels[0]
    packed = np.zeros(((height + band_height) * 3 // 2, width), np.uint8)
    canvas = Canvas.over(packed, _matrix(clock.info))
    picture = canvas.part(0, 0, width, height)
    band = canvas.part(0, height, width, height + band_height)
    calls = _calls(analysis)
    stuck = _stuck(analysis)
    above = _more_room_above(panels, MOST_CALLS * CALL_UNITS * unit)
    wanted = _wanted(analysis, calls)
    judged = _panel_of(panels, elbow_view(analysis))
    hold = analysis.hold
    poster_at_s = 0.0 if hold is None else hold.start_s + hold.held_s / 2
    if analysis.reps:
        poster_at_s = analysis.reps[0].rep.bottom_s
    stills: dict[FaultId, Picture] = {}
    poster: Picture | None = None
    heads = [_heads(panel) if blur_faces else None for panel in panels]
    half_frame_s = 0.5 / max(clock.info.fps, 1.0)
    with ClipWriter(
        out,
        width,
        height + band_height,
        min(clock.info.fps, MOST_FPS),
        clock.info.shown_matrix,
    ) as clip:
        for t_s, frames in _in_step(panels):
            now = moment(analysis.reps, t_s)
            for panel, head, (index, frame) in zip(panels, heads, frames, strict=True):
                shown = picture.part(panel.left, 0, panel.left + panel.width, height)
                shown.show(frame, panel.cut)
                if head is not None:
                    blur_head(shown, head[index])
                points = {name: path[index] for name, path in panel.points.items()}
                readings = _readings(panel, index, analysis, calls, t_s, panel is judged)
                if readings is not None:
                    paint_body(shown, points, panel.source, readings, unit)
                if len(panels) > 1:
                    shown.letter(panel.source.view.kind, 6 * unit, 14 * unit, 11 * unit,
                                 theme.LIMB.picture, casing=theme.BAND)  # fmt: skip
            while wanted and wanted[0][0] <= t_s + half_frame_s:
                _, key, view = wanted.pop(0)
                stills[key] = _still(picture, _panel_of(panels, view), t_s)
            called = [
                fault
                for at_s, fault in calls
                if fault.verdict == "fault" and at_s <= t_s + half_frame_s < at_s + _CALL_S
            ]
            paint_call(picture, called[::-1], unit, above=above)
            here = next((one for one in stuck if abs(one.at_s - t_s) <= _STUCK_S), None)
            if here is not None:
                panel = _panel_of(panels, here.view)
                place = frames[panels.index(panel)][0]
                joints = tuple(
                    panel.points[f"{here.side}_{joint}"][place] + [panel.left, 0]
                    for joint in ("shoulder", "elbow", "wrist")
                )
                paint_stuck(picture, here.says, joints, unit, above=not above)
            in_position = _value(clock, "in_position", frames[0][0]) > 0.5
            index = frames[panels.index(judged)][0]
            elbow = _value(judged, "elbow", index) if in_position else math.nan
            paint_band(
                band, now, analysis.reps, t_s, elbow, analysis.prescription.tempo, targets, unit,
                hold,
            )  # fmt: skip
            clip.write_planes(packed, t_s)
            if poster is None and t_s >= poster_at_s:
                poster = canvas.rgb()
            if on_frame is not None:
                on_frame(t_s)
    return Annotated(
        stills, canvas.rgb() if poster is None else poster, width, height + band_height
    )


def _calls(analysis: Analysis) -> list[tuple[float, Fault]]:
    """Every fault and borderline with the moment it is called, in order of time."""
    calls = [
        (called_at_s(fault, result.rep), as_shown(fault, result.values))
        for result in analysis.reps
        for fault in result.faults
    ]
    return sorted(calls, key=lambda call: call[0])


@dataclass(frozen=True)
class _Stuck:
    """Where a press was slowest: ``says`` what stands in the picture, ``side`` the arm marked."""

    at_s: float
    says: str
    view: str
    side: str


def _stuck(analysis: Analysis) -> list[_Stuck]:
    """The moments at which presses stuck, on the reference clock."""
    found = []
    work = analysis.variation.arm_work.working
    for i, result in enumerate(analysis.reps):
        height = result.values["sticking_height_percent"]
        if not height.known or height.at_s is None:
            continue
        look = next((k for k in analysis.looks if k.view.kind == height.view), analysis.looks[0])
        side = work[i] if i < len(work) and work[i] else look.signals.near_side
        what = "Stopped" if result.attempt == "failed" else "Slowest"
        found.append(
            _Stuck(height.at_s, f"{what} here: {sticking_text(result.values)}",
                   look.view.kind, str(side))
        )  # fmt: skip
    return found


def _wanted(
    analysis: Analysis, calls: Sequence[tuple[float, Fault]]
) -> list[tuple[float, FaultId, str]]:
    """The moments of which a still is kept, in order of time, and the view that it is cut from."""
    stuck = [
        (quantity.at_s, (result.rep.index, STUCK), quantity.view or "")
        for result in analysis.reps
        for quantity in [result.values["sticking_height_percent"]]
        if quantity.known and quantity.at_s is not None
    ]
    if analysis.hold is not None and (lost_s := analysis.hold_verdict.broke_at_s) is not None:
        stuck.append((lost_s, (0, STUCK), analysis.hold.line_deg.view or ""))
    return sorted([*((at_s, id_of(fault), fault.view) for at_s, fault in calls), *stuck])


def _layout(analysis: Analysis, clips: Sequence[Drawn]) -> tuple[list[_Panel], int, int]:
    """Panels from left to right, and width and height of the row of pictures."""
    views, infos = analysis.looks, [one.info for one in clips]
    cuts = [(0.0, float(info.width)) for info in infos]
    if len(views) > 1:
        cuts = [_columns_used(view, info) for view, info in zip(views, infos, strict=True)]
    height = float(max(info.height for info in infos))
    width = sum(
        (right - left) * height / info.height
        for (left, right), info in zip(cuts, infos, strict=True)
    )
    full_height = height + BAND_UNITS / 360 * width
    shrink = min(
        1.0, LONG_SIDE_PX / max(width, full_height), (MOST_PX / (width * full_height)) ** 0.5
    )
    rows = even(height * shrink)
    panels: list[_Panel] = []
    at = 0
    for view, drawn, (left, right) in zip(views, clips, cuts, strict=True):
        info = drawn.info
        scale = rows / info.height
        full = even(info.width * scale)
        shown = min(even((right - left) * scale), full)
        cut = min(even(left * scale) if left > 0 else 0, full - shown)
        times = info.times_s
        panels.append(
            _Panel(
                view, drawn, full, rows, cut, at, shown,
                {
                    name: np.stack(
                        [
                            _at_times(view.signals.t_s, path[:, 0], times) * scale - cut,
                            _at_times(view.signals.t_s, path[:, 1], times) * scale,
                        ],
                        axis=1,
                    )
                    for name, path in _drawn(view).items()
                },
                {
                    "elbow": _at_times(view.signals.t_s, view.signals.elbow_deg, times),
                    "left": _at_times(view.signals.t_s, view.signals.elbow_left_deg, times),
                    "right": _at_times(view.signals.t_s, view.signals.elbow_right_deg, times),
                    "line": _at_times(
                        view.signals.t_s,
                        judged_line(view, analysis.variation.support, analysis.line.own),
                        times,
                    ),
                    "in_position": _at_times(
                        view.signals.t_s, view.signals.in_position.astype(np.float64), times
                    ),
                },
            )
        )  # fmt: skip
        at += shown
    return panels, at, rows


def _heads(panel: _Panel) -> list[Head | None]:
    """The head in each picture of the panel's clip, in px of the panel."""
    scale = panel.height / panel.info.height
    return [
        head and Head(head.x * scale - panel.cut, head.y * scale, head.radius * scale)
        for head in heads_at(panel.source.track, panel.info.times_s)
    ]


def _drawn(view: Look) -> dict[str, FloatArray]:
    unseen = np.full((len(view.signals.t_s), 2), np.nan)
    return {name: view.signals.drawn_px.get(name, unseen) for name in _DRAWN}


def _more_room_above(panels: Sequence[_Panel], needed_px: float) -> bool:
    """Whether calls along the lower edge would lie over the person, and less so along the upper."""
    paths = [
        path[panel.curves["in_position"] > 0.5, 1]
        for panel in panels
        for path in panel.points.values()
    ]
    y = np.concatenate(paths)
    y = y[np.isfinite(y)]
    if y.size == 0:
        return False
    highest, lowest = np.percentile(y, [1.0, 99.0])
    below_px = panels[0].height - lowest
    return bool(below_px < needed_px and highest > below_px)


def _columns_used(view: Look, info: ClipInfo) -> tuple[float, float]:
    """Left and right source px around the person over the set, so that two views fit a phone."""
    known = [path[:, 0][view.signals.in_position] for path in _drawn(view).values()]
    x = np.concatenate(known) if known else np.empty(0)
    x = x[np.isfinite(x)]
    if x.size == 0:
        return 0.0, float(info.width)
    left, right = np.percentile(x, [0.5, 99.5])
    margin = max(0.28 * (right - left), 0.07 * info.width)  # head, and the elbow's number
    return max(0.0, float(left - margin)), min(float(info.width), float(right + margin))


def _in_step(
    panels: Sequence[_Panel],
) -> Iterator[tuple[float, list[tuple[int, Planes]]]]:
    """Time on the first panel's clock, and each panel's frame index and scaled picture then."""
    streams = [_Follower(panel) for panel in panels[1:]]
    clock = panels[0]
    for t_s, frame in _scaled(clock):
        others = [stream.nearest(t_s) for stream in streams]
        yield t_s, [(_index_at(clock, t_s), frame), *others]


class _Follower:
    """Reads a clip along another one's clock, holding two pictures at most."""

    def __init__(self, panel: _Panel) -> None:
        self._panel = panel
        self._frames = _scaled(panel)
        self._held = next(self._frames)
        self._next = next(self._frames, None)

    def nearest(self, t_s: float) -> tuple[int, Planes]:
        """Frame index and picture nearest to ``t_s`` of the reference clock; asked in order."""
        own_s = t_s - self._panel.source.offset_s
        while self._next is not None and (abs(self._next[0] - own_s) <= abs(self._held[0] - own_s)):
            self._held, self._next = self._next, next(self._frames, None)
        return _index_at(self._panel, self._held[0]), self._held[1]


def _index_at(panel: _Panel, t_s: float) -> int:
    times_s = panel.info.times_s
    after = int(np.searchsorted(times_s, t_s))
    before, after = max(after - 1, 0), min(after, len(times_s) - 1)
    return before if t_s - times_s[before] <= times_s[after] - t_s else after


def _scaled(panel: _Panel) -> Iterator[tuple[float, Planes]]:
    return panel.drawn.planes(panel.full_width, panel.height)


def _readings(
    panel: _Panel,
    index: int,
    analysis: Analysis,
    calls: Sequence[tuple[float, Fault]],
    t_s: float,
    judged: bool,
) -> Readings | None:
    """None while the body is not in the push-up position. A side view by which the elbow was not
    ``judged`` has no number for it: the table says another."""
    if not _value(panel, "in_position", index) > 0.5:
        return None
    line = _value(panel, "line", index)
    hot = {
        fault.key
        for at_s, fault in calls
        if fault.verdict == "fault" and at_s - _LEAD_S <= t_s < at_s + _CALL_S / 2
    }
    now = moment(analysis.reps, t_s)
    for fault in now.result.faults if now is not None else ():
        kind = fault_kinds()[fault.key]
        if fault.verdict == "fault" and kind.measure == "hip_deviation_deg":
            beyond = line > fault.limit if kind.side == "above" else line < fault.limit
            hot |= {fault.key} if beyond else set()
    return Readings(
        elbow_left_deg=_value(panel, "left", index),
        elbow_right_deg=_value(panel, "right", index),
        elbow_deg=_value(panel, "elbow", index) if judged else math.nan,
        hot=frozenset(hot),
    )


def _value(panel: _Panel, name: str, index: int) -> float:
    return float(panel.curves[name][index])


def _panel_of(panels: Sequence[_Panel], kind: str) -> _Panel:
    return next((panel for panel in panels if panel.source.view.kind == kind), panels[0])


def _still(picture: Canvas, panel: _Panel, t_s: float) -> Picture:
    """The person in one view, cut to 8 : 5, at most ``STILL_WIDTH_PX`` wide."""
    shown = picture.part(panel.left, 0, panel.left + panel.width, panel.height)
    index = _index_at(panel, t_s - panel.source.offset_s)
    xy = np.array([path[index] for path in panel.points.values()])
    xy = xy[np.isfinite(xy).all(axis=1)]
    if len(xy):
        (x0, y0), (x1, y1) = xy.min(axis=0), xy.max(axis=0)
        # Joints end at ankles and wrists; head, feet and the elbow's number need room.
        wide = max(1.95 * (x1 - x0), _STILL_ASPECT * 1.6 * (y1 - y0), 0.35 * shown.width)
        wide = min(wide, shown.width, _STILL_ASPECT * shown.height)
        left = min(max(0.0, (x0 + x1 - wide) / 2), shown.width - wide)
        tall = wide / _STILL_ASPECT
        top = min(max(0.0, (y0 + y1 - tall) / 2), shown.height - tall)
        shown = shown.part(left, top, left + wide, top + tall)
    shrink = min(1.0, STILL_WIDTH_PX / shown.width)
    size = (max(1, round(shown.width * shrink)), max(1, round(shown.height * shrink)))
    return np.asarray(cv2.resize(shown.rgb(), size, interpolation=cv2.INTER_AREA), np.uint8)


def _at_times(t_s: FloatArray, values: FloatArray, wanted_s: FloatArray) -> FloatArray:
    """Values at the wanted times; NaN outside the known span and where either side is NaN."""
    if len(t_s) == 0:
        return np.full(len(wanted_s), np.nan)
    result: FloatArray = np.interp(wanted_s, t_s, values)
    slack_s = 0.1
    result[(wanted_s < t_s[0] - slack_s) | (wanted_s > t_s[-1] + slack_s)] = np.nan
    return result


def _matrix(info: ClipInfo) -> Matrix:
    """Where the clip does not say, players take large pictures for BT.709."""
    unsaid = 2
    if info.shown_matrix == unsaid:
        return "bt709" if min(info.width, info.height) >= 720 else "bt601"
    return "bt709" if info.shown_matrix == 1 else "bt601"
