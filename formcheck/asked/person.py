"""Who did the set, as far as it was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from formcheck.asked.bounds import check_within

Sex = Literal["female", "male"]


@dataclass(frozen=True)
class HipOffset:
    """How far a person's hip landmark lies in front of where it lies on most people, as a
    ``share`` of the trunk's length, with the half-width of its 95 % interval: from a hold whose
    line somebody checked to be straight."""

    share: float
    plus_minus: float


@dataclass(frozen=True)
class Person:
    """All of it optional: ``stature_m`` turns arm lengths into metres, ``body_mass_kg`` shares
    into kilograms, ``sex`` picks the segment table. ``hip_offset`` is the person's own straight
    line. ``upper_arm_m`` and ``forearm_m`` by a tape, from the bony edge of the shoulder to the
    elbow's outer knob and on to the wrist's thumb side; both together win over the stature.
    Raises AskedError for a body nobody has.
    """

    stature_m: float | None = None
    body_mass_kg: float | None = None
    sex: Sex | None = None
    hip_offset: HipOffset | None = None
    upper_arm_m: float | None = None
    forearm_m: float | None = None

    def __post_init__(self) -> None:
        check_within("a stature", self.stature_m, 0.5, 2.6, "m")
        check_within("a body mass", self.body_mass_kg, 10.0, 400.0, "kg")

    @property
    def metres_known(self) -> bool:
        """Whether lengths can be told in metres."""
        return self.stature_m is not None or None not in (self.upper_arm_m, self.forearm_m)
