"""Type for pictures: how much of each pixel a line of text covers."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

Coverage = npt.NDArray[np.uint8]  # (H, W), 0–255

_MATPLOTLIB = find_spec("matplotlib")  # it brings DejaVu Sans; importing it all takes long
assert _MATPLOTLIB is not None and _MATPLOTLIB.origin is not None
_FONTS = Path(_MATPLOTLIB.origin).parent / "mpl-data" / "fonts" / "ttf"


@lru_cache(maxsize=2048)
def lettered(
    text: str, size_px: int, *, bold: bool = True, outline_px: int = 0
) -> tuple[Coverage, int, int]:
    """Coverage of one line, and where its top left corner lies from the start of the baseline
    (x, y in px; y is negative above the line). ``outline_px`` makes the letters fatter."""
    font = _font(size_px, bold)
    left, top, right, bottom = font.getbbox(text, anchor="ls", stroke_width=outline_px)
    image = Image.new("L", (max(1, int(right - left)), max(1, int(bottom - top))), 0)
    ImageDraw.Draw(image).text(
        (-left, -top), text, fill=255, font=font, anchor="ls", stroke_width=outline_px
    )
    return np.asarray(image), int(left), int(top)


@lru_cache(maxsize=4096)
def text_width(text: str, size_px: int, *, bold: bool = True) -> float:
    """Width in px of one line."""
    return float(_font(size_px, bold).getlength(text))


@lru_cache(maxsize=32)
def _font(size_px: int, bold: bool) -> ImageFont.FreeTypeFont:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(_FONTS / name), size_px)
