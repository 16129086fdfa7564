"""The ladder of push-ups: the rungs, the load of each, and the ways to change one without load."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np

from formcheck.asked.prescription import Arms, HandSpacing, Prescription, Support, Surface
from formcheck.maths.arrays import FloatArray
from formcheck.measures.load import best_estimate, hand_load_range
from formcheck.measures.plank import plank, plank_load, standing
from formcheck.variation.recognise import Variation

Direction = Literal["easier", "same", "harder"]

_WORKING_SHARE: Mapping[Arms, float] = {"two": 0.5, "one": 1.0, "archer": 0.7}

_AS_SLOW = 0.8  # of the seconds that a way asks for, which are counted, not measured


@dataclass(frozen=True)
class Rung:
    """One variation of the ladder: ``words`` its name, ``lever`` what makes it heavier than the
    rung below; ``height`` of the hands above the feet in arm lengths.

    ``of_floor`` (load as a share of the floor's) and ``working_share`` (of the load on the arm
    that bears more) say where a load comes from that the straight body does not give.
    """

    key: str
    words: str
    surface: Surface
    height: float
    lever: str
    support: Support = "toes"
    arms: Arms = "two"
    hands: HandSpacing | None = None
    uneven: bool = False
    of_floor: float | None = None
    working_share: float | None = None

    @property
    def load(self) -> float:
        """Share of body mass on the hands at the top."""
        if self.of_floor is not None:
            return self.of_floor * level_load(0.0)
        return _wall_load(self.height) if self.surface == "wall" else level_load(self.height)

    @property
    def working_load(self) -> float:
        """Share of body mass on the arm that bears more."""
        return self.load * (self.working_share or _WORKING_SHARE[self.arms])


@dataclass(frozen=True)
class Way:
    """A way to make an exercise harder or easier that leaves its load as it is; ``eccentric_s`` and
    ``bottom_pause_s`` of every rep, where it is one of time."""

    key: str
    words: str
    direction: Direction
    fits: tuple[Surface, ...]
    eccentric_s: float = math.inf
    bottom_pause_s: float = math.inf


@dataclass(frozen=True)
class Exercise:
    """What was done, or is to be done: all that the advice has to keep. ``height`` of the hands
    above the feet in arm lengths, NaN where it was not seen."""

    surface: Surface | None
    support: Support | None
    arms: Arms | None
    hands: HandSpacing | None
    height: float
    rings: bool = False
    rings_turned_out: bool = False
    added_load_kg: float = 0.0


def exercise_of(variation: Variation, asked: Prescription) -> Exercise:
    """The exercise of a set: what was seen, and the hands that were asked for."""
    height = variation.surface_height
    return Exercise(
        surface=variation.surface,
        support=variation.support,
        arms=variation.arms,
        hands=asked.hands or variation.hands,
        height=0.0 if variation.surface == "floor" else height.value,
        rings=asked.rings,
        rings_turned_out=asked.rings_turned_out,
        added_load_kg=asked.added_load_kg,
    )


def ladder() -> tuple[Rung, ...]:
    """The variations in order, lightest first."""
    return tuple(Rung(**row) for row in _data()["rung"])


def ways(
    direction: Direction,
    exercise: Exercise,
    eccentric_s: float = math.nan,
    bottom_pause_s: float = math.nan,
) -> tuple[Way, ...]:
    """Ways to change an exercise in one direction that leave its load as it is, but for slow phases
    of reps that are about that slow already."""
    every = (Way(**{**row, "fits": tuple(row["fits"])}) for row in _data()["way"])
    return tuple(
        way
        for way in every
        if way.direction == direction
        and exercise.surface in way.fits
        # On the knees one is up already; and handles under rings there are none.
        and not (way.key == "negatives" and exercise.support == "knees")
        and not (way.key == "deficit" and exercise.rings)
        and not eccentric_s >= _AS_SLOW * way.eccentric_s
        and not bottom_pause_s >= _AS_SLOW * way.bottom_pause_s
    )


def nearest_rung(exercise: Exercise) -> Rung | None:
    """The rung an exercise stands on; None when support or surface are unknown."""
    if exercise.surface is None or exercise.support is None:
        return None
    hands = exercise.hands if exercise.hands in ("close", "diamond") else None
    arms = exercise.arms or "two"

    def apart(rung: Rung) -> tuple[float, ...]:
        height = rung.height if math.isnan(exercise.height) else exercise.height
        return (
            rung.arms != arms,
            rung.support != exercise.support,
            rung.surface != exercise.surface,
            rung.uneven,
            rung.hands != hands,
            abs(rung.height - height),
        )

    return min(ladder(), key=apart)


def steps() -> Mapping[str, Any]:
    """The figures that the decision goes by."""
    found: Mapping[str, Any] = _data()["steps"]
    return found


def level_load(height: float) -> float:
    """Share of body mass on the hands with the hands so high over the feet (arm lengths)."""
    heights, loads = _load_curve()
    return float(np.interp(-height, -heights, loads))


def height_of(load: float) -> float:
    """Height (arm lengths) of the hands at which they bear so much; infinite beyond the curve."""
    heights, loads = _load_curve()
    if not loads[0] <= load <= loads[-1]:
        return math.copysign(math.inf, loads[0] - load)
    return float(np.interp(load, loads, heights))


def heights() -> tuple[float, float]:
    """Highest and lowest hands that the ladder knows, arm lengths over the feet."""
    every, _ = _load_curve()
    return float(every[0]), float(every[-1])


@cache
def _wall_load(height: float) -> float:
    body = plank(height, reach=None)
    low, high = hand_load_range(body, standing(body, "toes"), "toes", "wall")
    return float(best_estimate(low, high, "wall")[0])


@cache
def _load_curve() -> tuple[FloatArray, FloatArray]:
    """Heights from high hands to high feet, and the load at each."""
    every = np.linspace(1.6, -1.1, 28)
    return every, np.array([plank_load(float(h), reach=None) for h in every])


@cache
def _data() -> Mapping[str, Any]:
    return tomllib.loads(files("formcheck.advice").joinpath("ladder.toml").read_text("utf-8"))
