"""Who did the set, as far as it was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from formcheck.asked.bounds import check_within

Sex = Literal["female", "male"]


@dataclass(frozen=True)
class Person:
    """All of it optional: ``stature_m`` turns arm lengths into metres, ``body_mass_kg`` shares
    into kilograms, ``sex`` picks the segment table. Raises AskedError for a body nobody has."""

    stature_m: float | None = None
    body_mass_kg: float | None = None
    sex: Sex | None = None

    def __post_init__(self) -> None:
        check_within("a stature", self.stature_m, 0.5, 2.6, "m")
        check_within("a body mass", self.body_mass_kg, 10.0, 400.0, "kg")
