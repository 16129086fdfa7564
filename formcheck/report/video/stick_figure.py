"""One moment of a set as a stick figure, where there is no clip to take a picture from."""

from __future__ import annotations

import numpy as np

from formcheck.analysis import Analysis
from formcheck.maths.arrays import FloatArray
from formcheck.report import theme
from formcheck.report.moments import called_at_s
from formcheck.report.video.canvas import Canvas, Picture
from formcheck.report.video.overlay import Points, Readings, paint_body

_ASPECT = 1.6
_HAPPENS_S = 0.5  # a fault called no further from the moment turns its limb hot
_JOINTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
_CHAINS = (("shoulder", "elbow", "wrist"), ("shoulder", "hip", "knee", "ankle"))
_HEAD = ("left_ear", "right_ear", "nose")


def stick_figure(
    analysis: Analysis, at_s: float, view: str = "", width_px: int = 320
) -> Picture | None:
    """The body at ``at_s`` of the set's clock, drawn as in the annotated clip, in the view of that
    name or else the first; None where the body is not seen then."""
    look = next((one for one in analysis.looks if one.view.kind == view), analysis.looks[0])
    signals = look.signals
    if not len(signals.t_s):
        return None
    index = int(np.argmin(np.abs(signals.t_s + look.offset_s - at_s)))
    unseen = np.full((len(signals.t_s), 2), np.nan)
    names = [*(f"{side}_{joint}" for side in ("left", "right") for joint in _JOINTS), *_HEAD]
    points = {name: signals.drawn_px.get(name, unseen)[index] for name in names}
    known = np.array([xy for xy in points.values() if np.isfinite(xy).all()])
    if len(known) < len(_CHAINS[0]):
        return None
    width, height = width_px, round(width_px / _ASPECT / 2) * 2
    placed = _fitted(points, known, width, height)
    canvas = Canvas.over(np.zeros((height * 3 // 2, width), np.uint8))
    canvas.fill(theme.BAND)
    unit = width / 200
    lowest = max(xy[1] for xy in placed.values() if np.isfinite(xy).all())
    canvas.path([(0, lowest + 5 * unit), (width, lowest + 5 * unit)], theme.BAND_RULE, unit)
    for side in ("left", "right") if look.view.kind in ("side", "oblique") else ():
        for chain in _CHAINS:
            limb = [placed[f"{side}_{joint}"] for joint in chain]
            limb = [xy for xy in limb if np.isfinite(xy).all()]
            if len(limb) > 1:
                canvas.path(limb, theme.BAND_RULE, 2.2 * unit)
    head = [placed[name] for name in _HEAD if np.isfinite(placed[name]).all()]
    if head:
        canvas.dot(np.mean(head, axis=0), 6 * unit, theme.LIMB.picture)
    hot = {
        fault.key
        for result in analysis.reps
        for fault in result.faults
        if fault.verdict == "fault" and abs(called_at_s(fault, result.rep) - at_s) <= _HAPPENS_S
    }
    readings = Readings(
        elbow_left_deg=float(signals.elbow_left_deg[index]),
        elbow_right_deg=float(signals.elbow_right_deg[index]),
        elbow_deg=float(signals.elbow_deg[index]),
        hot=frozenset(hot),
    )
    paint_body(canvas, placed, look, readings, unit)
    return canvas.rgb()


def _fitted(points: Points, known: FloatArray, width: int, height: int) -> dict[str, FloatArray]:
    """The points with the body in the middle, and room for its head, feet and the number."""
    low, high = known.min(axis=0), known.max(axis=0)
    room = 0.7 * np.array([width, height]) / np.maximum(high - low, 1.0)
    scale = float(room.min())
    middle = np.array([width, height]) / 2
    return {name: (xy - (low + high) / 2) * scale + middle for name, xy in points.items()}
