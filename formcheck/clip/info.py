"""What is known of a clip before its pictures are used; without what decodes them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from formcheck.maths.arrays import FloatArray

BT709 = 1  # H.273 numbers, here and below
_BT2020, _HIGH_RANGE = (9, 10), (16, 18)


@dataclass(frozen=True)
class ClipInfo:
    """A readable clip.

    ``width``, ``height`` px as displayed (turned, square pixels); ``fps`` mean rate;
    ``times_s`` (N,) presentation times of all N pictures from the first one, ``key_times_s`` of
    those that can be decoded without others; ``rotation_deg``
    counter-clockwise turn applied for display; ``variable_rate`` when intervals differ by more
    than timestamp rounding; ``notes`` are remarks for the report;
    ``colour_matrix`` and ``transfer`` as H.273 numbers them (1 BT.709, 5 and 6 BT.601, 2 not
    said; 16 PQ and 18 HLG, which phones film high dynamic range in);
    ``recorded_at`` when it was recorded by the container's account, None where it says nothing.
    """

    path: Path
    width: int
    height: int
    fps: float
    duration_s: float
    rotation_deg: int
    variable_rate: bool
    codec: str
    times_s: FloatArray = field(repr=False)
    key_times_s: FloatArray = field(repr=False)
    notes: tuple[str, ...] = ()
    colour_matrix: int = 2
    transfer: int = 2
    first_pts: int = field(default=0, repr=False)
    time_base: Fraction = field(default=Fraction(1), repr=False)
    recorded_at: datetime | None = None

    @property
    def frames(self) -> int:
        return len(self.times_s)

    @property
    def shown_matrix(self) -> int:
        """The colour matrix of ``read_planes``: BT.2020's and high dynamic range become BT.709."""
        return BT709 if self.wide else self.colour_matrix

    @property
    def wide(self) -> bool:
        """Whether its colours mean more than what players take them for by default."""
        return self.transfer in _HIGH_RANGE or self.colour_matrix in _BT2020
