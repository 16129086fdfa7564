"""The load that a straight body bears at the top, from segment lengths alone: no clip needed.

What the ladder of variations and the effect of worn weight are computed with.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from formcheck.asked.person import Sex
from formcheck.asked.prescription import Support, Surface
from formcheck.maths.arrays import FloatArray
from formcheck.measures.load import WORN_AT, best_estimate, hand_load_range
from formcheck.variation.segments import arm_per_stature, body_segments
from formcheck.variation.stance import ABOVE_SURFACE, contact_points

# Heights of the joints of the schematic body over the surface, statures: ankle 0.13 m and wrist
# 0.06 m of 1.74 m, knee by its thickness (from memory).
ANKLE_HEIGHT, WRIST_HEIGHT, KNEE_HEIGHT = 0.13 / 1.74, 0.06 / 1.74, 0.06 / 1.74


def plank(
    height: float = 0.0,
    support: Support = "toes",
    sex: Sex | None = None,
    reach: float | None = 0.0,
) -> dict[str, FloatArray]:
    """A straight body at the top, joint positions (1, 2) in statures, from segment lengths alone.

    ``height`` of the hands above the feet (knees), arm lengths. ``reach`` of the hands toward
    the head from under the shoulders, arm lengths; None puts the arms square to the body.
    """
    size = body_segments(sex)
    arm = arm_per_stature(sex)
    legs = size["thigh"].length + (size["shank"].length if support == "toes" else 0.0)
    line = legs + size["trunk"].length
    base = KNEE_HEIGHT if support == "knees" else ANKLE_HEIGHT
    rise = height * arm + WRIST_HEIGHT - base  # of the wrist over the base joint

    def wrist_over_base(lean: FloatArray) -> FloatArray:
        drop = np.cos(lean) if reach is None else np.sqrt(1 - reach**2)
        return np.asarray(line * np.sin(lean) - arm * drop)

    leans = np.linspace(-1.2, 1.55, 1101)
    lean = float(np.interp(rise, wrist_over_base(leans), leans))
    along = np.array([np.cos(lean), np.sin(lean)])
    down = np.array([along[1], -along[0]])
    if reach is not None:
        down = np.array([reach, -np.sqrt(1 - reach**2)])
    ankle = np.array([0.0, base])
    knee = ankle if support == "knees" else ankle + size["shank"].length * along
    hip = knee + size["thigh"].length * along
    shoulder = hip + size["trunk"].length * along
    if support == "knees":  # the shank lies on the floor behind the knee
        ankle = knee - np.array([size["shank"].length, 0.0])
    wrist = shoulder + arm * down
    joints = {
        "ankle": ankle,
        "knee": knee,
        "hip": hip,
        "shoulder": shoulder,
        "elbow": shoulder + size["upper_arm"].length * down,
        "wrist": wrist,
        "knuckle": np.array(
            [wrist[0] + size["hand"].length, height * arm + ABOVE_SURFACE["knuckle"] * arm]
        ),
        "toe": np.array([ankle[0], ABOVE_SURFACE["toe"] * arm]),
    }
    unseen = {name: np.full((1, 2), np.nan) for name in ("ear", "heel")}
    return {name: point[np.newaxis] for name, point in joints.items()} | unseen


def standing(body: Mapping[str, FloatArray], support: Support) -> tuple[FloatArray, FloatArray]:
    """Contacts (M, 2) of hand and foot (knee) under exactly known joints."""
    upper, lower = (
        np.linalg.norm(body[one] - body[other], axis=1)
        for one, other in (("shoulder", "elbow"), ("elbow", "wrist"))
    )
    return contact_points(body, support, float(np.nanmedian(upper + lower)))


def plank_load(
    height: float = 0.0,
    support: Support = "toes",
    sex: Sex | None = None,
    reach: float | None = 0.0,
) -> float:
    """Share of body mass on the hands of a straight body at the top (see ``plank``)."""
    surface: Surface = "floor"
    if height:
        surface = "hands_raised" if height > 0 else "feet_raised"
    body = plank(height, support, sex, reach)
    low, high = hand_load_range(body, standing(body, support), support, surface, sex)
    return float(best_estimate(low, high, surface)[0])


def worn_load_share(place: str | None, sex: Sex | None = None) -> float:
    """Share of worn weight that reaches the hands of a straight body at the top on the floor."""
    body = plank(0.0, "toes", sex, 0.0)
    at = WORN_AT[place or "back"]
    contacts = standing(body, "toes")
    bare, _ = hand_load_range(body, contacts, "toes", "floor", sex)
    loaded, _ = hand_load_range(body, contacts, "toes", "floor", sex, (1.0, at))
    return float(loaded[0] - bare[0])
