"""What was asked of the trainee: tempo, range, hands, load, and what counts."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from formcheck.asked.bounds import AskedError, check_within
from formcheck.asked.standards import RangeStandard, standards
from formcheck.asked.tempo import Tempo

HandSpacing = Literal["diamond", "close", "normal", "wide"]
Support = Literal["toes", "knees"]
Surface = Literal["floor", "hands_raised", "feet_raised", "wall"]
Arms = Literal["two", "archer", "one"]
WorkingArm = Literal["left", "right"]
Counts = Literal["range", "range-and-line"]
Pain = Literal["wrist", "elbow", "shoulder", "back", "other"]


@dataclass(frozen=True)
class Prescription:
    """All of it optional: what is not asked is measured but not judged.

    ``target_reps`` clean reps asked for; ``rep_range`` the reps to build up to before a step (see
    advice/ladder.toml); ``allow_faulty`` of the reps may have a fault, by default one in ten in
    training and none in a test; ``reps_left`` in reserve, as the trainee felt it; ``pain`` where it
    hurt. ``counts`` what a rep has to keep to count; a named ``standard`` of standards.toml decides
    range and counting itself. ``added_load_kg`` worn at ``added_load_place``, the upper back when
    not told. ``support``, ``surface`` and ``arms`` are the user's word on what was done and win
    over what the clip shows, as does ``working_arm``, the one arm that did every rep of an archer
    or one-arm set; of any other set it says nothing. Raises AskedError for a standard that does not
    exist and for numbers that no set has.
    """

    tempo: Tempo | None = None
    range_standard: RangeStandard = "elbow-90"
    counts: Counts = "range"
    standard: str | None = None
    target_reps: int | None = None
    rep_range: tuple[int, int] | None = None
    allow_faulty: int | None = None
    reps_left: int | None = None
    pain: Pain | None = None
    hands: HandSpacing | None = None
    support: Support | None = None
    surface: Surface | None = None
    arms: Arms | None = None
    working_arm: WorkingArm | None = None
    rings: bool = False
    rings_turned_out: bool = False
    supinated_hands: bool = False
    added_load_kg: float = 0.0
    added_load_place: Literal["back", "vest", "belt"] | None = None

    def __post_init__(self) -> None:
        check_within("an added load", self.added_load_kg, 0.0, 400.0, "kg")
        for reps in (self.target_reps, *(self.rep_range or ())):
            check_within("the reps asked for", reps, 1, 10_000, "reps")
        for reps in (self.allow_faulty, self.reps_left):
            check_within("reps with a fault, or left,", reps, 0, 10_000, "reps")
        if self.standard is None:
            return
        if self.standard not in standards():
            raise AskedError(
                f"“{self.standard}” is no standard: there are {', '.join(standards())}."
            )
        test = standards()[self.standard]
        object.__setattr__(self, "range_standard", test.range)
        object.__setattr__(self, "counts", "range-and-line" if test.line else "range")


def parse_rep_range(text: str) -> tuple[int, int]:
    """``8-12`` as its two numbers. Raises ValueError."""
    match = re.fullmatch(r"\s*(\d{1,3})\s*[-–]\s*(\d{1,3})\s*", text)
    if match is None or not 1 <= int(match[1]) <= int(match[2]):
        raise ValueError(f"“{text}” is no range of reps: give the lower and the upper, e.g. 8-12.")
    return int(match[1]), int(match[2])
