"""A picture held as video planes, and the few strokes an annotation needs.

Drawing straight into Y, U and V spares two colour conversions of the whole picture a frame,
which cost more than decoding it. All strokes are anti-aliased; coordinates are px, x right,
y down, fractions allowed; what falls outside is cut off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import cv2
import numpy as np
import numpy.typing as npt

from formcheck.maths.arrays import FloatArray
from formcheck.report.video.lettering import lettered, text_width

Plane = npt.NDArray[np.uint8]
Picture = npt.NDArray[np.uint8]  # (H, W, 3) RGB
Point = Sequence[float] | FloatArray
Anchor = Literal["left", "middle", "right"]
Matrix = Literal["bt601", "bt709"]

_BITS = 4  # fractional bits of cv2 coordinates
_WEIGHTS = {"bt601": (0.299, 0.114), "bt709": (0.2126, 0.0722)}  # of red and blue; ITU-R BT


@dataclass(frozen=True)
class Canvas:
    """Planes Y (H, W) and U, V (H/2, W/2), limited range; sides even. Colours are ``#rrggbb``."""

    y: Plane
    u: Plane
    v: Plane
    matrix: Matrix = "bt601"

    @staticmethod
    def over(packed: Plane, matrix: Matrix = "bt601") -> Canvas:
        """The canvas that lies on one packed picture, (H * 3 / 2, W), Y over U over V."""
        height, width = packed.shape[0] * 2 // 3, packed.shape[1]
        flat, area = packed.reshape(-1), height * width
        half = (height // 2, width // 2)
        return Canvas(
            flat[:area].reshape(height, width),
            flat[area : area + area // 4].reshape(half),
            flat[area + area // 4 :].reshape(half),
            matrix,
        )

    @property
    def width(self) -> int:
        return int(self.y.shape[1])

    @property
    def height(self) -> int:
        return int(self.y.shape[0])

    def part(self, left: float, top: float, right: float, bottom: float) -> Canvas:
        """A window onto this canvas, its sides moved to even px and inside."""
        x0, x1 = (min(max(0, round(x / 2)), self.width // 2) for x in (left, right))
        y0, y1 = (min(max(0, round(y / 2)), self.height // 2) for y in (top, bottom))
        return Canvas(
            self.y[2 * y0 : 2 * y1, 2 * x0 : 2 * x1],
            self.u[y0:y1, x0:x1],
            self.v[y0:y1, x0:x1],
            self.matrix,
        )

    def show(self, planes: tuple[Plane, Plane, Plane], cut: int) -> None:
        """Put a picture of this height here, from its column ``cut`` (even) on."""
        for plane, shown, start in zip((self.y, self.u, self.v), planes, (cut, cut // 2, cut // 2),
                                       strict=True):  # fmt: skip
            plane[:] = shown[:, start : start + plane.shape[1]]

    def rgb(self) -> Picture:
        """A copy as RGB."""
        red_weight, blue_weight = _WEIGHTS[self.matrix]
        green_weight = 1 - red_weight - blue_weight
        size = (self.width, self.height)
        luma = (self.y.astype(np.float32) - 16) * (255 / 219)
        cb, cr = (
            cv2.resize(plane, size, interpolation=cv2.INTER_LINEAR).astype(np.float32) - 128
            for plane in (self.u, self.v)
        )
        red = luma + cr * (2 * (1 - red_weight) * 255 / 224)
        blue = luma + cb * (2 * (1 - blue_weight) * 255 / 224)
        green = (luma - red_weight * red - blue_weight * blue) / green_weight
        return np.clip(np.stack([red, green, blue], axis=2) + 0.5, 0, 255).astype(np.uint8)

    def fill(self, colour: str) -> None:
        for plane, tone in self._planes(colour):
            plane[:] = tone

    def box(self, x0: float, y0: float, x1: float, y1: float, colour: str,
            outline: float | None = None) -> None:  # fmt: skip
        """A filled box, or its outline as thick as ``outline`` drawn inside."""
        if outline is None:
            if x1 - x0 >= 1 and y1 - y0 >= 1:
                for plane, tone in self._planes(colour):
                    scale = 1 if plane is self.y else 2
                    plane[max(0, round(y0 / scale)) : round(y1 / scale),
                          max(0, round(x0 / scale)) : round(x1 / scale)] = tone  # fmt: skip
            return
        edge = max(1.0, outline)
        for side in (
            (x0, y0, x1, y0 + edge),
            (x0, y1 - edge, x1, y1),
            (x0, y0, x0 + edge, y1),
            (x1 - edge, y0, x1, y1),
        ):
            self.box(*side, colour)

    def path(self, points: Sequence[Point], colour: str, thickness: float) -> None:
        """Straight strokes from point to point."""
        self.strokes([points], colour, thickness)

    def strokes(self, paths: Sequence[Sequence[Point]], colour: str, thickness: float) -> None:
        """Several paths of as many points each, in one go."""
        if len(paths) == 0:
            return
        for plane, tone, places, thick in self._fitted(paths, colour, thickness):
            cv2.polylines(plane, list(places), False, tone, thick, cv2.LINE_AA, _BITS)

    def arc(self, centre: Point, radius: float, from_deg: float, to_deg: float, colour: str,
            thickness: float) -> None:  # fmt: skip
        """Part of a circle; 0° points right, angles grow clockwise."""
        for plane, tone, place, thick in self._fitted([centre], colour, thickness):
            reach = _fixed(radius if plane is self.y else radius / 2)
            cv2.ellipse(plane, place[0].tolist(), (reach, reach), 0.0, from_deg, to_deg, tone,
                        thick, cv2.LINE_AA, _BITS)  # fmt: skip

    def dot(self, centre: Point, radius: float, colour: str) -> None:
        for plane, tone, place, _ in self._fitted([centre], colour, 1):
            reach = _fixed(radius if plane is self.y else radius / 2)
            cv2.circle(plane, place[0].tolist(), reach, tone, -1, cv2.LINE_AA, _BITS)

    def arrow(self, tip: Point, size: float, colour: str) -> None:
        """A filled arrow head that points right at ``tip``."""
        x, y = float(tip[0]), float(tip[1])
        self.wash(((x, y), (x - size, y - 0.6 * size), (x - size, y + 0.6 * size)), colour, 1.0)

    def wash(self, corners: Sequence[Point], colour: str, strength: float) -> None:
        """Lay a colour over an area, ``strength`` 0 to 1."""
        for plane, tone, place, _ in self._fitted(corners, colour, 1):
            x, y, w, h = cv2.boundingRect(place >> _BITS)
            x0, y0 = max(0, x), max(0, y)
            part = plane[y0 : max(0, y + h + 2), x0 : max(0, x + w + 2)]
            if part.size == 0:
                continue
            layer = part.copy()
            shifted = place - np.array([x0, y0], np.int32) * (1 << _BITS)
            cv2.fillPoly(layer, [shifted], tone, cv2.LINE_AA, _BITS)
            part[:] = cv2.addWeighted(layer, strength, part, 1 - strength, 0.0)

    def letter(
        self, text: str, x: float, y: float, size_px: float, colour: str, *,
        anchor: Anchor = "left", bold: bool = True, casing: str | None = None,
    ) -> None:  # fmt: skip
        """One line, baseline at ``y``, with its left, middle or right at ``x``. ``casing``
        outlines the letters so that they read on any ground."""
        size = max(6, round(size_px))
        x -= {"left": 0.0, "middle": 0.5, "right": 1.0}[anchor] * text_width(text, size, bold=bold)
        if casing is not None:
            self._print(text, round(x), round(y), size, bold, max(1, round(size / 8)), casing)
        self._print(text, round(x), round(y), size, bold, 0, colour)

    def _print(self, text: str, x: int, y: int, size: int, bold: bool, outline: int,
               colour: str) -> None:  # fmt: skip
        _, left, top = lettered(text, size, bold=bold, outline_px=outline)
        left, top = left + x, top + y
        (luma, tone), *chroma = self._planes(colour)
        _lay(luma, _ink(text, size, bold, outline, None, tone), left, top)
        for plane, shade in chroma:
            ink = _ink(text, size, bold, outline, (left % 2, top % 2), shade)
            _lay(plane, ink, left // 2, top // 2)

    def _planes(self, colour: str) -> tuple[tuple[Plane, int], ...]:
        luma, cb, cr = _tones(colour, self.matrix)
        return (self.y, luma), (self.u, cb), (self.v, cr)

    def _fitted(
        self, points: Sequence[Any], colour: str, thickness: float
    ) -> tuple[tuple[Plane, int, npt.NDArray[np.int32], int], ...]:
        """For each plane its tone, the points in cv2's fixed numbers, and whole-px thickness."""
        place = np.asarray(points, np.float64) * (1 << _BITS)
        full = np.rint(place).astype(np.int32)
        # A chroma sample sits between two luma samples.
        half = np.rint((place - (1 << _BITS) / 2) / 2).astype(np.int32)
        thick, thin = max(1, round(thickness)), max(1, round(thickness / 2))
        luma, cb, cr = _tones(colour, self.matrix)
        return (self.y, luma, full, thick), (self.u, cb, half, thin), (self.v, cr, half, thin)


def rgb(colour: str) -> tuple[int, int, int]:
    """``#rrggbb`` as three numbers 0–255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


@lru_cache(maxsize=128)
def _tones(colour: str, matrix: Matrix) -> tuple[int, int, int]:
    """Y, Cb, Cr of a colour, 8-bit limited range (ITU-R BT.601 and BT.709)."""
    red, green, blue = (channel / 255 for channel in rgb(colour))
    red_weight, blue_weight = _WEIGHTS[matrix]
    luma = red_weight * red + (1 - red_weight - blue_weight) * green + blue_weight * blue
    return (
        round(16 + 219 * luma),
        round(128 + 112 * (blue - luma) / (1 - blue_weight)),
        round(128 + 112 * (red - luma) / (1 - red_weight)),
    )


@lru_cache(maxsize=4096)
def _ink(
    text: str, size: int, bold: bool, outline: int, odd: tuple[int, int] | None, tone: int
) -> tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint16]]:
    """What lettering keeps of the picture under it, of 255, and what it adds, 255 times; on the
    half-size planes for text that starts on ``odd`` or even px."""
    cover, _, _ = lettered(text, size, bold=bold, outline_px=outline)
    if odd is not None:
        height, width = cover.shape
        padded = np.pad(cover, ((odd[1], (odd[1] + height) % 2), (odd[0], (odd[0] + width) % 2)))
        quads = padded.reshape(padded.shape[0] // 2, 2, padded.shape[1] // 2, 2)
        cover = np.asarray(quads.mean(axis=(1, 3)), np.uint8)
    share = cover.astype(np.uint16)
    return 255 - share, share * np.uint16(tone) + np.uint16(128)


def _lay(
    plane: Plane, ink: tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint16]], x0: int, y0: int
) -> None:
    keeps, adds = ink
    left, top = max(0, -x0), max(0, -y0)
    right = min(keeps.shape[1], plane.shape[1] - x0)
    bottom = min(keeps.shape[0], plane.shape[0] - y0)
    if left >= right or top >= bottom:
        return
    under = plane[y0 + top : y0 + bottom, x0 + left : x0 + right]
    mixed = under * keeps[top:bottom, left:right]
    mixed += adds[top:bottom, left:right]
    mixed += mixed >> 8
    mixed >>= 8
    under[:] = mixed  # over 255, rounded; exact, and quicker than to divide


def _fixed(value: float) -> int:
    return round(value * (1 << _BITS))
