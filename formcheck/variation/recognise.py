"""Which push-up this was: support, surface, hands, arms, holds, and what was declared of it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Literal

import numpy as np

from formcheck.asked.person import Person
from formcheck.asked.prescription import Arms, HandSpacing, Prescription, Support, Surface
from formcheck.maths.quantity import Quantity
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.variation.arms import ArmWork, arm_work
from formcheck.variation.segments import arm_m
from formcheck.variation.stance import (
    Stance,
    stance_at_top,
)


@dataclass(frozen=True)
class Disagreement:
    """``about`` a field of the variation: what was told, what the clip shows, how sure (0-1)."""

    about: str
    told: str
    seen: str
    sure: float


@dataclass(frozen=True)
class Variation:
    """What was done; None where the view cannot tell. ``confidence`` 0-1 by field name.

    ``surface_height`` of the hands above the feet in arm lengths: positive with raised hands,
    negative with raised feet, 0 on one floor; ``surface_height_cm`` of the raised end when the
    stature was given. ``disagreements`` stand where the user's word (which wins) and the clip
    differ. ``holds`` names ends held for two seconds or more. ``declared`` is what the user
    told and no clip shows. ``slope_deg`` how far a level line rises toward the head in the
    picture of the side view: the camera's roll.
    """

    support: Support | None
    surface: Surface | None
    inclination_deg: Quantity
    hands: HandSpacing | None
    arms: Arms | None
    surface_height: Quantity
    confidence: Mapping[str, float] = field(default_factory=dict)
    disagreements: tuple[Disagreement, ...] = ()
    surface_height_cm: float | None = None
    arm_work: ArmWork = field(default_factory=lambda: ArmWork(None, 0.0))
    holds: tuple[Literal["top", "bottom"], ...] = ()
    declared: Mapping[str, str | float | bool] = field(default_factory=dict)
    slope_deg: float = 0.0


HOLD_S = 2.0  # a pause at the top or bottom this long is a hold (common practice)


def recognise_variation(
    looks: Sequence[Look],
    prescription: Prescription,
    hand_spacing: Quantity | None = None,
    person: Person | None = None,
) -> Variation:
    """What push-up the looks show, the user's word winning over ours.

    ``hand_spacing`` is the set's wrist distance over biacromial distance, from the front.
    """
    side = next((look for look in looks if look.view.from_side), None)
    front = next((look for look in looks if look.view.kind == "front"), None)
    seen = looks[0] if side is None else side
    own = stance_at_top(seen)
    stance = own
    if prescription.support or prescription.surface:
        stance = stance_at_top(seen, prescription.support, prescription.surface)
    work = arm_work(front, side)
    hands = hand_class(hand_spacing) if hand_spacing is not None else None
    told = {
        "support": (prescription.support, own.support, own.support_confidence),
        "surface": (prescription.surface, own.surface, own.surface_confidence),
        "hands": (prescription.hands, hands, _hand_confidence(hand_spacing)),
        "arms": (prescription.arms, work.arms, work.confidence),
    }
    return Variation(
        support=prescription.support or own.support,
        surface=prescription.surface or own.surface,
        inclination_deg=stance.inclination_deg,
        hands=hands,
        arms=prescription.arms or work.arms,
        surface_height=stance.height,
        confidence={
            name: 1.0 if word and name != "hands" else sure
            for name, (word, _, sure) in told.items()
        },
        disagreements=tuple(
            Disagreement(name, word, ours, sure)
            for name, (word, ours, sure) in told.items()
            if word and ours and word != ours and sure > 0.6
        ),
        surface_height_cm=_height_cm(stance, person or Person()),
        arm_work=arm_work(front, side, prescription.arms, prescription.working_arm),
        holds=_holds(looks[0].reps),
        declared=_declared(prescription),
        slope_deg=stance.slope_deg,
    )


@lru_cache
def hand_limits() -> Mapping[HandSpacing, float]:
    """Largest wrist distance over biacromial distance of each class but the widest."""
    text = files("formcheck.variation").joinpath("hand_classes.toml").read_text("utf-8")
    return {row["name"]: float(row["below"]) for row in tomllib.loads(text)["class"]}


def hand_class(spacing: Quantity) -> HandSpacing | None:
    """diamond, close, normal or wide; None when the spacing was not measured."""
    if not spacing.known:
        return None
    return next(name for name, below in hand_limits().items() if spacing.value < below)


def hand_bounds(hands: HandSpacing) -> tuple[float, float]:
    """Smallest and largest wrist distance over biacromial distance of one class."""
    limits = hand_limits()
    names = list(limits)
    place = names.index(hands)
    return (limits[names[place - 1]] if place else 0.0), limits[hands]


def _holds(reps: Sequence[Rep]) -> tuple[Literal["top", "bottom"], ...]:
    held: list[Literal["top", "bottom"]] = []
    if reps and np.median([rep.top_pause_s for rep in reps[:-1] or reps]) >= HOLD_S:
        held.append("top")
    if reps and np.median([rep.bottom_pause_s for rep in reps]) >= HOLD_S:
        held.append("bottom")
    return tuple(held)


def _height_cm(stance: Stance, person: Person) -> float | None:
    """Height of the raised end."""
    arm = arm_m(person)
    if not arm.known or not stance.height.known:
        return None
    return abs(stance.height.value) * arm.value * 100


def _declared(prescription: Prescription) -> dict[str, str | float | bool]:
    declared: dict[str, str | float | bool] = {}
    if prescription.added_load_kg:
        declared["added_load_kg"] = prescription.added_load_kg
        declared["added_load_place"] = prescription.added_load_place or "back"
    if prescription.rings:
        declared["rings"] = True
        declared["rings_turned_out"] = prescription.rings_turned_out
    if prescription.supinated_hands:
        declared["supinated_hands"] = True
    return declared


def _hand_confidence(spacing: Quantity | None) -> float:
    if spacing is None or not spacing.known:
        return 0.0
    limits = [limit for limit in hand_limits().values() if np.isfinite(limit)]
    sd = max(spacing.plus_minus, 0.02) / 2 if np.isfinite(spacing.plus_minus) else 0.1
    distance = min(abs(spacing.value - limit) for limit in limits)
    return float(1 / (1 + np.exp(-1.7 * distance / sd)))
