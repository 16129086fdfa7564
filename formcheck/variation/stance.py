"""What the body is propped on: body angle, toes or knees, and floor, raised hands or feet, wall.

Everything is read in the top position, in the picture plane of a view from the side: x toward
the head, y up, after the level has been found. The level comes from the contacts: hands and
feet on one floor show how far the camera is rolled, which no joint angle would tell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from formcheck.asked.prescription import Support, Surface
from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.pose.track import Side
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.curves import Signals
from formcheck.signals.view import View

# A knee more bent than this, and not above the ankle, bears the body. On the toes a knee is
# nearly straight, and one that gives way still lies above the ankle on a level floor.
KNEELING_FLEXION_DEG = 150.0

# Hands and feet share one level when their contacts differ by less than either: the roll of a
# camera propped up by hand must not raise a floor, and a usual low step (20 cm) must show.
LEVEL_LIMIT_DEG = 6.0
LEVEL_LIMIT_ARM_LENGTHS = 0.25

# One wrist this far above the other is off the surface: perspective and the model's weak far
# hand together reach half of it.
LIFTED_ARM_LENGTHS = 0.4

# On a wall the body is steep and the arms reach level or nearly so; on a bench or bar they
# still point down.
WALL_INCLINATION_DEG = 50.0
WALL_ARM_DROP_DEG = 35.0

# Spread (one standard deviation) of the roll of a phone propped up and levelled by eye: an
# assumption, so that a poor view of the contacts cannot turn the picture far.
USUAL_ROLL_SD_DEG = 2.5

# Camera height over its distance when filming as advised (0.6-0.9 m high, 3 m away): at a
# slant the nearer end of a level floor appears lower by this times the tangent of the yaw.
CAMERA_HEIGHT_PER_DISTANCE = 0.25
CAMERA_HEIGHT_SD = 0.08
YAW_NOISE_DEG = 5.0  # square side views read as up to this much, or a little more
BODY_HEIGHT_PER_DISTANCE = 0.12  # of the middle of the line ankle to shoulder

# Heights of the points over the surface that bears them, in arm lengths: half the thickness of
# hand, toes and knee (from memory); the ankle of an upright foot stands on its ball (foot length
# 0.152 and ankle height 0.039 of stature, Drillis & Contini 1966 via Winter 2009).
ABOVE_SURFACE = {"knuckle": 0.05, "wrist": 0.06, "toe": 0.06, "ankle": 0.32, "knee": 0.12}
CONTACT_HEIGHT_SD = 0.045  # of one contact against the other, arm lengths; knees twice that

FRONT_ON = "the body points at the camera here, so its angle does not show; film from the side"
UNSEEN = "shoulder, hand and foot were not seen together at the top; film the whole body"


@dataclass(frozen=True)
class Stance:
    """How the body is propped, in the top position.

    ``inclination_deg`` ankle (knee when on the knees) to shoulder above horizontal.
    ``height`` of the hands above the feet (knees), arm lengths; negative with raised feet;
    zero on one floor. ``slope_deg`` how far a level line rises toward the head in the picture
    (camera roll). ``support`` and ``surface`` are None where the view cannot tell; their
    confidences run from 0 to 1.
    """

    inclination_deg: Quantity
    support: Support | None
    support_confidence: float
    surface: Surface | None
    surface_confidence: float
    height: Quantity
    slope_deg: float


def stance_at_top(
    look: Look,
    support: Support | None = None,
    surface: Surface | None = None,
) -> Stance:
    """Read the stance of a set; ``support`` and ``surface`` are the user's word where given.

    Without reps (a hold) all frames in position count as top. Never raises: what the view or
    the tracking cannot show is None or a Quantity with a reason.
    """
    signals, view, reps = look.signals, look.view, look.reps
    if view.along_body or view.near_side is None:
        return _unknown(FRONT_ON)
    lifted = lifted_hand(signals, top_frames(signals, reps))
    body = sagittal_points(signals, view, lifted=lifted)
    seen = [
        np.isfinite(body[joint][:, 0]) for joint in ("shoulder", "wrist", "hip", "knee", "ankle")
    ]
    use = top_frames(signals, reps) & np.all(seen, axis=0)
    if not use.any():
        return _unknown(UNSEEN)
    at = {name: points[use] for name, points in body.items()}
    arm_px = signals.arm_length_px
    slant = float(np.tan(_yaw(view)))

    flexion_deg, knee_above_ankle = _knee(at, arm_px)
    found, support_confidence = _judge_support(flexion_deg, knee_above_ankle)
    support = support or found

    contact_deg = _contact_angle_deg(signals, use, support, arm_px, lifted)
    if not np.isfinite(contact_deg):
        return _unknown(UNSEEN)
    contact_deg += _degrees(CAMERA_HEIGHT_PER_DISTANCE * slant)
    hand, foot = _contacts(at, support, arm_px)
    reach = float(np.median(np.linalg.norm(hand - foot, axis=1))) / arm_px
    uneven_sd = _degrees(CONTACT_HEIGHT_SD * (2 if support == "knees" else 1) / reach)
    slant_sd = _degrees(CAMERA_HEIGHT_SD * slant)
    contact_sd = float(np.hypot(uneven_sd, slant_sd))
    limit_deg = max(LEVEL_LIMIT_DEG, _degrees(LEVEL_LIMIT_ARM_LENGTHS / reach))
    base = at["knee" if support == "knees" else "ankle"]
    leaning_deg = _angle_deg(base, at["shoulder"])
    leaning_deg += _degrees((CAMERA_HEIGHT_PER_DISTANCE - BODY_HEIGHT_PER_DISTANCE) * slant)
    arm_drop_deg = -_angle_deg(at["shoulder"], at["wrist"])
    arm_drop_deg = 180 - arm_drop_deg if arm_drop_deg > 90 else arm_drop_deg

    margin = (abs(contact_deg) - limit_deg) / np.hypot(contact_sd, USUAL_ROLL_SD_DEG)
    judged: Surface | None
    if leaning_deg > WALL_INCLINATION_DEG and arm_drop_deg < WALL_ARM_DROP_DEG:
        judged, margin = "wall", (leaning_deg - WALL_INCLINATION_DEG) / 10
    elif abs(abs(contact_deg) - limit_deg) < abs(slant_sd):
        judged, margin = None, 0.0  # the slant alone could turn one answer into the other
    elif margin <= 0:
        judged = "floor"
    else:
        judged = "hands_raised" if contact_deg > 0 else "feet_raised"
    surface = surface or judged
    if surface == "floor":
        trust = USUAL_ROLL_SD_DEG**2 / (USUAL_ROLL_SD_DEG**2 + contact_sd**2)
        slope_deg = float(trust * contact_deg)
        slope_sd = float(np.sqrt(trust) * contact_sd)
    else:
        slope_deg, slope_sd = 0.0, USUAL_ROLL_SD_DEG
    in_picture = np.radians(leaning_deg - slope_deg)
    inclination = float(
        np.degrees(np.arctan2(np.sin(in_picture) * np.cos(_yaw(view)), np.cos(in_picture)))
    )
    plus_minus = 2 * float(np.hypot(np.hypot(slope_sd, 0.8), 0.3 * contact_sd))
    height = 0.0 if surface == "floor" else reach * np.sin(np.radians(contact_deg - slope_deg))
    return Stance(
        inclination_deg=Quantity(inclination, plus_minus, view=view.kind),
        support=support,
        support_confidence=support_confidence,
        surface=surface,
        surface_confidence=_confidence(margin) if judged else 0.0,
        height=Quantity(
            float(height), float(0.08 + reach * np.radians(2 * slope_sd)), view=view.kind
        )
        if surface
        else not_measured(_SLANTED),
        slope_deg=slope_deg,
    )


_SLANTED = (
    "seen at a slant, a level floor and a raised surface look alike; film square from the side"
)


def sagittal_points(
    signals: Signals, view: View, slope_deg: float = 0.0, lifted: Side | None = None
) -> dict[str, FloatArray]:
    """(M, 2) px by joint of the near side: x toward the head, y up, levelled by ``slope_deg``.

    ``knuckle``, ``heel``, ``toe`` and ``ear`` are NaN where the track does not carry them. If the
    near hand is ``lifted`` off the surface, the arm is that of the other side.
    """
    near = _side(signals, str(view.near_side))
    if lifted is not None and lifted == view.near_side:
        other = _side(signals, "left" if lifted == "right" else "right")
        near |= {joint: other[joint] for joint in ("elbow", "wrist", "knuckle")}
    toward_head = np.nanmedian((near["shoulder"] - near["hip"])[:, 0])
    mirror = np.array([1.0 if toward_head >= 0 else -1.0, -1.0])
    turn = np.radians(slope_deg)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return {name: (points * mirror) @ rotation.T for name, points in near.items()}


def lifted_hand(signals: Signals, use: BoolArray) -> Side | None:
    """The hand that stays well above the other one, as in a one-arm push-up; None if neither."""
    px = signals.points_px
    apart = (px["left_wrist"] - px["right_wrist"])[use, 1] / signals.arm_length_px
    if not np.isfinite(apart).any():
        return None
    higher_right = float(np.nanmedian(apart))  # y points down
    if abs(higher_right) < LIFTED_ARM_LENGTHS:
        return None
    return "right" if higher_right > 0 else "left"


def top_frames(signals: Signals, reps: Sequence[Rep]) -> BoolArray:
    """(M,) True in the top positions between and around the reps (everywhere in a hold)."""
    if not reps:
        return signals.in_position.copy()
    top = np.zeros(len(signals.t_s), dtype=bool)
    for rep in reps:
        top |= (signals.t_s >= rep.start_s - 0.2) & (signals.t_s <= rep.start_s + 0.05)
    return top


def _side(signals: Signals, side: str) -> dict[str, FloatArray]:
    points = signals.points_px
    unseen = np.full((len(signals.t_s), 2), np.nan)
    named = {
        joint: points.get(f"{side}_{joint}", unseen)
        for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "ear", "heel")
    }
    named["toe"] = points.get(f"{side}_foot_index", unseen)
    named["knuckle"] = (
        points.get(f"{side}_index", unseen) + points.get(f"{side}_pinky", unseen)
    ) / 2
    return named


def _contacts(
    at: Mapping[str, FloatArray], support: Support | None, arm_px: float
) -> tuple[FloatArray, FloatArray]:
    """Where hand and foot (knee) meet the surface: (M, 2) px each, y up."""
    under = {
        joint: at[joint] - np.array([0.0, height * arm_px])
        for joint, height in ABOVE_SURFACE.items()
    }
    hand = _filled(under["knuckle"], under["wrist"])
    return hand, under["knee"] if support == "knees" else _filled(under["toe"], under["ankle"])


def contact_points(
    at: Mapping[str, FloatArray], support: Support | None, arm_px: float
) -> tuple[FloatArray, FloatArray]:
    """Where hand and foot (knee) press on the surface: (M, 2) px each, y up.

    The height is that of the surface; along the body the hand presses under the wrist and the
    foot under the ankle's joint centre, which lies between the ankle and heel landmarks (the
    model puts its ankle on the front of the joint).
    """
    hand, foot = _contacts(at, support, arm_px)
    below = (
        at["knee"] if support == "knees" else _filled((at["ankle"] + at["heel"]) / 2, at["ankle"])
    )
    return (
        np.column_stack([at["wrist"][:, 0], hand[:, 1]]),
        np.column_stack([below[:, 0], foot[:, 1]]),
    )


def _contact_angle_deg(
    signals: Signals,
    use: BoolArray,
    support: Support | None,
    arm_px: float,
    lifted: Side | None,
) -> float:
    """Rise from foot to hand contact, mean of the near and far side as far as they are seen.

    A raised camera shows the hand that is nearer lower than the foot behind it, and the far
    hand higher by as much: the mean is free of it.
    """
    angles = []
    sides: tuple[Side, ...] = ("left", "right")
    for side in sides:
        if side == lifted:
            continue
        points = sagittal_points(signals, View("side", side))
        at = {joint: xy[use] for joint, xy in points.items()}
        hand, foot = _contacts(at, support, arm_px)
        if np.isfinite((hand - foot)[:, 0]).any():
            angles.append(_angle_deg(foot, hand))
    return float(np.mean(angles)) if angles else float("nan")


def _knee(at: Mapping[str, FloatArray], arm_px: float) -> tuple[float, float]:
    """Median knee angle, degrees, and height of knee over ankle, arm lengths."""
    thigh, shank = at["hip"] - at["knee"], at["ankle"] - at["knee"]
    cross = thigh[:, 0] * shank[:, 1] - thigh[:, 1] * shank[:, 0]
    angle = np.degrees(np.arctan2(np.abs(cross), (thigh * shank).sum(axis=1)))
    return float(np.nanmedian(angle)), float(-np.nanmedian(shank[:, 1])) / arm_px


def _judge_support(knee_deg: float, knee_above_ankle: float) -> tuple[Support, float]:
    bent = (KNEELING_FLEXION_DEG - knee_deg) / 15
    low = (0.15 - knee_above_ankle) / 0.15
    kneeling = min(bent, low)
    return ("knees" if kneeling > 0 else "toes"), _confidence(kneeling)


def _confidence(margin: float) -> float:
    """From a margin in standard deviations to 0.5-1: how likely the other answer is not."""
    return float(1 / (1 + np.exp(-1.7 * abs(margin))))


def _filled(first: FloatArray, second: FloatArray) -> FloatArray:
    return np.where(np.isfinite(first), first, second)


def _angle_deg(low: FloatArray, high: FloatArray) -> float:
    """Rise of the line from ``low`` to ``high`` toward the head, degrees, median over frames."""
    line = np.nanmedian(high - low, axis=0)
    return float(np.degrees(np.arctan2(line[1], line[0])))


def _degrees(tangent: float) -> float:
    return float(np.degrees(np.arctan(tangent)))


def _yaw(view: View) -> float:
    """Radians off square, as far as it exceeds what a square view may read as."""
    beyond = max(abs(view.yaw_deg) - YAW_NOISE_DEG, 0.0)
    return float(np.copysign(np.radians(min(beyond, 60.0)), view.yaw_deg))


def _unknown(reason: str) -> Stance:
    return Stance(not_measured(reason), None, 0.0, None, 0.0, not_measured(reason), 0.0)
