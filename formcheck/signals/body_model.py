"""A body in a push-up before a camera: from a few parameters to every joint in the picture.

Body frame, in arm lengths (upper arm plus forearm): x from the feet to the head, y to the
person's left, z up; the origin on the floor line between the wrists. The model is even: hands,
feet and trunk lie square to each other, and the legs in one plane. What it leaves out is left to
the spread of the landmarks.

Every function takes parameters with any leading axes, so that many bodies, or one body with each
parameter moved a little, are placed in one call.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.geometry import joint_angle_deg, length

SIDES = ("left", "right")
# Upper arm over the arm between joint centres: 281.7/550.6 mm (men), 275.1/539.4 mm (women), de
# Leva, J Biomech 1996;29:1223-1230; the mean is used.
UPPER = 0.511
FORE = 1 - UPPER
JOINTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "ear")
LANDMARKS = tuple(f"{side}_{joint}" for side in SIDES for joint in JOINTS)

# Of the whole set. The camera: azimuth ``yaw`` (0 square to the person's left side, pi/2 before
# the head), ``pitch`` looking down and ``roll`` (rad), logarithms of focal length (in long sides
# of the picture) and distance, and the direction ``right``, ``down`` of the origin. The body:
# lengths, half widths, hands and feet from the middle line; ``leg``, on the toes how far the
# knees bend, on the knees how far the shanks rise to the feet (rad); ``swivel`` of the elbows
# from straight back to straight out (rad); ``arm`` how long its arms are for the rest of it (log).
CAMERA = ("yaw", "pitch", "roll", "log_focal", "right", "down", "log_distance")
LENGTHS = ("shoulders", "hips", "trunk", "thigh", "shank", "neck", "ears")
BODY = ("upper_per_fore", *LENGTHS, "hands", "feet", "leg", "swivel", "arm")
SET = (*CAMERA, *BODY)
# Of a moment (rad): ``bend`` of the elbows (0 straight), ``uneven`` left over mean, ``lean`` of
# the arms to the head, ``trunk`` above horizontal, ``line`` hips below it, ``head`` below the
# trunk's line, ``turn`` and ``twist`` of the elbows beyond the set's swivel, alike and apart;
# ``wider`` the hands than in the set (arm lengths), for hands that are set anew.
POSE = ("bend", "uneven", "lean", "trunk", "line", "head", "turn", "twist", "wider")


@dataclass(frozen=True)
class Bodies:
    """``at`` (..., 14, 3) the joints, in the order of ``LANDMARKS``, and ``axes`` (..., 14, 3, 3)
    each one's own: along its segment toward the head or the root of the limb, outward, and the
    third (belly side, or up for the hands)."""

    at: FloatArray
    axes: FloatArray

    @property
    def joint(self) -> dict[str, FloatArray]:
        """Joints (..., 3) by landmark name."""
        return {name: self.at[..., i, :] for i, name in enumerate(LANDMARKS)}

    def middle(self, joint: str) -> FloatArray:
        left, right = (LANDMARKS.index(f"{side}_{joint}") for side in SIDES)
        return (self.at[..., left, :] + self.at[..., right, :]) / 2


_OUT = np.array([1.0, -1.0])  # of each side
_OUTWARD = np.array([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]])


def place(of_set: FloatArray, pose: FloatArray, on_knees: bool) -> Bodies:
    """Joints of bodies with set parameters (..., 20) in poses (..., 9)."""
    s = {name: of_set[..., i] for i, name in enumerate(SET)}
    p = {name: pose[..., i] for i, name in enumerate(POSE)}
    lead = np.broadcast_shapes(of_set.shape[:-1], pose.shape[:-1])
    upper = (s["upper_per_fore"] / (1 + s["upper_per_fore"]))[..., None]
    fore = 1 - upper
    at = np.empty((*lead, 2, len(JOINTS), 3))  # of each side, as ``LANDMARKS`` has them
    axes = np.empty((*lead, 2, len(JOINTS), 3, 3))
    joint = {name: at[..., i, :] for i, name in enumerate(JOINTS)}
    own = {name: axes[..., i, :, :] for i, name in enumerate(JOINTS)}

    hands = (s["hands"] + p["wider"])[..., None]
    trunk = p["trunk"]
    head, belly = _sagittal(trunk), _sagittal(trunk - np.pi / 2)
    # From here on (..., 2): the left side and the right.
    bend = p["bend"][..., None] + _OUT * p["uneven"][..., None]
    reach = np.sqrt(upper**2 + fore**2 + 2 * upper * fore * np.cos(bend))
    shoulders, lean = s["shoulders"][..., None], p["lean"][..., None]
    plane = np.sqrt(np.maximum(reach**2 - (hands - shoulders) ** 2, 0.01))
    shoulder, wrist = joint["shoulder"], joint["wrist"]
    shoulder[..., 0], shoulder[..., 2] = plane * np.sin(lean), plane * np.cos(lean)
    shoulder[..., 1] = _OUT * shoulders
    wrist[...] = 0.0
    wrist[..., 1] = _OUT * hands

    line = (wrist - shoulder) / reach[..., None]
    part = (upper**2 - fore**2 + reach**2) / (2 * reach)
    beside = upper * fore * np.sin(bend) / reach
    straight_out = _OUTWARD - (line[..., 1] * _OUT)[..., None] * line
    straight_out /= np.sqrt(np.sum(straight_out**2, axis=-1, keepdims=True))
    straight_back = _cross(line, straight_out) * _OUT[:, None]
    toward_head = np.sum(straight_back * head[..., None, :], -1, keepdims=True) > 0
    straight_back = np.where(toward_head, -straight_back, straight_back)
    turn = (s["swivel"] + p["turn"])[..., None] + _OUT * p["twist"][..., None]
    turn = turn[..., None]
    offset = np.cos(turn) * straight_back + np.sin(turn) * straight_out
    joint["elbow"][...] = shoulder + part[..., None] * line + beside[..., None] * offset

    neck = (shoulder[..., 0, :] + shoulder[..., 1, :]) / 2
    hip = neck - s["trunk"][..., None] * head
    down_thigh = trunk + np.pi - p["line"]
    down_shank = np.pi - s["leg"] if on_knees else down_thigh - s["leg"]
    thigh, shank = _sagittal(down_thigh), _sagittal(down_shank)
    knee = hip + s["thigh"][..., None] * thigh
    for name, middle, half_width in (
        ("hip", hip, s["hips"]),
        ("knee", knee, (s["hips"] + s["feet"]) / 2),
        ("ankle", knee + s["shank"][..., None] * shank, s["feet"]),
        ("ear", neck + s["neck"][..., None] * _sagittal(trunk - p["head"]), s["ears"]),
    ):
        joint[name][...] = middle[..., None, :]
        joint[name][..., 1] += _OUT * half_width[..., None]

    axes[..., 1, :] = _OUTWARD[:, None, :]
    for names, along, third in (
        (("shoulder", "hip", "ear"), head, belly),
        (("knee",), thigh, _sagittal(down_thigh + np.pi / 2)),
        (("ankle",), shank, _sagittal(down_shank + np.pi / 2)),
        (("wrist",), _AHEAD, _UP),
    ):
        for name in names:
            own[name][..., 0, :], own[name][..., 2, :] = along[..., None, :], third[..., None, :]
    elbow = own["elbow"]
    elbow[..., 0, :], elbow[..., 1, :] = -line, offset
    elbow[..., 2, :] = _cross(line, offset) * _OUT[:, None]
    count = len(LANDMARKS)
    return Bodies(at.reshape(*lead, count, 3), axes.reshape(*lead, count, 3, 3))


_AHEAD, _UP = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])


def project(of_set: FloatArray, points: FloatArray) -> FloatArray:
    """(..., L, 2) picture of points (..., L, 3) of the sets (..., 20), in long sides of the
    picture from its centre."""
    s = {name: of_set[..., i] for i, name in enumerate(SET)}
    axes = np.stack(camera_axes(s["yaw"], s["pitch"], s["roll"]), axis=-1)
    seen = points @ axes  # right, down, forward
    distance = np.exp(s["log_distance"])
    seen += _vector(s["right"] * distance, s["down"] * distance, distance)[..., None, :]
    scale = np.exp(s["log_focal"])[..., None] / np.maximum(seen[..., 2], 0.05)
    return np.asarray(seen[..., :2] * scale[..., None])


def camera_axes(
    yaw: FloatArray, pitch: FloatArray, roll: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Unit vectors (..., 3) right and down in the picture, and forward into it."""
    forward = _vector(-np.cos(pitch) * np.sin(yaw), -np.cos(pitch) * np.cos(yaw), -np.sin(pitch))
    level = _vector(-np.cos(yaw), np.sin(yaw), np.zeros_like(yaw))
    plumb = _cross(forward, level)
    cosine, sine = np.cos(roll)[..., None], np.sin(roll)[..., None]
    return cosine * level + sine * plumb, cosine * plumb - sine * level, forward


def elbow_deg(bodies: Bodies, side: str) -> FloatArray:
    """(...,) elbow angle of one arm, 180 = straight."""
    at = bodies.joint
    return joint_angle_deg(at[f"{side}_shoulder"], at[f"{side}_elbow"], at[f"{side}_wrist"])


def flare_deg(bodies: Bodies, side: str) -> FloatArray:
    """(...,) angle of one upper arm to the trunk axis."""
    upper = bodies.joint[f"{side}_elbow"] - bodies.joint[f"{side}_shoulder"]
    trunk = bodies.middle("hip") - bodies.middle("shoulder")
    cosine = np.sum(upper * trunk, axis=-1) / (length(upper) * length(trunk))
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def elbow_of_reach_deg(reach: FloatArray) -> FloatArray:
    """(...,) elbow angle at a distance from shoulder to wrist in arm lengths (law of cosines)."""
    cosine = (UPPER**2 + FORE**2 - reach**2) / (2 * UPPER * FORE)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def elbow_offset(reach: float) -> float:
    """Distance of the elbow from the line shoulder to wrist, arm lengths, at that ``reach``."""
    cosine = (UPPER**2 + reach**2 - FORE**2) / (2 * UPPER * reach)
    return float(UPPER * np.sqrt(max(1 - cosine**2, 0.0)))


def line_deg(bodies: Bodies, to: str) -> FloatArray:
    """(...,) 180 minus the angle shoulder-hip-``to``, + where the hips lie below the line."""
    shoulder, hip, end = (bodies.middle(joint) for joint in ("shoulder", "hip", to))
    trunk, leg = shoulder - hip, end - hip
    turn = trunk[..., 0] * leg[..., 2] - trunk[..., 2] * leg[..., 0]
    return np.asarray(np.sign(turn) * (180.0 - joint_angle_deg(shoulder, hip, end)))


def rise_deg(low: FloatArray, high: FloatArray) -> FloatArray:
    """(...,) elevation of ``high`` over ``low`` above the horizontal, along the body."""
    apart = high - low
    return np.asarray(np.degrees(np.arctan2(apart[..., 2], apart[..., 0])))


def _sagittal(angle: FloatArray) -> FloatArray:
    """(..., 3) unit vectors in the middle plane, that far above straight ahead."""
    return _vector(np.cos(angle), np.zeros(()), np.sin(angle))


def _vector(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    # Written into place: stacking and np.cross take longer over small arrays than the sums do.
    vector = np.empty((*np.broadcast_shapes(x.shape, y.shape, z.shape), 3))
    vector[..., 0], vector[..., 1], vector[..., 2] = x, y, z
    return vector


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    (a, b, c), (d, e, f) = np.moveaxis(first, -1, 0), np.moveaxis(second, -1, 0)
    return _vector(b * f - c * e, c * d - a * f, a * e - b * d)
