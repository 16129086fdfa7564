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
# Of the middle of the line ankle to shoulder: of a body on the floor, and of one that leans steeply
# (half of 1.4 m times the sine of how it leans, seen from 3 m).
BODY_HEIGHT_PER_DISTANCE, LEANING_HEIGHT_PER_DISTANCE = 0.12, 0.235

# Heights of the points over the surface that bears them, in arm lengths: half the thickness of
# hand, toes and knee (from memory); the ankle of an upright foot stands on its ball (foot length
# 0.152 and ankle height 0.039 of stature, Drillis & Contini 1966 via Winter 2009).
ABOVE_SURFACE = {"knuckle": 0.05, "wrist": 0.06, "toe": 0.06, "ankle": 0.32, "knee": 0.12}
CONTACT_HEIGHT_SD = 0.045  # of one contact against the other, arm lengths; knees twice that

# What the line from foot to shoulder errs by at the top, itself and with the contacts, and what a
# height errs by: assumed, and wide enough for every rendered set (tests/truth/bench.py).
LEANING_SD_DEG, LEANING_SD_PER_CONTACT_SD = 0.8, 0.3
HEIGHT_PLUS_MINUS = 0.08  # 95 %, arm lengths
WALL_INCLINATION_SD_DEG = 10.0  # how steep people stand at a wall differs so much; assumed

STEEPEST_AT_SLANT_DEG = 80.0
STEEP_AT_SLANT = (
    "seen at a slant this body looks upright, so its angle does not show; film square from the side"
)
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
    if look.view.along_body or look.view.near_side is None:
        return _unknown(FRONT_ON)
    signals, top = look.signals, top_frames(look.signals, look.reps)
    lifted = lifted_hand(signals, top)
    body = sagittal_points(signals, look.view, lifted=lifted)
    joints = ("shoulder", "wrist", "hip", "knee", "ankle")
    use = top & np.all([np.isfinite(body[joint][:, 0]) for joint in joints], axis=0)
    if not use.any():
        return _unknown(UNSEEN)
    at = {name: points[use] for name, points in body.items()}
    found, support_confidence = _judge_support(*_knee(at, signals.arm_length_px))
    support = support or found
    contact_deg = _contact_angle_deg(signals, use, support, signals.arm_length_px, lifted)
    if not np.isfinite(contact_deg):
        return _unknown(UNSEEN)
    ends = _ends(signals, use, at, support, look.view)
    propped = _propped(at, ends, support, contact_deg, signals.arm_length_px, look.view)
    judged, surface_confidence = _judge_surface(propped)
    surface = surface or judged
    slope_deg, slope_sd = _level(propped, surface)
    return Stance(
        inclination_deg=_inclination(propped, slope_deg, slope_sd, look.view),
        support=support,
        support_confidence=support_confidence,
        surface=surface,
        surface_confidence=surface_confidence,
        height=_height(propped, surface, slope_deg, slope_sd, look.view),
        slope_deg=slope_deg,
    )


@dataclass(frozen=True)
class _Propped:
    """What the picture shows of the body and its contacts, before the level is known.

    ``contact_deg`` rise from foot to hand contact with its ``contact_sd``, of which ``slant_sd``
    is the view's; ``reach`` between them (arm lengths). ``leaning_deg`` of the body and
    ``arm_drop_deg`` of the arms below the horizontal.
    """

    contact_deg: float
    contact_sd: float
    slant_sd: float
    reach: float
    leaning_deg: float
    arm_drop_deg: float


def _propped(
    at: Mapping[str, FloatArray],
    body: tuple[FloatArray, FloatArray],
    support: Support | None,
    contact_deg: float,
    arm_px: float,
    view: View,
) -> _Propped:
    slant = float(np.tan(_yaw(view)))
    hand, foot = _contacts(at, support, arm_px)
    reach = float(np.median(np.linalg.norm(hand - foot, axis=1))) / arm_px
    uneven_sd = _degrees(CONTACT_HEIGHT_SD * (2 if support == "knees" else 1) / reach)
    slant_sd = _degrees(CAMERA_HEIGHT_SD * slant)
    rises_deg = _angle_deg(*body)
    height = max(
        BODY_HEIGHT_PER_DISTANCE, LEANING_HEIGHT_PER_DISTANCE * float(np.sin(np.radians(rises_deg)))
    )
    at_slant_deg = _degrees((CAMERA_HEIGHT_PER_DISTANCE - height) * slant)
    drop_deg = -_angle_deg(at["shoulder"], at["wrist"])
    return _Propped(
        contact_deg=contact_deg + _degrees(CAMERA_HEIGHT_PER_DISTANCE * slant),
        contact_sd=float(np.hypot(uneven_sd, slant_sd)),
        slant_sd=abs(slant_sd),
        reach=reach,
        leaning_deg=rises_deg + at_slant_deg,
        arm_drop_deg=180 - drop_deg if drop_deg > 90 else drop_deg,
    )


def _judge_surface(propped: _Propped) -> tuple[Surface | None, float]:
    """What bears the hands and feet, and how sure that is; None where a slant could decide it."""
    over_wall_deg = propped.leaning_deg - WALL_INCLINATION_DEG
    if over_wall_deg > 0 and propped.arm_drop_deg < WALL_ARM_DROP_DEG:
        return "wall", _confidence(over_wall_deg / WALL_INCLINATION_SD_DEG)
    limit_deg = max(LEVEL_LIMIT_DEG, _degrees(LEVEL_LIMIT_ARM_LENGTHS / propped.reach))
    beyond_deg = abs(propped.contact_deg) - limit_deg
    if abs(beyond_deg) < propped.slant_sd:
        return None, 0.0
    sure = _confidence(beyond_deg / float(np.hypot(propped.contact_sd, USUAL_ROLL_SD_DEG)))
    if beyond_deg <= 0:
        return "floor", sure
    return ("hands_raised" if propped.contact_deg > 0 else "feet_raised"), sure


def _level(propped: _Propped, surface: Surface | None) -> tuple[float, float]:
    """How far a level line rises toward the head in the picture, and its sd (deg).

    On one floor the contacts show it; elsewhere the camera is taken to be level.
    """
    if surface != "floor":
        return 0.0, USUAL_ROLL_SD_DEG
    trust = USUAL_ROLL_SD_DEG**2 / (USUAL_ROLL_SD_DEG**2 + propped.contact_sd**2)
    return trust * propped.contact_deg, float(np.sqrt(trust)) * propped.contact_sd


def _inclination(propped: _Propped, slope_deg: float, slope_sd: float, view: View) -> Quantity:
    if view.slanted and propped.leaning_deg > STEEPEST_AT_SLANT_DEG:
        return not_measured(STEEP_AT_SLANT)
    in_picture = np.radians(propped.leaning_deg - slope_deg)
    inclination = np.arctan2(np.sin(in_picture) * np.cos(_yaw(view)), np.cos(in_picture))
    sd = np.hypot(
        np.hypot(slope_sd, LEANING_SD_DEG), LEANING_SD_PER_CONTACT_SD * propped.contact_sd
    )
    return Quantity(float(np.degrees(inclination)), 2 * float(sd), view=view.kind)


def _height(
    propped: _Propped, surface: Surface | None, slope_deg: float, slope_sd: float, view: View
) -> Quantity:
    """Height of the hands above the feet, arm lengths."""
    if surface is None:
        return not_measured(_SLANTED)
    rise = np.sin(np.radians(propped.contact_deg - slope_deg))
    height = 0.0 if surface == "floor" else float(propped.reach * rise)
    doubt = HEIGHT_PLUS_MINUS + propped.reach * np.radians(2 * slope_sd)
    return Quantity(height, float(doubt), view=view.kind)


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


def _ends(
    signals: Signals,
    use: BoolArray,
    at: Mapping[str, FloatArray],
    support: Support | None,
    view: View,
) -> tuple[FloatArray, FloatArray]:
    """Both ends of the body, foot (knee) and shoulder: (M, 2) px each, y up.

    At a slant the near shoulder lies further across the picture than the near foot, by what
    shoulders are wider than feet: there the middle of both sides is taken, where both are seen.
    """
    foot = "knee" if support == "knees" else "ankle"
    near = at[foot], at["shoulder"]
    if not view.slanted:
        return near
    other = sagittal_points(signals, View("side", "left" if view.near_side == "right" else "right"))
    facing = np.sign(np.nanmedian((at["shoulder"] - at["hip"])[:, 0]))
    far_facing = np.sign(np.nanmedian((other["shoulder"] - other["hip"])[use, 0]))
    if facing != far_facing:
        return near
    low, high = ((one + other[joint][use]) / 2 for one, joint in zip(near, (foot, "shoulder"),
                                                                     strict=True))  # fmt: skip
    return _filled(low, near[0]), _filled(high, near[1])


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
