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
import numpy.typing as npt
from scipy.optimize import least_squares

from formcheck.views import USUAL_FOCAL_PER_LONG_SIDE

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# Proportions, per arm length. Upper arm: 0.511 (de Leva 1996, joint centres) to 0.560 (Drillis
# and Contini 1966). Shoulders to ankles: trunk, thigh and shank of de Leva 1996 give 2.42
# (women) and 2.50 (men); the shoulders reach forward a little under load.
UPPER_ARM = 0.525
FOREARM = 1.0 - UPPER_ARM
SHOULDER_TO_ANKLE = 2.52
ANKLE_ABOVE_WRIST = 0.30  # on the toes, hands on the floor
SHOULDERS_BEFORE_HANDS_TOP = 0.04  # straight arms stand nearly upright
USUAL_TOP_DEG = 170.0  # arms meant to be straight, before anything is seen of them
USUAL_TOP_SD_DEG = 6.0
SPAN_PLUS_MINUS = 0.035  # of shoulder to wrist, as found on rendered front clips
ELBOW_OFFSET_SD = 0.025  # of an elbow landmark from the line shoulder to wrist, sideways

SIDES = ("left", "right")
_TOP_SHARE = 0.97  # frames with the shoulders this near to their highest are at the top


@dataclass(frozen=True)
class FrontScene:
    """Shoulder, elbow and wrist of both arms in space, (M, 3) each, and what follows.

    ``both_elbows_deg`` (M,) the three-dimensional elbow angle of both arms together,
    ``elbow_deg`` of each, by "left" and "right", as all that follow; ``elbow_plus_minus_deg``
    its 95 % half-width, ``flare_deg`` upper arm against the trunk axis.
    ``trunk_axis`` (M, 3) unit vector from the shoulders to the hips.
    ``pitch_deg`` the camera looks down by, ``yaw_deg`` it stands to the person's left of
    straight ahead, ``distance`` to the hands.
    """

    shoulder: Mapping[str, FloatArray]
    elbow: Mapping[str, FloatArray]
    wrist: Mapping[str, FloatArray]
    both_elbows_deg: FloatArray
    elbow_deg: Mapping[str, FloatArray]
    elbow_plus_minus_deg: Mapping[str, FloatArray]
    flare_deg: Mapping[str, FloatArray]
    trunk_axis: FloatArray
    top: BoolArray
    pitch_deg: float
    yaw_deg: float
    distance: float
    px_per_arm: float


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


def front_scene(
    points_px: Mapping[str, FloatArray],
    in_position: BoolArray,
    width: int,
    height: int,
    ankle_above_wrist: float = ANKLE_ABOVE_WRIST,
) -> FrontScene:
    """Place both arms in space from smoothed image points (M, 2) of a front view.

    ``ankle_above_wrist``, in arm lengths, is what the supports say: 0.30 on the floor, less
    with raised hands, more with raised feet. Unseen ankles leave the camera at a usual pitch.
    """
    centre = np.array([width / 2, height / 2])
    focal_px = USUAL_FOCAL_PER_LONG_SIDE * max(width, height)
    image = _levelled(points_px, in_position, centre)
    px = {s: np.linalg.norm(image[f"{s}_shoulder"] - image[f"{s}_wrist"], axis=1) for s in SIDES}
    reach_px = np.where(in_position, (px["left"] + px["right"]) / 2, np.nan)
    top: BoolArray = reach_px >= _TOP_SHARE * float(np.nanpercentile(reach_px, 95))
    px_per_arm = float(np.nanmedian(reach_px[top]))
    top_deg = USUAL_TOP_DEG
    for _ in range(2):  # how straight the straightest arms are decides how long they are
        camera = _find_camera(image, top, focal_px, px_per_arm, ankle_above_wrist, top_deg)
        wrist = {s: camera.at_depth(image[f"{s}_wrist"], 0.0) for s in SIDES}
        shoulder = {
            s: _shoulder_on_its_arc(camera, image, wrist, s, top, ankle_above_wrist) for s in SIDES
        }
        top_deg, top_sd_deg = _straightest_deg(camera, image, shoulder, wrist, top)
    straight = {s: _as_long_as_the_other(shoulder[s], wrist[s], top, top_deg) for s in SIDES}
    elbow, angle, half_width, flare = {}, {}, {}, {}
    middle = (shoulder["left"] + shoulder["right"]) / 2
    floor = (wrist["left"][:, 2] + wrist["right"][:, 2]) / 2
    rise = np.clip((middle[:, 2] - floor - ankle_above_wrist) / SHOULDER_TO_ANKLE, -0.95, 0.95)
    axis = np.stack([-np.sqrt(1 - rise**2), np.zeros_like(rise), -rise], axis=-1)
    for s in SIDES:
        span = straight[s]
        angle[s] = elbow_from_span_deg(span)
        half_width[s] = _plus_minus_deg(span, angle[s], 2 * top_sd_deg)
        elbow[s] = _elbow_on_its_circle(camera, image[f"{s}_elbow"], shoulder[s], wrist[s], s)
        upper = elbow[s] - shoulder[s]
        cosine = np.einsum("ij,ij->i", upper, axis) / np.linalg.norm(upper, axis=1)
        flare[s] = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    both = elbow_from_span_deg((straight["left"] + straight["right"]) / 2)
    return FrontScene(
        shoulder, elbow, wrist, both, angle, half_width, flare, axis, top,
        float(np.degrees(camera.pitch)), float(np.degrees(camera.yaw)), camera.distance, px_per_arm,
    )  # fmt: skip


def _as_long_as_the_other(
    shoulder: FloatArray, wrist: FloatArray, top: BoolArray, top_deg: float
) -> FloatArray:
    """(M,) shoulder-wrist distance, scaled so that both arms are alike when straightest.

    The landmarks of one arm often read 1-2 % shorter, which near a straight arm is 10 degrees.
    """
    span = np.linalg.norm(shoulder - wrist, axis=1)
    return np.asarray(span * span_at(top_deg) / np.nanmedian(span[top]))


def elbow_from_span_deg(span: FloatArray) -> FloatArray:
    """Elbow angle from the shoulder-wrist distance in arm lengths, by the law of cosines."""
    cosine = (UPPER_ARM**2 + FOREARM**2 - span**2) / (2 * UPPER_ARM * FOREARM)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def span_at(elbow_deg: float) -> float:
    """Shoulder-wrist distance in arm lengths at an elbow angle."""
    cosine = np.cos(np.radians(elbow_deg))
    return float(np.sqrt(UPPER_ARM**2 + FOREARM**2 - 2 * UPPER_ARM * FOREARM * cosine))


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
    image: Mapping[str, FloatArray],
    top: BoolArray,
    focal_px: float,
    px_per_arm: float,
    ankle_above_wrist: float,
    top_deg: float,
) -> _Camera:
    """Distance, pitch and yaw that put straight arms and the feet where a body has them."""

    def at_top(name: str) -> FloatArray:
        return np.asarray(np.nanmedian(image[name][top], axis=0))

    hands = np.stack([at_top(f"{s}_wrist") for s in SIDES])
    shoulders = np.stack([at_top(f"{s}_shoulder") for s in SIDES])
    ankle = np.full(2, np.nan)
    if "left_ankle" in image and "right_ankle" in image:
        ankle = np.mean([at_top("left_ankle"), at_top("right_ankle")], axis=0)
    known_feet = bool(np.isfinite(ankle).all())
    behind = np.sqrt(SHOULDER_TO_ANKLE**2 - (1.0 - ankle_above_wrist) ** 2)
    behind -= SHOULDERS_BEFORE_HANDS_TOP

    def residuals(p: FloatArray) -> FloatArray:
        camera = _Camera(float(p[0]), float(p[1]), float(p[2]), focal_px)
        w = camera.at_depth(hands, 0.0)
        s = camera.at_depth(shoulders, SHOULDERS_BEFORE_HANDS_TOP)
        span = float(np.linalg.norm(s - w, axis=1).mean())
        feet = [0.0, 0.0]
        if known_feet:
            off = camera.at_depth(ankle, -behind) - w.mean(axis=0)
            feet = [(off[2] - ankle_above_wrist) / 0.1, off[1] / 0.15]
        return np.array(
            [
                (span - span_at(top_deg)) / 0.005,
                *feet,
                (p[1] - np.radians(6)) / np.radians(15),
                p[2] / np.radians(10),
            ]
        )

    start = np.array([focal_px / px_per_arm, np.radians(6), 0.0])
    found = least_squares(residuals, start, x_scale=np.array([1.0, 0.1, 0.1])).x
    return _Camera(float(found[0]), float(found[1]), float(found[2]), focal_px)


def _shoulder_on_its_arc(
    camera: _Camera,
    image: Mapping[str, FloatArray],
    wrist: Mapping[str, FloatArray],
    side: str,
    top: BoolArray,
    ankle_above_wrist: float,
) -> FloatArray:
    """(M, 3) the shoulder; it swings about the feet, so going down it also goes forward."""
    x: FloatArray | float = SHOULDERS_BEFORE_HANDS_TOP
    where = camera.at_depth(image[f"{side}_shoulder"], x)
    for _ in range(2):
        rise = where[:, 2] - wrist[side][:, 2] - ankle_above_wrist
        reach = np.sqrt(np.clip(SHOULDER_TO_ANKLE**2 - rise**2, 0.0, None))
        x = SHOULDERS_BEFORE_HANDS_TOP + reach - float(np.nanmedian(reach[top]))
        where = camera.at_depth(image[f"{side}_shoulder"], x)
    return where


def _elbow_on_its_circle(
    camera: _Camera, elbow_image: FloatArray, shoulder: FloatArray, wrist: FloatArray, side: str
) -> FloatArray:
    """(M, 3) the elbow: it can only turn about the line from shoulder to wrist.

    The place on that circle whose picture is nearest to the elbow landmark, from straight back
    (along the trunk) to straight out and a little beyond.
    """
    foot, radius, back, out = _elbow_circle(shoulder, wrist, side)
    turns = np.radians(np.arange(-30.0, 106.0, 5.0))  # 0 straight back, 90 straight out

    def place(turn: FloatArray) -> FloatArray:
        return np.asarray(
            foot + radius[:, None] * (np.cos(turn)[:, None] * back + np.sin(turn)[:, None] * out)
        )

    miss = np.stack(
        [
            np.sum((camera.project(place(np.full(len(foot), turn))) - elbow_image) ** 2, axis=1)
            for turn in turns
        ]
    )
    seen = np.isfinite(miss).all(axis=0)
    nearest = np.argmin(np.where(seen, miss, 0.0), axis=0)
    inner, columns = np.clip(nearest, 1, len(turns) - 2), np.arange(len(foot))
    before, at, after = (miss[inner + k, columns] for k in (-1, 0, 1))
    with np.errstate(invalid="ignore", divide="ignore"):  # vertex of the parabola through three
        vertex = np.where(nearest == inner, (before - after) / (2 * (before - 2 * at + after)), 0.0)
    best = turns[nearest] + np.nan_to_num(vertex) * (turns[1] - turns[0])
    return np.where(seen[:, None], place(best), np.nan)


def _elbow_circle(
    shoulder: FloatArray, wrist: FloatArray, side: str
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Centre (M, 3), radius (M,) of the elbow's circle; unit vectors to the feet and outward."""
    line = wrist - shoulder
    span = np.clip(np.linalg.norm(line, axis=1), 0.05, span_at(179.0))
    along = line / np.linalg.norm(line, axis=1)[:, None]
    from_shoulder = (UPPER_ARM**2 + span**2 - FOREARM**2) / (2 * span)
    radius = np.sqrt(np.clip(UPPER_ARM**2 - from_shoulder**2, 0.0, None))
    outward = np.array([0.0, 1.0 if side == "left" else -1.0, 0.0])
    out = outward - (along @ outward)[:, None] * along
    out /= np.linalg.norm(out, axis=1)[:, None]
    back = np.cross(out, along)
    back *= np.where(back[:, :1] > 0, -1.0, 1.0)
    return shoulder + from_shoulder[:, None] * along, radius, back, out


def _straightest_deg(
    camera: _Camera,
    image: Mapping[str, FloatArray],
    shoulder: Mapping[str, FloatArray],
    wrist: Mapping[str, FloatArray],
    top: BoolArray,
) -> tuple[float, float]:
    """Elbow angle of the straightest arms and its SD, from how far the elbows stick out then.

    The arm keeps its plane over a rep, and deep in the rep that plane shows: what part of the
    elbow's circle is sideways. At the top the sideways part then tells the whole.
    """
    estimates, weights = [USUAL_TOP_DEG], [USUAL_TOP_SD_DEG**-2]
    for side in SIDES:
        span = np.linalg.norm(shoulder[side] - wrist[side], axis=1)
        deep = span <= np.nanpercentile(span, 15)
        if float(np.nanmedian(span[deep])) > 0.85:
            continue  # hardly bent: the plane does not show
        s, w, e = shoulder[side][deep], wrist[side][deep], image[f"{side}_elbow"][deep]
        foot, radius, _, out = _elbow_circle(s, w, side)
        elbow = _elbow_on_its_circle(camera, e, s, w, side)
        sideways_share = float(
            np.nanmedian(np.einsum("ij,ij->i", elbow - foot, out) / np.maximum(radius, 1e-6))
        )
        if sideways_share < 0.3:
            continue
        foot, radius, _, out = _elbow_circle(shoulder[side][top], wrist[side][top], side)
        seen = camera.at_depth(image[f"{side}_elbow"][top], foot[:, 0] - radius * 0.7)
        offset = float(np.nanmedian(np.einsum("ij,ij->i", seen - foot, out)))
        whole = np.clip(offset / sideways_share, 0.0, 0.35)
        bend = 2 * np.degrees(np.arcsin(np.clip(whole / (2 * UPPER_ARM * FOREARM), 0, 0.95)))
        estimates.append(180.0 - bend)
        sd = np.degrees(ELBOW_OFFSET_SD / sideways_share / (UPPER_ARM * FOREARM))
        weights.append(sd**-2 / 2)  # both arms err alike
    return float(np.average(estimates, weights=weights)), float(np.sum(weights) ** -0.5)


def _plus_minus_deg(
    span: FloatArray, elbow_deg: FloatArray, straightest_plus_minus_deg: float
) -> FloatArray:
    """Half-width from an uncertain span: small when bent, at most that of the straightest arm."""
    slope = span / (UPPER_ARM * FOREARM * np.maximum(np.sin(np.radians(elbow_deg)), 0.1))
    return np.asarray(
        np.minimum(np.degrees(slope * SPAN_PLUS_MINUS), straightest_plus_minus_deg + 3.0)
    )
