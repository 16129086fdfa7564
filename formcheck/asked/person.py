"""Who did the set, as far as it was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Sex = Literal["female", "male"]


@dataclass(frozen=True)
class Person:
    """All of it optional: ``stature_m`` turns arm lengths into metres, ``body_mass_kg`` shares
    into kilograms, ``sex`` picks the segment table."""

    stature_m: float | None = None
    body_mass_kg: float | None = None
    sex: Sex | None = None
