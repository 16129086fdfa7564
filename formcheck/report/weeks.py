"""What a report says of the weeks that its set stands in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True)
class Weeks:
    """Whose set it is and when it was recorded, and what the training log adds.

    ``recorded_at`` UTC, ISO 8601, as ``recorded_from`` says; ``alone`` the next step's direction
    that the set alone gives; ``rests_on`` days of the sets that the next step rests on; ``since``
    the day of the last set of the same variation, with what ``changed``, a sentence each.
    """

    person: str
    recorded_at: str
    recorded_from: Literal["given", "clip", "file", "now"]
    alone: Literal["easier", "same", "harder"]
    rests_on: tuple[str, ...] = ()
    since: str | None = None
    changed: tuple[str, ...] = ()

    def fields(self) -> dict[str, Any]:
        """As the report's contract has it."""
        return {
            "person": self.person,
            "recorded_at": self.recorded_at,
            "recorded_from": self.recorded_from,
            "log": {
                "direction_alone": self.alone,
                "rests_on": list(self.rests_on),
                "since": self.since,
                "changed": list(self.changed),
            },
        }
