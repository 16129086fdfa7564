"""One look for page, curves and clip: cool colours move, hot ones accuse, patterns repeat both.

Motion is blue to teal, told apart by lightness and hatching as well; only a fault is hot, and
a fault is also thicker, hatched or open. So nothing depends on colour vision. Every text
colour reaches 4.5 : 1 on its ground and every mark 3 : 1 (WCAG 2.2 AA); tests compute it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Hatch = Literal["down", "solid", "up", "dots"]


@dataclass(frozen=True)
class Tone:
    """One role in two lights: ``paper`` on the page, ``picture`` over video and its band."""

    paper: str
    picture: str


@dataclass(frozen=True)
class PhaseLook:
    """Fill, the lines drawn over it, and the way they run: down while lowering, up on the press."""

    fill: Tone
    lines: str
    hatch: Hatch


PAPER = "#f5f7f4"
INK = "#12211d"
QUIET = "#4c5c57"
RULE = "#c3cdc8"
BAND = "#0f1a17"  # under the picture in the clip
BAND_QUIET = "#a9bab4"
BAND_RULE = "#5d6d67"
BAND_TROUGH = "#2a3733"

LIMB = Tone("#12211d", "#f6f3e7")
LINE = Tone("#1d6390", "#66c7f4")
STRAIGHT = Tone("#4c5c57", "#ffffff")
TARGET = Tone("#cfe3df", "#3e9c94")
DONE = Tone("#1f5a7d", "#66c7f4")
FAULT = Tone("#b0360b", "#ff8a52")
BORDERLINE = Tone("#7d5a00", "#f0c24b")

PHASES: dict[str, PhaseLook] = {
    "eccentric": PhaseLook(Tone("#2f73a8", "#2f73a8"), "#f5f7f4", "down"),
    "bottom_pause": PhaseLook(Tone("#12304a", "#f6f3e7"), "#12304a", "solid"),
    "concentric": PhaseLook(Tone("#79c2b9", "#79c2b9"), "#12304a", "up"),
    "top_pause": PhaseLook(Tone("#dbe4e0", "#b9c9c2"), "#3a4843", "dots"),
}
