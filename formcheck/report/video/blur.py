"""Blur the face of the person in a clip, from the head landmarks of the pose.

Where the head is not known, the whole picture is blurred: a face shown for one picture is shown.
Only the person whose pose was found is known; other people's faces are not blurred.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack
from formcheck.report.video.canvas import Canvas, Plane

_HEAD = [i for i, name in enumerate(LANDMARKS) if i <= INDEX["mouth_right"]]
_HEAD_PER_STATURE = 0.130  # chin to crown; Drillis and Contini 1966
_TRUNK_PER_STATURE, _SHOULDERS_PER_STATURE = 0.288, 0.259  # shoulder to hip; width; the same
_ROOM = 1.4  # landmarks err, hair and chin reach further (assumed)
_KNOWN_FOR_S = 0.25  # a head moves its own width in less than a second
_CELLS = 5  # a head as so many patches across says nothing of who it is
_PICTURE_CELLS = 20


@dataclass(frozen=True)
class Head:
    """Where a head may be, in px of the picture: a circle."""

    x: float
    y: float
    radius: float


def heads_at(track: PoseTrack, times_s: FloatArray) -> list[Head | None]:
    """The head at each time, in px of the track's picture; None where it is not known."""
    points = track.xy_px[:, _HEAD]
    known = np.flatnonzero(np.isfinite(points[..., 0]).any(axis=1))
    if len(known) == 0:
        return [None] * len(times_s)
    low = np.nanmin(points[known], axis=1)
    high = np.nanmax(points[known], axis=1)
    centre, reach = (low + high) / 2, np.linalg.norm(high - low, axis=1) / 2
    # Seen from the side or the front, the landmarks of a face lie close together; a body's
    # lengths say how large its head is.
    least = 0.5 * _HEAD_PER_STATURE * _stature_px(track)
    radius = _ROOM * np.maximum(least, reach + 0.5 * least)
    known_s = track.t_s[known]
    after = np.searchsorted(known_s, times_s).clip(0, len(known) - 1)
    before = np.maximum(after - 1, 0)
    away_s = np.minimum(np.abs(known_s[after] - times_s), np.abs(known_s[before] - times_s))
    x, y, wide = (np.interp(times_s, known_s, v) for v in (centre[:, 0], centre[:, 1], radius))
    moved = np.linalg.norm(centre[after] - centre[before], axis=1)
    return [
        Head(float(x[n]), float(y[n]), float(wide[n] + 0.5 * moved[n]))
        if away_s[n] <= _KNOWN_FOR_S
        else None
        for n in range(len(times_s))
    ]


def _stature_px(track: PoseTrack) -> float:
    """The body's height in px as its longest trunk and widest shoulders say."""
    shoulders = [track.xy(f"{side}_shoulder") for side in ("left", "right")]
    hips = [track.xy(f"{side}_hip") for side in ("left", "right")]
    trunks = [np.linalg.norm(a - b, axis=1) for a, b in zip(shoulders, hips, strict=True)]
    lengths = (
        (np.concatenate(trunks), _TRUNK_PER_STATURE),
        (np.linalg.norm(shoulders[0] - shoulders[1], axis=1), _SHOULDERS_PER_STATURE),
    )
    said = [
        float(np.nanpercentile(px, 95)) / share for px, share in lengths if np.isfinite(px).any()
    ]
    return max(said, default=0.0)


def blur_head(picture: Canvas, head: Head | None) -> None:
    """Make the head unrecognisable in place, or all of the picture where it is not known."""
    for plane, scale in ((picture.y, 1.0), (picture.u, 0.5), (picture.v, 0.5)):
        if head is None:
            plane[:] = _patches(plane, _PICTURE_CELLS)
            continue
        x, y, radius = (value * scale for value in (head.x, head.y, head.radius))
        x0, y0 = max(0, int(x - radius)), max(0, int(y - radius))
        part = plane[y0 : max(0, int(y + radius) + 2), x0 : max(0, int(x + radius) + 2)]
        if part.size == 0:
            continue
        rows, columns = np.ogrid[: part.shape[0], : part.shape[1]]
        inside = (rows + y0 - y) ** 2 + (columns + x0 - x) ** 2 <= radius**2
        part[inside] = _patches(part, _CELLS)[inside]


def _patches(plane: Plane, cells: int) -> Plane:
    """The plane with no more than ``cells`` patches across left of it, softly joined."""
    height, width = plane.shape
    patch = max(height, width) / cells
    few = (max(1, round(width / patch)), max(1, round(height / patch)))
    small = cv2.resize(np.ascontiguousarray(plane), few, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)
