"""The body as rigid segments: masses, centres and lengths, and the body's own centre of mass."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from formcheck.asked.person import Person, Sex
from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, not_measured

# Joint to joint over what a tape reads from bone to bone. Upper arm: 0.1618 of stature (de Leva
# 1996, men) over acromion to radiale, 0.340 m at 1.756 m; forearm: 0.1545 over radiale to stylion,
# 0.269 m (men of the 1988 ANSUR survey, Gordon et al. 1989, from memory).
_TAPE_UPPER_ARM, _TAPE_FOREARM = 0.835, 1.01
# One standard deviation of an arm's length, as a share of it: from a tape, with 5 mm for each
# reading and 2 % for where the joints lie under the bones (assumed); from the stature, what the
# arm's share of it differs by from person to person (from memory).
_TAPE_SPREAD, _STATURE_SPREAD = 0.025, 0.04


@dataclass(frozen=True)
class Segment:
    """``mass`` of both sides together as a share of body mass; ``centre`` as a share of the
    length from ``proximal``; ``length`` as a share of stature."""

    proximal: str
    distal: str
    mass: float
    centre: float
    length: float


@lru_cache
def body_segments(sex: Sex | None = None) -> Mapping[str, Segment]:
    """Segments by name (de Leva 1996, joint-centre rows); the mean of both sexes if not told."""
    lines = files("formcheck.variation").joinpath("segments.csv").read_text("utf-8").splitlines()
    rows = {
        row["segment"]: row for row in csv.DictReader(x for x in lines if not x.startswith("#"))
    }

    def value(row: Mapping[str, str], column: str) -> float:
        sexes = [sex] if sex else ["female", "male"]
        return float(np.mean([float(row[f"{column}_{one}"]) for one in sexes]))

    stature_mm = value(rows["stature"], "length")
    return {
        name: Segment(
            row["proximal"],
            row["distal"],
            int(row["sides"]) * value(row, "mass") / 100,
            value(row, "com") / 100,
            value(row, "length") / stature_mm,
        )
        for name, row in rows.items()
        if name != "stature"
    }


def arm_per_stature(sex: Sex | None = None) -> float:
    """Upper arm plus forearm between joint centres, as a share of stature (de Leva 1996)."""
    segments = body_segments(sex)
    return segments["upper_arm"].length + segments["forearm"].length


def arm_m(person: Person) -> Quantity:
    """Length of an arm between joint centres (m), from a tape or else from the stature."""
    if person.upper_arm_m is not None and person.forearm_m is not None:
        length = _TAPE_UPPER_ARM * person.upper_arm_m + _TAPE_FOREARM * person.forearm_m
        return Quantity(length, 1.96 * _TAPE_SPREAD * length)
    if person.stature_m is None:
        return not_measured("neither the stature nor the arm's length was given")
    length = arm_per_stature(person.sex) * person.stature_m
    return Quantity(length, 1.96 * _STATURE_SPREAD * length)


def centre_of_mass(joints: Mapping[str, FloatArray], segments: Mapping[str, Segment]) -> FloatArray:
    """(M, 2) centre of mass of the body from sagittal joint positions (M, 2), any unit.

    Needs shoulder, elbow, wrist, hip, knee and ankle. The head's mass is hung on the ear where
    given (the two lie within about a centimetre of each other), else on the trunk's axis; hand
    and foot mass on the knuckle, heel and toe where given, else on wrist and ankle, which moves
    the whole by millimetres.
    """
    shoulder, hip = joints["shoulder"], joints["hip"]
    neck = segments["cervicale_to_hip"].length - segments["trunk"].length
    above = neck + segments["head"].length * (1 - segments["head"].centre)
    on_axis = shoulder + (shoulder - hip) * above / segments["trunk"].length
    centre = {
        "head": _or_else(joints.get("ear"), on_axis),
        "hand": joints["wrist"],
        "foot": joints["ankle"],
    }
    for name, segment in segments.items():
        ends = joints.get(segment.proximal), joints.get(segment.distal)
        if segment.mass and ends[0] is not None and ends[1] is not None:
            between = ends[0] + segment.centre * (ends[1] - ends[0])
            centre[name] = _or_else(between, centre.get(name, between))
    massive = {name: segment.mass for name, segment in segments.items() if segment.mass}
    total = sum(massive.values())
    weighted = [mass / total * centre[name] for name, mass in massive.items()]
    return np.asarray(np.sum(weighted, axis=0))


def _or_else(first: FloatArray | None, second: FloatArray) -> FloatArray:
    return second if first is None else np.where(np.isfinite(first), first, second)
