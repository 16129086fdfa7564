"""What an archer or one-arm set says of the arm that worked, and of left against right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.pose.track import Side
from formcheck.reps.look import Look
from formcheck.variation.arms import (
    FAR_ARM,
    ONE_AT_A_TIME,
    PERHAPS_ARCHER,
    WHICH_ARM,
    ArmWork,
    near_arm_alone,
)

# From the side, at the bottom: six rendered archer sets 7 degrees too small to 15 too large; with
# two arms 4 either way.
HEAD_TURNS = (
    "where one arm works the trunk turns, so no clip shows the head's angle to it; look whether "
    "the head stays in line with the back"
)

# From the front, by the upper arm's length in the picture: eight rendered sets 2 to 34 degrees too
# small, exact joints 2 to 17; allowing for the turn, as far as the shoulders' way aside tells it,
# leaves 5 to 27.
FLARE_TURNS = (
    "where one arm works the trunk turns, and a clip shows its elbow flare up to 35 degrees too "
    "small; look down on the elbow as it bends"
)

ROUGH = "where one arm works its curve is too rough to tell where a press slows"

# Of the arm in the picture; where that one only props, they say nothing of the rep.
_OF_THE_NEAR_ARM = (
    "elbow_bottom_deg", "elbow_top_deg", "upper_arm_bottom_deg", "sticking_elbow_deg",
)  # fmt: skip


# Of arms that bend alike; the one that works alone bends farther.
_OF_BENT_ARMS = (
    "elbow_bottom_deg", "elbow_top_deg", "upper_arm_bottom_deg", "elbow_flare_deg",
    "bend_share_percent",
)  # fmt: skip


@dataclass(frozen=True)
class SideKept:
    """What one arm did: its reps, how many counted and were clean, and its elbow at the bottom
    (deg, median; NaN where it was not seen)."""

    reps: int
    counted: int
    clean: int
    elbow_bottom_deg: float


def of_working_arm(
    values: Sequence[dict[str, Quantity]], looks: Sequence[Look], work: ArmWork
) -> None:
    """Keep what was measured of the arm that worked, in place; the rest is not known, and why."""
    if work.perhaps_archer:
        for of_rep in values:
            for name in _OF_BENT_ARMS:
                of_rep[name] = not_measured(PERHAPS_ARCHER)
    if work.arms not in ("archer", "one"):
        return
    front = any(look.view.kind == "front" for look in looks)
    near = next((look.signals.near_side for look in looks if look.view.from_side), None)
    fitted = any(near_arm_alone(look, work) for look in looks)
    for i, of_rep in enumerate(values):
        of_rep["symmetry_deg"] = not_measured(ONE_AT_A_TIME)
        if not fitted:
            of_rep["head_angle_deg"] = not_measured(HEAD_TURNS)
            of_rep["elbow_flare_deg"] = not_measured(FLARE_TURNS)
            if of_rep["pressed_up_percent"].value >= 100.0:  # where a failed one stopped is plain
                for name in ("sticking_elbow_deg", "sticking_height_percent"):
                    of_rep[name] = not_measured(ROUGH)
        for name in ("elbow_flare_left_deg", "elbow_flare_right_deg"):
            of_rep[name] = not_measured(FLARE_TURNS)
        if len({side for side in work.working if side}) > 1:
            of_rep["bend_share_percent"] = _share_of_own_arm(values, work, i)
        side = work.working[i] if i < len(work.working) else None
        if not front and side != near and (side or work.arms == "archer"):
            for name in _OF_THE_NEAR_ARM:
                of_rep[name] = not_measured(FAR_ARM if side else WHICH_ARM)


def _share_of_own_arm(values: Sequence[Mapping[str, Quantity]], work: ArmWork, i: int) -> Quantity:
    """How far a rep bent its arm, of the smaller bend beside it that the same arm did (%)."""
    own = [j for j, side in enumerate(work.working) if side == work.working[i]]
    at = own.index(i)
    beside = [own[j] for j in (at - 1, at + 1) if 0 <= j < len(own)]
    drops = [
        values[j]["elbow_top_deg"].value - values[j]["elbow_bottom_deg"].value for j in (i, *beside)
    ]
    if not np.isfinite(drops).all():
        return not_measured(FAR_ARM)
    share = 100.0 * drops[0] / min(drops[1:]) if beside else 100.0
    return replace(values[i]["bend_share_percent"], value=share, reason=None)


def sides_kept(
    values: Sequence[Mapping[str, Quantity]],
    counted: Sequence[bool],
    clean: Sequence[bool],
    work: ArmWork,
) -> dict[Side, SideKept]:
    """Left against right over the reps; empty unless one arm worked at a time."""
    out: dict[Side, SideKept] = {}
    sides: tuple[Side, ...] = ("left", "right")
    for side in sides:
        mine = [i for i, working in enumerate(work.working) if working == side]
        if not mine:
            continue
        elbows = [q.value for q in (values[i]["elbow_bottom_deg"] for i in mine) if q.known]
        out[side] = SideKept(
            reps=len(mine),
            counted=sum(counted[i] for i in mine),
            clean=sum(clean[i] for i in mine),
            elbow_bottom_deg=float(np.median(elbows)) if elbows else float("nan"),
        )
    return out
