"""The arms in space, from a camera before the head.

From the front an elbow angle hardly shows in the picture: elbows move towards the feet, away
from the camera. What shows well is how far the shoulders are above the planted hands, and how
far the elbows are to the side. With the proportions of a body and a pinhole camera these two
place every joint in space.

Body frame, in arm lengths (upper arm plus forearm): x from the feet to the head, y to the
person's left, z up; the origin on the floor line between the wrists.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.signals.side_arm import FOREARM, UPPER, bend_at_top, combine, offset_of, reach_of
from formcheck.signals.view import USUAL_FOCAL_PER_LONG_SIDE

# Elbow landmarks err sideways by a few percent of the arm, much alike at the top and the bottom;
# and what looks like error at the top may be an arm that turns: half of it is taken out.
TOP_BIAS_SHARE = 0.5
REACH_SCALE_SD = 0.008  # of the arm's length in the picture
ELBOW_SD = 0.025  # of an elbow landmark, arm lengths

# Proportions, per arm length: trunk, thigh and shank of de Leva 1996 give 2.42 (women) and
# 2.50 (men) from shoulder to ankle; the shoulders reach forward a little under load.
SHOULDER_TO_ANKLE = 2.52
SHOULDER_TO_KNEE = 1.70  # trunk and thigh likewise
SHOULDER_TO_HIP = 0.93
ANKLE_ABOVE_WRIST = 0.30  # all on one floor
KNEE_ABOVE_WRIST = 0.10
HIP_LANDMARK_BELOW = 0.05  # half hidden from the front, as found on rendered clips
USUAL_TOP_BEND = np.radians(10.0)  # of arms meant to be straight, before anything is seen

SIDES = ("left", "right")
_ARM = ("shoulder", "elbow", "wrist")
_POINTS = tuple(f"{s}_{joint}" for s in SIDES for joint in (*_ARM, "hip", "ankle"))
_TOP_SHARE = 0.97  # frames with the shoulders this near to their highest are at the top


@dataclass(frozen=True)
class FrontScene:
    """Shoulder and wrist of both arms in space, (M, 3) each, and what follows.

    ``both_elbows_deg`` (M,) the three-dimensional elbow angle of both arms together, with its
    95 % half-width; ``elbow_deg`` (M,) of each; ``flare_deg`` (M,) upper arm against the trunk
    axis. What both arms have is keyed by "left" and "right". ``top`` (M,) the frames in which
    the arms are straightest. ``pitch_deg`` the camera looks down by, ``yaw_deg`` it stands to
    the person's left of straight ahead.
    """

    shoulder: Mapping[str, FloatArray]
    wrist: Mapping[str, FloatArray]
    both_elbows_deg: FloatArray
    both_elbows_plus_minus_deg: FloatArray
    elbow_deg: Mapping[str, FloatArray]
    flare_deg: Mapping[str, FloatArray]
    top: BoolArray
    pitch_deg: float
    yaw_deg: float


@dataclass(frozen=True)
class _Camera:
    distance: float
    pitch: float
    yaw: float
    focal_px: float
    height: float = 0.0

    def rays(self, points: FloatArray) -> FloatArray:
        """(…, 3) directions in the body frame of image points (…, 2), right and up of centre."""
        u, v = points[..., 0] / self.focal_px, points[..., 1] / self.focal_px
        forward = -np.cos(self.pitch) + v * -np.sin(self.pitch)
        up = -np.sin(self.pitch) + v * np.cos(self.pitch)
        x = forward * np.cos(self.yaw) - u * np.sin(self.yaw)
        y = forward * np.sin(self.yaw) + u * np.cos(self.yaw)
        return np.stack([x, y, up], axis=-1)

    @property
    def position(self) -> FloatArray:
        return np.array(
            [self.distance * np.cos(self.yaw), self.distance * np.sin(self.yaw), self.height]
        )

    def at_depth(self, points: FloatArray, x: FloatArray | float) -> FloatArray:
        """(…, 3) where the rays of image points meet the plane at ``x``."""
        ray = self.rays(points)
        reach = (x - self.position[0]) / ray[..., 0]
        return np.asarray(self.position + reach[..., None] * ray)

    def project(self, where: FloatArray) -> FloatArray:
        """(…, 2) image points, right and up of the centre, of places in the body frame."""
        d = where - self.position
        cy, sy, cp, sp = np.cos(self.yaw), np.sin(self.yaw), np.cos(self.pitch), np.sin(self.pitch)
        along = d[..., 0] * cy + d[..., 1] * sy
        right = -d[..., 0] * sy + d[..., 1] * cy
        depth = -along * cp - d[..., 2] * sp
        up = -along * sp + d[..., 2] * cp
        return np.asarray(self.focal_px * np.stack([right, up], axis=-1) / depth[..., None])


@dataclass(frozen=True)
class _Pivot:
    """What the body turns about: its distance from the shoulders, and height over the hands.

    ``shoulders_forward`` of the hands at the top: straight arms stand nearly upright on the
    floor; on raised hands the arms stay across the steeper body.
    """

    radius: float
    height: float
    shoulders_forward: float = 0.04

    def rise(self, shoulder: FloatArray, wrist: FloatArray) -> FloatArray:
        """(M,) sine of the inclination of the line to the shoulders."""
        over = shoulder[:, 2] - wrist[:, 2] - self.height
        return np.asarray(np.clip(over / self.radius, -0.95, 0.95))


def front_scene(
    points_px: Mapping[str, FloatArray],
    in_position: BoolArray,
    width: int,
    height: int,
    hands_above_feet: float = 0.0,
    on_knees: bool = False,
) -> FrontScene:
    """Place both arms in space from smoothed image points (M, 2) of a front view.

    ``hands_above_feet``, in arm lengths, is positive on raised hands and negative with raised
    feet; the picture cannot tell it from the camera's pitch, so it comes from the user or a side
    view. Unseen ankles leave the camera at a usual pitch, unseen hips the trunk on the line from
    shoulders to feet.
    """
    forward = 0.04 - 0.17 * max(hands_above_feet, 0.0)
    feet = _Pivot(SHOULDER_TO_ANKLE, ANKLE_ABOVE_WRIST - hands_above_feet, forward)
    pivot = feet
    if on_knees:
        pivot = _Pivot(SHOULDER_TO_KNEE, KNEE_ABOVE_WRIST - hands_above_feet, forward)
    centre = np.array([width / 2, height / 2])
    focal_px = USUAL_FOCAL_PER_LONG_SIDE * max(width, height)
    known = {n: points_px[n] for n in _POINTS if n in points_px and _ever_seen(points_px[n])}
    if not in_position.any() or not all(f"{s}_{j}" in known for s in SIDES for j in _ARM):
        return _nothing_seen(len(in_position))
    image = _levelled(known, in_position, centre)
    px = {s: np.linalg.norm(image[f"{s}_shoulder"] - image[f"{s}_wrist"], axis=1) for s in SIDES}
    reach_px = np.where(in_position, (px["left"] + px["right"]) / 2, np.nan)
    top: BoolArray = reach_px >= _TOP_SHARE * float(np.nanpercentile(reach_px, 95))
    px_per_arm = float(np.nanmedian(reach_px[top]))
    if not all(np.isfinite(image[f"{s}_{j}"][top]).any() for s in SIDES for j in _ARM):
        return _nothing_seen(len(in_position))
    # How straight the straightest arms are decides how long they are. A few rounds settle it, on
    # a quarter of the frames; the last looks at all.
    some = {name: points[::4] for name, points in image.items()}
    rough = _Settled(float(USUAL_TOP_BEND), 0.0, dict.fromkeys(SIDES, 0.0))
    at_top = {name: np.nanmedian(points[top], axis=0) for name, points in image.items()}
    guess = np.array([focal_px / px_per_arm, np.radians(6), 0.0])
    for frames, at in ((some, top[::4]), (some, top[::4]), (image, top)):
        camera = _find_camera(at_top, focal_px, feet, rough.bend_top, guess)
        guess = np.array([camera.distance, camera.pitch, camera.yaw])
        wrist = {s: camera.at_depth(frames[f"{s}_wrist"], 0.0) for s in SIDES}
        shoulder = {
            s: _shoulder_on_its_arc(
                camera, frames[f"{s}_shoulder"], wrist[s], at_top[f"{s}_shoulder"], pivot
            )
            for s in SIDES
        }
        beside = {
            s: _beside(camera, frames[f"{s}_elbow"], shoulder[s], wrist[s], s, rough.bias[s])
            for s in SIDES
        }
        bend_top = rough.bend_top
        rough = _settle(beside, at if at.any() else np.ones(len(at), dtype=bool))

    settled = rough
    reach = {s: _reach(shoulder[s], wrist[s], top, bend_top) for s in SIDES}
    axis = _trunk_axis(camera, image, shoulder, wrist, pivot)
    angle, flare = {}, {}
    for s in SIDES:
        angle[s], _ = _elbow_deg(
            reach[s], beside[s].offset - settled.bias[s], beside[s].share, settled
        )
        upper = beside[s].elbow - shoulder[s]
        cosine = np.einsum("ij,ij->i", upper, axis) / np.linalg.norm(upper, axis=1)
        flare[s] = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    both, both_half_width = _elbow_deg(
        (reach["left"] + reach["right"]) / 2,
        np.mean([beside[s].offset - settled.bias[s] for s in SIDES], axis=0),
        np.mean([beside[s].share for s in SIDES], axis=0),
        settled,
    )
    return FrontScene(
        shoulder=shoulder,
        wrist=wrist,
        both_elbows_deg=both,
        both_elbows_plus_minus_deg=both_half_width,
        elbow_deg=angle,
        flare_deg=flare,
        top=top,
        pitch_deg=float(np.degrees(camera.pitch)),
        yaw_deg=float(np.degrees(camera.yaw)),
    )


@dataclass(frozen=True)
class _Settled:
    """Bend (rad) of the straightest arms, its SD, and how far out each elbow landmark errs."""

    bend_top: float
    bend_top_sd: float
    bias: Mapping[str, float]


def _settle(beside: Mapping[str, _Beside], top: BoolArray) -> _Settled:
    seen = {s: float(np.nanmedian(beside[s].offset[top])) for s in SIDES}
    share = float(np.clip(np.mean([np.nanmedian(beside[s].share) for s in SIDES]), 0.2, 1.0))
    bend, sd = bend_at_top(float(np.mean(list(seen.values()))), share)
    expected = float(offset_of(np.array(np.pi - bend))) * share
    return _Settled(bend, sd, {s: TOP_BIAS_SHARE * (seen[s] - expected) for s in SIDES})


def _ever_seen(points: FloatArray) -> bool:
    return bool(np.isfinite(points).any())


def _nothing_seen(frames: int) -> FrontScene:
    point = dict.fromkeys(SIDES, np.full((frames, 3), np.nan))
    curve = dict.fromkeys(SIDES, np.full(frames, np.nan))
    blank = np.full(frames, np.nan)
    return FrontScene(
        shoulder=point,
        wrist=point,
        both_elbows_deg=blank,
        both_elbows_plus_minus_deg=blank,
        elbow_deg=curve,
        flare_deg=curve,
        top=np.zeros(frames, dtype=bool),
        pitch_deg=float("nan"),
        yaw_deg=float("nan"),
    )


def _reach(shoulder: FloatArray, wrist: FloatArray, top: BoolArray, bend_top: float) -> FloatArray:
    """(M,) shoulder-wrist distance, scaled so that both arms are alike when straightest.

    The landmarks of one arm often read 1-2 % shorter, which near a straight arm is 10 degrees.
    """
    span = np.linalg.norm(shoulder - wrist, axis=1)
    straight = float(reach_of(np.array(np.pi - bend_top)))
    return np.asarray(span * straight / np.nanmedian(span[top]))


def _elbow_deg(
    reach: FloatArray, offset: FloatArray, share: FloatArray, settled: _Settled
) -> tuple[FloatArray, FloatArray]:
    """Elbow angle and its 95 % half-width (deg) from the reach and the offset seen sideways.

    How straight the straightest arms were is the same error in every frame: all of it counts
    near the top, little of it at the bottom.
    """
    angle, sd = combine(reach, offset, share)
    scale_sd = 0.5 * np.tan(settled.bend_top / 2) * settled.bend_top_sd + REACH_SCALE_SD
    shared = np.minimum(2 * np.tan(angle / 2) * scale_sd, settled.bend_top_sd)
    return np.degrees(angle), 1.96 * np.degrees(np.hypot(sd, shared))


def _levelled(
    points_px: Mapping[str, FloatArray], in_position: BoolArray, centre: FloatArray
) -> dict[str, FloatArray]:
    """Points right and up of the picture centre, turned so that hands and shoulders are level."""
    across = sum(
        np.nanmedian((points_px[f"left_{j}"] - points_px[f"right_{j}"])[in_position], axis=0)
        for j in ("wrist", "shoulder")
    )
    right = np.asarray(across) / np.linalg.norm(across)
    up = np.array([right[1], -right[0]])
    return {
        name: np.stack([(p - centre) @ right, (p - centre) @ up], axis=-1)
        for name, p in points_px.items()
    }


def _find_camera(
    at_top: Mapping[str, FloatArray],
    focal_px: float,
    feet: _Pivot,
    bend_top: float,
    guess: FloatArray,
) -> _Camera:
    """Distance, pitch and yaw that put straight arms and the feet where a body has them.

    ``at_top`` where each landmark is with straight arms, right and up of the picture's centre.
    """
    hands = np.stack([at_top[f"{s}_wrist"] for s in SIDES])
    shoulders = np.stack([at_top[f"{s}_shoulder"] for s in SIDES])
    ankle = np.full(2, np.nan)
    if "left_ankle" in at_top and "right_ankle" in at_top:
        ankle = np.mean([at_top["left_ankle"], at_top["right_ankle"]], axis=0)
    known_feet = bool(np.isfinite(ankle).all())
    behind = np.sqrt(feet.radius**2 - (1.0 - feet.height) ** 2) - feet.shoulders_forward
    straight = float(reach_of(np.array(np.pi - bend_top)))

    def residuals(p: FloatArray) -> FloatArray:
        camera = _Camera(float(p[0]), float(p[1]), float(p[2]), focal_px)
        w = camera.at_depth(hands, 0.0)
        s = camera.at_depth(shoulders, feet.shoulders_forward)
        span = float(np.linalg.norm(s - w, axis=1).mean())
        misplaced = [0.0, 0.0]
        if known_feet:
            off = camera.at_depth(ankle, -behind) - w.mean(axis=0)
            misplaced = [(off[2] - feet.height) / 0.1, off[1] / 0.15]
        return np.array(
            [
                (span - straight) / 0.005,
                *misplaced,
                (p[1] - np.radians(6)) / np.radians(15),
                p[2] / np.radians(10),
            ]
        )

    if not np.isfinite(residuals(guess)).all():  # what is seen is no body: nothing is found
        return _Camera(float("nan"), float("nan"), float("nan"), focal_px)
    found = least_squares(
        residuals, guess, x_scale=np.array([1.0, 0.1, 0.1]), method="lm", xtol=1e-5, ftol=1e-5
    ).x
    return _Camera(float(found[0]), float(found[1]), float(found[2]), focal_px)


def _shoulder_on_its_arc(
    camera: _Camera,
    shoulder_image: FloatArray,
    wrist: FloatArray,
    at_top: FloatArray,
    pivot: _Pivot,
) -> FloatArray:
    """(M, 3) the shoulder; it swings about the feet, so going down it also goes forward.

    ``at_top`` (2,) its picture with straight arms.
    """
    hand = np.nanmedian(wrist, axis=0, keepdims=True)
    high = camera.at_depth(at_top[None], pivot.shoulders_forward)
    reach_top = pivot.radius * float(np.sqrt(1 - pivot.rise(high, hand)[0] ** 2))
    where = camera.at_depth(shoulder_image, pivot.shoulders_forward)
    for _ in range(2):
        reach = pivot.radius * np.sqrt(1 - pivot.rise(where, wrist) ** 2)
        where = camera.at_depth(shoulder_image, pivot.shoulders_forward + reach - reach_top)
    return where


def _trunk_axis(
    camera: _Camera,
    image: Mapping[str, FloatArray],
    shoulder: Mapping[str, FloatArray],
    wrist: Mapping[str, FloatArray],
    pivot: _Pivot,
) -> FloatArray:
    """(M, 3) unit vector from shoulders to hips: half the line to the feet, half the hips seen.

    Hip landmarks are poor from the front, and a sagging or piked trunk leaves the line.
    """
    middle = (shoulder["left"] + shoulder["right"]) / 2
    rise = pivot.rise(middle, (wrist["left"] + wrist["right"]) / 2)
    if "left_hip" in image and "right_hip" in image:
        seen = (image["left_hip"] + image["right_hip"]) / 2
        behind = middle[:, 0] - SHOULDER_TO_HIP * np.sqrt(1 - rise**2)
        hip = camera.at_depth(seen, behind)[:, 2] + HIP_LANDMARK_BELOW
        by_hip = np.clip((middle[:, 2] - hip) / SHOULDER_TO_HIP, -0.7, 0.7)
        rise = np.where(np.isfinite(by_hip), (rise + by_hip) / 2, rise)
    return np.stack([-np.sqrt(1 - rise**2), np.zeros_like(rise), -rise], axis=-1)


@dataclass(frozen=True)
class _Beside:
    """Elbow of one arm (M, 3); ``offset`` (M,) from the line shoulder to wrist, sideways, as
    seen; ``share`` (M,) of the whole offset that is sideways, from where the arm is bent."""

    elbow: FloatArray
    offset: FloatArray
    share: FloatArray


def _beside(
    camera: _Camera,
    elbow_image: FloatArray,
    shoulder: FloatArray,
    wrist: FloatArray,
    side: str,
    bias: float,
) -> _Beside:
    """The elbow in space: it can only turn about the line from shoulder to wrist.

    It is put where the picture of its circle comes near the landmark, from straight back (along
    the trunk) to straight out. ``bias`` is how far, in arm lengths,
    the landmark lies too far out.
    """
    foot, radius, back, out = _elbow_circle(shoulder, wrist)
    outward = 1.0 if side == "left" else -1.0
    out = out * outward
    shift = np.array([bias * outward * camera.focal_px / camera.distance, 0.0])
    target = elbow_image - shift
    turns = np.radians(np.arange(-30.0, 96.0, 5.0))  # 0 straight back, 90 straight out

    def place(turn: FloatArray) -> FloatArray:
        return np.asarray(
            foot + radius[:, None] * (np.cos(turn)[:, None] * back + np.sin(turn)[:, None] * out)
        )

    miss = np.stack(
        [
            np.sum((camera.project(place(np.full(len(foot), turn))) - target) ** 2, axis=1)
            for turn in turns
        ]
    )
    seen = np.isfinite(miss).all(axis=0)
    # The mean over all places that the landmark's noise allows: straight out, where turning
    # hardly moves the picture of the elbow, the nearest place alone would overshoot.
    noise_px = ELBOW_SD * camera.focal_px / camera.distance
    likely = np.exp(-0.5 * (miss - miss.min(axis=0)) / noise_px**2)
    with np.errstate(invalid="ignore"):
        turn = np.nan_to_num(turns @ likely / likely.sum(axis=0))
    elbow = np.where(seen[:, None], place(turn), np.nan)

    columns = np.arange(len(foot))
    bent = seen & (radius > 0.6 * np.nanmax(radius))
    shares = np.interp(columns, columns[bent], np.sin(turn)[bent]) if bent.any() else 0.7
    share = np.clip(np.broadcast_to(shares, radius.shape), -0.3, 1.0)
    depth = foot[:, 0] - radius * np.sqrt(1 - share**2)
    offset = np.einsum("ij,ij->i", camera.at_depth(elbow_image, depth) - foot, out)
    return _Beside(elbow, offset, share)


def _elbow_circle(
    shoulder: FloatArray, wrist: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Centre (M, 3), radius (M,) of the elbow's circle; unit vectors to the feet and the left."""
    line = wrist - shoulder
    along = line / np.linalg.norm(line, axis=1)[:, None]
    span = np.clip(np.linalg.norm(line, axis=1), 0.05, 0.9999)
    from_shoulder = (UPPER**2 + span**2 - FOREARM**2) / (2 * span)
    radius = np.sqrt(np.clip(UPPER**2 - from_shoulder**2, 0.0, None))
    left = np.array([0.0, 1.0, 0.0]) - along[:, 1:2] * along
    left /= np.linalg.norm(left, axis=1)[:, None]
    back = np.cross(left, along)
    back *= np.where(back[:, :1] > 0, -1.0, 1.0)
    return shoulder + from_shoulder[:, None] * along, radius, back, left
