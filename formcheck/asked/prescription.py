"""What was asked of the trainee: tempo, range, hands, load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from formcheck.asked.tempo import Tempo

RangeStandard = Literal["elbow-90", "arm-parallel", "chest-low"]
HandSpacing = Literal["diamond", "close", "normal", "wide"]


@dataclass(frozen=True)
class Prescription:
    """All of it optional: what is not asked is measured but not judged.

    ``target_reps`` clean reps asked for; ``added_load_kg`` worn at ``added_load_place``, the
    upper back when not told. ``support``, ``surface`` and ``arms`` are the user's word on what
    was done and win over what the clip shows.
    """

    tempo: Tempo | None = None
    range_standard: RangeStandard = "elbow-90"
    target_reps: int | None = None
    hands: HandSpacing | None = None
    support: Literal["toes", "knees"] | None = None
    surface: Literal["floor", "hands_raised", "feet_raised", "wall"] | None = None
    arms: Literal["two", "archer", "one"] | None = None
    rings: bool = False
    rings_turned_out: bool = False
    supinated_hands: bool = False
    added_load_kg: float = 0.0
    added_load_place: Literal["back", "vest", "belt"] | None = None
