"""What to train next: the ladder of variations and the step this set has earned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class NextStep:
    direction: Literal["easier", "same", "harder"]
    variation: str
    why: tuple[str, ...]
    cautions: tuple[str, ...]
