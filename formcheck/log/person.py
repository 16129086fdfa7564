"""A person in the log: name, measures with their dates, and their own straight line."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from formcheck.errors import FormcheckError
from formcheck.log.entry import SetEntry, local_day
from formcheck.plain import plain

LONGEST_NAME = 60


class PersonError(FormcheckError):
    """The person is not in the log, or cannot be called that."""


@dataclass(frozen=True)
class CheckedHold:
    """The person's own straight line, from a hold that someone checked with a stick.

    ``share`` of the trunk's length that the hip landmark lies in front of where it usually does,
    ``plus_minus`` its 95 % half-width, ``clip`` the file of the hold, ``on_date`` of the hold.
    """

    share: float
    plus_minus: float
    clip: str
    on_date: str


@dataclass(frozen=True)
class PersonRecord:
    """What the log knows of a person; None where not told.

    ``upper_arm_m`` shoulder to elbow and ``forearm_m`` elbow to wrist, from a tape;
    ``body_mass`` (date, kg) in order of date.
    """

    name: str
    sex: Literal["female", "male"] | None = None
    stature_m: float | None = None
    upper_arm_m: float | None = None
    forearm_m: float | None = None
    body_mass: tuple[tuple[str, float], ...] = ()
    hip_offset: CheckedHold | None = None

    def body_mass_on(self, day: date) -> float | None:
        """Body mass (kg) as last told by that day; before the first, the first."""
        told = [kg for on, kg in self.body_mass if on <= day.isoformat()]
        return told[-1] if told else self.body_mass[0][1] if self.body_mass else None


BodyMass = Callable[[SetEntry], float | None]


def masses(people: Sequence[PersonRecord]) -> BodyMass:
    """Body mass (kg) at a set: what it was judged with, else what the person told for that day."""
    known = {person.name: person for person in people}

    def mass_kg(entry: SetEntry) -> float | None:
        person = known.get(entry.person)
        told = person.body_mass_on(local_day(entry.recorded_at)) if person else None
        return entry.body_mass_kg or told

    return mass_kg


def person_name(text: str) -> str:
    """The name as the log writes it. Raises PersonError where it is none."""
    name = unicodedata.normalize("NFC", " ".join(text.split()))
    hidden = any(unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn") for sign in name)
    if not name or hidden or len(name) > LONGEST_NAME:
        raise PersonError(
            f"“{plain(text, 2 * LONGEST_NAME)}” cannot be a person's name: give 1 to "
            f"{LONGEST_NAME} letters, such as --person ana."
        )
    return name
