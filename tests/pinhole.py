"""A push-up set of known angles, filmed by a pinhole camera: tracks whose answers are exact.

Lengths are in arm lengths until the camera sees them. The body turns about its ankles as a
straight line; the hands are planted; elbow angle, flare and hand spacing are prescribed, and
every joint follows from them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack

FloatArray = npt.NDArray[np.float64]

UPPER_ARM, FOREARM = 0.525, 0.475
SHOULDER_WIDTH, HIP_WIDTH = 0.65, 0.34
TO_HIP, TO_KNEE, TO_ANKLE = 0.93, 1.70, 2.52
ANKLE_HEIGHT = 0.30  # above the wrists


@dataclass(frozen=True)
class Camera:
    """``yaw_deg`` 0 the person's left side, 90 head on, 180 the right side, -90 from behind.

    ``distance`` to ``aim`` (x towards the head from the hands, z up) and ``height`` of the
    camera, in arm lengths; ``long_side_focal`` focal length over the long side of the picture.
    """

    yaw_deg: float = 90.0
    distance: float = 4.8
    height: float = 1.2
    aim: tuple[float, float] = (0.0, 0.7)
    roll_deg: float = 0.0
    long_side_focal: float = 0.85
    width: int = 1280
    height_px: int = 720

    def picture(self, points: FloatArray) -> FloatArray:
        """(..., 2) pixels of points (..., 3)."""
        yaw = np.radians(self.yaw_deg)
        aim = np.array([self.aim[0], 0.0, self.aim[1]])
        eye = aim + self.distance * np.array([np.sin(yaw), np.cos(yaw), 0.0])
        eye[2] = self.height
        ahead = (aim - eye) / np.linalg.norm(aim - eye)
        right = np.cross(ahead, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        up = np.cross(right, ahead)
        roll = np.radians(self.roll_deg)
        right, up = (
            np.cos(roll) * right + np.sin(roll) * up,
            np.cos(roll) * up - np.sin(roll) * right,
        )
        focal = self.long_side_focal * max(self.width, self.height_px)
        away = points - eye
        depth = away @ ahead
        return np.stack(
            [
                self.width / 2 + focal * (away @ right) / depth,
                self.height_px / 2 - focal * (away @ up) / depth,
            ],
            axis=-1,
        )


@dataclass(frozen=True)
class PushUpSet:
    """Reps by their bottom elbow angles. Phase times in seconds; ``rep_seconds`` scales each rep.

    ``flare_deg`` one value, or one a rep; ``right_bend_less_deg`` how much straighter the right
    arm stays at every bottom.
    """

    bottoms_deg: Sequence[float] = (80.0, 80.0, 80.0)
    flare_deg: float | Sequence[float] = 50.0
    hand_spacing: float = 1.35
    top_deg: float = 170.0
    lead_s: float = 1.5
    phases_s: tuple[float, float, float, float] = (1.6, 0.6, 0.8, 0.6)
    rep_seconds: Sequence[float] = field(default_factory=tuple)
    right_bend_less_deg: float = 0.0

    def bottoms_s(self) -> list[float]:
        """Middle of every bottom pause."""
        begin, out = self.lead_s, []
        for factor in self._factors():
            down, hold, _, _ = (factor * phase for phase in self.phases_s)
            out.append(begin + down + hold / 2)
            begin += factor * sum(self.phases_s)
        return out

    def duration_s(self) -> float:
        return self.lead_s + sum(self._factors()) * sum(self.phases_s) + 1.5

    def _factors(self) -> list[float]:
        return list(self.rep_seconds) or [1.0] * len(self.bottoms_deg)

    def elbow_deg(self, t_s: FloatArray) -> FloatArray:
        """Prescribed (left) elbow angle, minimum jerk within a phase."""
        angle = np.full(len(t_s), self.top_deg)
        begin = self.lead_s
        for bottom, factor in zip(self.bottoms_deg, self._factors(), strict=True):
            down, hold, up, top = (factor * phase for phase in self.phases_s)
            u = np.clip((t_s - begin) / down, 0, 1)
            v = np.clip((t_s - begin - down - hold) / up, 0, 1)
            angle -= (self.top_deg - bottom) * (_smooth(u) - _smooth(v))
            begin += down + hold + up + top
        return angle

    def film(
        self,
        camera: Camera,
        fps: float = 30.0,
        started_s: float = 0.0,
        stopped_s: float | None = None,
        noise_px: float = 0.0,
        seed: int = 0,
    ) -> PoseTrack:
        """The set as one camera saw it between two moments of the set."""
        t_s = np.arange(started_s, stopped_s or self.duration_s(), 1.0 / fps)
        joints = self.joints(t_s)
        xy = np.full((len(t_s), len(LANDMARKS), 2), np.nan)
        for name, where in joints.items():
            xy[:, INDEX[name]] = camera.picture(where)
        xy += np.random.default_rng(seed).normal(0.0, noise_px, xy.shape)
        return PoseTrack(
            t_s=t_s - started_s,
            xy_px=xy,
            visibility=np.where(np.isfinite(xy[..., 0]), 0.95, np.nan),
            world_m=None,
            width=camera.width,
            height=camera.height_px,
            fps=fps,
            duration_s=len(t_s) / fps,
            frames=len(t_s),
            source_name="pinhole",
        )

    def joints(self, t_s: FloatArray) -> dict[str, FloatArray]:
        """(N, 3) of every joint."""
        bend = self.elbow_deg(t_s)
        half_hands = self.hand_spacing * SHOULDER_WIDTH / 2
        aside = half_hands - SHOULDER_WIDTH / 2
        height, forward = _shoulder(bend, aside)
        rise = (height - ANKLE_HEIGHT) / TO_ANKLE
        axis = np.stack([-np.sqrt(1 - rise**2), np.zeros_like(rise), -rise], axis=-1)
        middle = np.stack([forward, np.zeros_like(height), height], axis=-1)
        out: dict[str, FloatArray] = {}
        turn = self._turn(t_s)
        for side, sign in (("left", 1.0), ("right", -1.0)):
            shoulder = middle + np.array([0.0, sign * SHOULDER_WIDTH / 2, 0.0])
            wrist = np.broadcast_to([0.0, sign * half_hands, 0.0], shoulder.shape)
            out[f"{side}_shoulder"], out[f"{side}_wrist"] = shoulder, wrist
            out[f"{side}_elbow"] = _elbow(shoulder, wrist, turn, sign)
            for joint, along, width in (
                ("hip", TO_HIP, HIP_WIDTH),
                ("knee", TO_KNEE, 0.7 * HIP_WIDTH),
                ("ankle", TO_ANKLE, 0.6 * HIP_WIDTH),
            ):
                out[f"{side}_{joint}"] = middle + along * axis + [0.0, sign * width / 2, 0.0]
            out[f"{side}_ear"] = middle - 0.35 * axis + [0.0, sign * 0.15, 0.05]
        if self.right_bend_less_deg:
            # The right hand stands on something: it is nearer its shoulder's height, lower bend.
            raised = self._right_hand_lower(bend, aside, height)
            out["right_shoulder"] = out["right_shoulder"] + raised[:, None] * [0.0, 0.0, 1.0]
            out["right_elbow"] = _elbow(out["right_shoulder"], out["right_wrist"], turn, -1.0)
        out["nose"] = middle - 0.45 * axis
        return out

    def _right_hand_lower(self, bend: FloatArray, aside: float, height: FloatArray) -> FloatArray:
        depth = (self.top_deg - bend) / (self.top_deg - min(self.bottoms_deg))
        other, _ = _shoulder(bend + self.right_bend_less_deg * depth, aside)
        return np.asarray(other - height)

    def _turn(self, t_s: FloatArray) -> FloatArray:
        """How far the elbows turn out, so that every rep has its flare at the bottom.

        The arm keeps its plane through a rep, and changes it slowly from one rep to the next.
        """
        flares = np.broadcast_to(np.asarray(self.flare_deg, dtype=float), (len(self.bottoms_deg),))
        aside = (self.hand_spacing - 1) * SHOULDER_WIDTH / 2
        height, forward = _shoulder(np.asarray(self.bottoms_deg, dtype=float), aside)
        rise = (height - ANKLE_HEIGHT) / TO_ANKLE
        axis = np.stack([-np.sqrt(1 - rise**2), np.zeros_like(rise), -rise], axis=-1)
        shoulder = np.stack([forward, np.full_like(height, SHOULDER_WIDTH / 2), height], axis=-1)
        wrist = np.broadcast_to([0.0, SHOULDER_WIDTH / 2 + aside, 0.0], shoulder.shape)
        tries = np.radians(np.linspace(0.0, 100.0, 1001))
        shoulders, wrists = np.tile(shoulder, (len(tries), 1)), np.tile(wrist, (len(tries), 1))
        upper = _elbow(shoulders, wrists, np.repeat(tries, len(flares)), 1.0) - shoulders
        away = np.sum(upper.reshape(len(tries), -1, 3) * axis, axis=-1) / UPPER_ARM
        best = tries[np.argmin(np.abs(np.degrees(np.arccos(away)) - flares), axis=0)]
        return np.asarray(np.interp(t_s, self.bottoms_s(), best))


def _smooth(u: FloatArray) -> FloatArray:
    return np.asarray(10 * u**3 - 15 * u**4 + 6 * u**5)


def _shoulder(elbow_deg: FloatArray, aside: float) -> tuple[FloatArray, FloatArray]:
    """Height over and distance before the hands of a shoulder swinging about the ankles."""
    cosine = np.cos(np.radians(elbow_deg))
    span2 = UPPER_ARM**2 + FOREARM**2 - 2 * UPPER_ARM * FOREARM * cosine
    forward = np.full(len(elbow_deg), 0.04)
    height = np.sqrt(span2 - aside**2 - forward**2)
    ankle_x = 0.04 - np.sqrt(TO_ANKLE**2 - (0.99 - ANKLE_HEIGHT) ** 2)
    for _ in range(20):
        forward = ankle_x + np.sqrt(TO_ANKLE**2 - (height - ANKLE_HEIGHT) ** 2)
        height = np.sqrt(span2 - aside**2 - forward**2)
    return height, forward


def _elbow(shoulder: FloatArray, wrist: FloatArray, turn: FloatArray, sign: float) -> FloatArray:
    """The elbow, turned from straight back (0) to straight out about the line to the wrist."""
    line = wrist - shoulder
    span = np.linalg.norm(line, axis=1)
    along = line / span[:, None]
    part = (UPPER_ARM**2 - FOREARM**2 + span**2) / (2 * span)
    radius = np.sqrt(np.maximum(UPPER_ARM**2 - part**2, 0.0))
    out = np.array([0.0, sign, 0.0]) - sign * along[:, 1:2] * along
    out /= np.linalg.norm(out, axis=1)[:, None]
    back = np.cross(out, along)
    back *= np.where(back[:, :1] > 0, -1.0, 1.0)
    aside = np.cos(turn)[:, None] * back + np.sin(turn)[:, None] * out
    return np.asarray(shoulder + part[:, None] * along + radius[:, None] * aside)
