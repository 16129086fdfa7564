"""A body in a push-up before a camera: from a few parameters to every joint in the picture.

Body frame, in arm lengths (upper arm plus forearm): x from the feet to the head, y to the
person's left, z up; the origin on the floor line between the wrists. The model is even: hands,
feet and trunk lie square to each other, and the legs in one plane. What it leaves out is left to
the spread of the landmarks.

Every function takes parameters with any leading axes, so that many bodies, or one body with each
parameter moved a little, are placed in one call.
"""

from __future__ import annotations

from collections.abc import Mapping
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
    """Joints (..., 3) by landmark name, and each one's own axes: along its segment toward the
    head or the root of the limb, outward, and the third (belly side, or up for the hands)."""

    joint: Mapping[str, FloatArray]
    axes: Mapping[str, tuple[FloatArray, FloatArray, FloatArray]]

    def middle(self, joint: str) -> FloatArray:
        return (self.joint[f"left_{joint}"] + self.joint[f"right_{joint}"]) / 2


def place(of_set: FloatArray, pose: FloatArray, on_knees: bool) -> Bodies:
    """Joints of bodies with set parameters (..., 20) in poses (..., 9)."""
    s = {name: of_set[..., i] for i, name in enumerate(SET)}
    p = {name: pose[..., i] for i, name in enumerate(POSE)}
    zero = np.zeros(np.broadcast_shapes(of_set.shape[:-1], pose.shape[:-1]))
    upper = s["upper_per_fore"] / (1 + s["upper_per_fore"])
    fore = 1 - upper

    def sagittal(angle: FloatArray) -> FloatArray:
        return _vector(np.cos(angle) + zero, zero, np.sin(angle) + zero)

    hands = s["hands"] + p["wider"]
    head, belly = sagittal(p["trunk"]), sagittal(p["trunk"] - np.pi / 2)
    reach, shoulder = {}, {}
    for side, out in (("left", 1.0), ("right", -1.0)):
        bend = p["bend"] + out * p["uneven"]
        reach[side] = np.sqrt(upper**2 + fore**2 + 2 * upper * fore * np.cos(bend))
        plane = np.sqrt(np.maximum(reach[side] ** 2 - (hands - s["shoulders"]) ** 2, 0.01))
        shoulder[side] = _vector(
            plane * np.sin(p["lean"]) + zero,
            out * s["shoulders"] + zero,
            plane * np.cos(p["lean"]) + zero,
        )
    neck = (shoulder["left"] + shoulder["right"]) / 2
    hip = neck - s["trunk"][..., None] * head
    down_thigh = p["trunk"] + np.pi - p["line"]
    down_shank = np.pi - s["leg"] if on_knees else down_thigh - s["leg"]
    knee = hip + s["thigh"][..., None] * sagittal(down_thigh)
    ankle = knee + s["shank"][..., None] * sagittal(down_shank)
    ear = neck + s["neck"][..., None] * sagittal(p["trunk"] - p["head"])
    joint: dict[str, FloatArray] = {}
    axes: dict[str, tuple[FloatArray, FloatArray, FloatArray]] = {}
    for side, out in (("left", 1.0), ("right", -1.0)):
        outward = np.broadcast_to(np.array([0.0, out, 0.0]), head.shape)
        bend = p["bend"] + out * p["uneven"]
        wrist = _vector(zero, out * hands + zero, zero)
        line = (wrist - shoulder[side]) / reach[side][..., None]
        part = (upper**2 - fore**2 + reach[side] ** 2) / (2 * reach[side])
        beside = upper * fore * np.sin(bend) / reach[side]
        straight_out = _unit(outward - np.sum(line * outward, -1, keepdims=True) * line)
        straight_back = np.cross(line, straight_out) * out
        toward_head = np.sum(straight_back * head, -1, keepdims=True) > 0
        straight_back = np.where(toward_head, -straight_back, straight_back)
        turn = (s["swivel"] + p["turn"] + out * p["twist"])[..., None]
        offset = np.cos(turn) * straight_back + np.sin(turn) * straight_out
        places = {
            "shoulder": shoulder[side],
            "elbow": shoulder[side] + part[..., None] * line + beside[..., None] * offset,
            "wrist": wrist,
            "hip": hip + s["hips"][..., None] * outward,
            "knee": knee + ((s["hips"] + s["feet"]) / 2)[..., None] * outward,
            "ankle": ankle + s["feet"][..., None] * outward,
            "ear": ear + s["ears"][..., None] * outward,
        }
        own = {
            "shoulder": (head, outward, belly),
            "elbow": (-line, offset, np.cross(line, offset) * out),
            "wrist": (sagittal(zero), outward, sagittal(zero + np.pi / 2)),
            "hip": (head, outward, belly),
            "knee": (sagittal(down_thigh), outward, sagittal(down_thigh + np.pi / 2)),
            "ankle": (sagittal(down_shank), outward, sagittal(down_shank + np.pi / 2)),
            "ear": (head, outward, belly),
        }
        joint |= {f"{side}_{name}": where for name, where in places.items()}
        axes |= {f"{side}_{name}": three for name, three in own.items()}
    return Bodies(joint, axes)


def project(of_set: FloatArray, points: FloatArray) -> FloatArray:
    """(..., 2) picture of points (..., 3), in long sides of the picture from its centre."""
    s = {name: of_set[..., i] for i, name in enumerate(SET)}
    right, down, forward = camera_axes(s["yaw"], s["pitch"], s["roll"])
    distance = np.exp(s["log_distance"])
    x = np.sum(points * right, axis=-1) + s["right"] * distance
    y = np.sum(points * down, axis=-1) + s["down"] * distance
    depth = np.maximum(np.sum(points * forward, axis=-1) + distance, 0.05)
    return np.asarray(
        np.exp(s["log_focal"])[..., None] * np.stack([x, y], axis=-1) / depth[..., None]
    )


def camera_axes(
    yaw: FloatArray, pitch: FloatArray, roll: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Unit vectors (..., 3) right and down in the picture, and forward into it."""
    forward = _vector(-np.cos(pitch) * np.sin(yaw), -np.cos(pitch) * np.cos(yaw), -np.sin(pitch))
    level = _vector(-np.cos(yaw), np.sin(yaw), np.zeros_like(yaw))
    plumb = np.cross(forward, level)
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


def _vector(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / length(vector)[..., None])
