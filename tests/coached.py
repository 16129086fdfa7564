"""Sets as a coach sees them: reps that fail, stall or sag, pulses, rests, archer and one-arm work.

The body and the camera are those of ``tests.pinhole``; what it does is a course of moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from formcheck.pose.track import PoseTrack
from tests.pinhole import (
    ANKLE_HEIGHT,
    HIP_WIDTH,
    SHOULDER_WIDTH,
    TO_ANKLE,
    TO_HIP,
    TO_KNEE,
    Camera,
    PushUpSet,
    _elbow,
    _shoulder,
    _smooth,
)

FloatArray = npt.NDArray[np.float64]
Move = tuple[float, float]  # seconds, and the elbow angle (deg) that it goes to

FROM_THE_SIDE = Camera(yaw_deg=0.0, height=0.7, aim=(-1.2, 0.5))
FROM_THE_FRONT = Camera()
TOP_DEG = 170.0


def rep(
    bottom_deg: float = 80.0,
    down_s: float = 1.5,
    bottom_s: float = 0.4,
    up_s: float = 0.8,
    top_s: float = 0.7,
    top_deg: float = TOP_DEG,
) -> list[Move]:
    """One rep as moves."""
    return [(down_s, bottom_deg), (bottom_s, bottom_deg), (up_s, top_deg), (top_s, top_deg)]


def reps(count: int, **phases: float) -> list[Move]:
    """So many reps alike."""
    return rep(**phases) * count


STAYS_DOWN: list[Move] = [(1.5, 80.0), (4.5, 80.0)]
SINKS_BACK: list[Move] = [(1.5, 80.0), (0.4, 80.0), (1.4, 116.0), (1.0, 80.0), (2.5, 80.0)]
STALLS_HALF_WAY: list[Move] = [(1.5, 80.0), (0.4, 80.0), (1.2, 116.0), (3.5, 117.0)]
PULSES: list[Move] = [
    (1.5, 80.0), (0.3, 80.0), (0.4, 110.0), (0.4, 80.0), (0.4, 110.0), (0.4, 80.0), (0.3, 80.0),
    (0.8, TOP_DEG), (0.7, TOP_DEG),
]  # fmt: skip


@dataclass(frozen=True)
class Coached(PushUpSet):
    """A set of moves. ``sag_deg`` of the hips below the line (+) at each low point, none: straight.

    ``always_sag_deg`` from the first moment to the last, tops and all.
    ``working`` the bent arm at each low point, for archer and one-arm work.
    """

    course: Sequence[Move] = ()
    sag_deg: Sequence[float] = ()
    always_sag_deg: float = 0.0
    arms: Literal["two", "archer", "one"] = "two"
    working: Sequence[Literal["left", "right"]] = ()

    def _keys(self) -> tuple[FloatArray, FloatArray]:
        """Times and elbow angles between which the moves run."""
        lasts, goals = zip((self.lead_s, self.top_deg), *self.course, strict=True)
        return np.concatenate([[0.0], np.cumsum(lasts)]), np.array([self.top_deg, *goals])

    def _lows(self) -> list[int]:
        """Where the course turns from going down to going up, or stays down for good."""
        _, deg = self._keys()
        lows = []
        for i in range(1, len(deg)):
            ahead = next((d for d in deg[i + 1 :] if d != deg[i]), np.inf)
            if deg[i] < deg[i - 1] and ahead > deg[i]:
                lows.append(i)
        return lows

    def bottoms_s(self) -> list[float]:
        t_s, _ = self._keys()
        return [float(t_s[i]) for i in self._lows()]

    def duration_s(self) -> float:
        return float(self._keys()[0][-1]) + 1.5

    def elbow_deg(self, t_s: FloatArray) -> FloatArray:
        when, deg = self._keys()
        after = np.clip(np.searchsorted(when, t_s, side="right"), 1, len(when) - 1)
        lasts = np.maximum(when[after] - when[after - 1], 1e-9)
        part = _smooth(np.clip((t_s - when[after - 1]) / lasts, 0.0, 1.0))
        return np.asarray(deg[after - 1] + (deg[after] - deg[after - 1]) * part)

    def _turn(self, t_s: FloatArray) -> FloatArray:
        # One flare of all reps, at the depth of the deepest.
        deepest = PushUpSet(
            bottoms_deg=(float(min(self._keys()[1])),),
            flare_deg=float(np.max(self.flare_deg)),
            hand_spacing=self.hand_spacing if self.arms == "two" else 1.35,
        )
        return np.full(len(t_s), PushUpSet._turn(deepest, np.zeros(1))[0])

    def joints(self, t_s: FloatArray) -> dict[str, FloatArray]:
        done = {"one": self._one_arm, "archer": self._archer, "two": super().joints}
        out = done[self.arms](t_s)
        if len(self.sag_deg) or self.always_sag_deg:
            sag = self._sag(t_s) if len(self.sag_deg) else np.zeros(len(t_s))
            sag = sag + self.always_sag_deg
            # Hips (knees half as far) straight down from the line by what opens that angle.
            drop = np.radians(sag) / (1 / TO_HIP + 1 / (TO_ANKLE - TO_HIP))
            for side in ("left", "right"):
                for joint, share in (("hip", 1.0), ("knee", (TO_ANKLE - TO_KNEE) / 1.59)):
                    out[f"{side}_{joint}"] = out[f"{side}_{joint}"] - np.outer(
                        share * drop, [0.0, 0.0, 1.0]
                    )
        return out

    def _sag(self, t_s: FloatArray) -> FloatArray:
        """(N,) nothing at the top, and at every low point its own."""
        when, deg = self._keys()
        at_key = np.zeros(len(when))
        for low, sag in zip(self._lows(), self.sag_deg, strict=True):
            at_key[low] = sag
            if low + 1 < len(when) and deg[low + 1] == deg[low]:
                at_key[low + 1] = sag
        return np.asarray(np.interp(t_s, when, at_key))

    def _sides(self, t_s: FloatArray) -> FloatArray:
        """(N,) +1 where the left arm works, -1 the right."""
        lows = np.array(self.bottoms_s())
        nearest = np.abs(t_s[:, None] - lows).argmin(axis=1)
        signs = [1.0 if side == "left" else -1.0 for side in self.working]
        return np.array([signs[i % len(signs)] for i in nearest])

    def _archer(self, t_s: FloatArray) -> dict[str, FloatArray]:
        bend, sign = self.elbow_deg(t_s), self._sides(t_s)
        straight = np.full(len(t_s), self.top_deg)
        half = self.hand_spacing * SHOULDER_WIDTH / 2
        across = half - SHOULDER_WIDTH / 2
        reach_w, reach_o = _span(bend), _span(straight)
        forward = 0.04
        aside = (reach_o**2 - reach_w**2) / (4 * across)
        height = np.sqrt(reach_w**2 - forward**2 - (across - aside) ** 2)
        return self._body(t_s, height, np.full(len(t_s), forward), sign * aside, half)

    def _one_arm(self, t_s: FloatArray) -> dict[str, FloatArray]:
        height, forward = _shoulder(self.elbow_deg(t_s), 0.0)
        out = self._body(t_s, height, forward, np.zeros(len(t_s)), SHOULDER_WIDTH / 2)
        resting = "right" if self.working[0] == "left" else "left"
        sign = 1.0 if resting == "left" else -1.0
        out[f"{resting}_wrist"] = out[f"{resting}_hip"] + np.array([0.1, -0.1 * sign, 0.15])
        middle = (out[f"{resting}_shoulder"] + out[f"{resting}_wrist"]) / 2
        out[f"{resting}_elbow"] = middle + np.array([0.0, 0.25 * sign, 0.05])
        return out

    def _body(
        self,
        t_s: FloatArray,
        height: FloatArray,
        forward: FloatArray,
        aside: FloatArray,
        half_hands: float,
    ) -> dict[str, FloatArray]:
        rise = (height - ANKLE_HEIGHT) / TO_ANKLE
        turn = np.arcsin(np.clip(aside / TO_ANKLE, -1.0, 1.0))
        level = np.sqrt(1 - rise**2)
        axis = np.stack([-level * np.cos(turn), -np.sin(turn) * level, -rise], axis=-1)
        middle = np.stack([forward, aside, height], axis=-1)
        out: dict[str, FloatArray] = {}
        for side, sign in (("left", 1.0), ("right", -1.0)):
            shoulder = middle + np.array([0.0, sign * SHOULDER_WIDTH / 2, 0.0])
            wrist = np.broadcast_to([0.0, sign * half_hands, 0.0], shoulder.shape)
            out[f"{side}_shoulder"], out[f"{side}_wrist"] = shoulder, wrist
            out[f"{side}_elbow"] = _elbow(shoulder, wrist, self._turn(t_s), sign)
            for joint, along, width in (
                ("hip", TO_HIP, HIP_WIDTH),
                ("knee", TO_KNEE, 0.7 * HIP_WIDTH),
                ("ankle", TO_ANKLE, 1.2 * HIP_WIDTH),
            ):
                out[f"{side}_{joint}"] = middle + along * axis + [0.0, sign * width / 2, 0.0]
            out[f"{side}_ear"] = middle - 0.35 * axis + [0.0, sign * 0.15, 0.05]
        out["nose"] = middle - 0.45 * axis
        return out

    def tracks(self, view: str, noise_px: float = 0.4) -> list[PoseTrack]:
        """Seen from the side, the front, or both (the front camera started a second later)."""
        side = self.film(FROM_THE_SIDE, noise_px=noise_px)
        if view == "side":
            return [side]
        front = self.film(FROM_THE_FRONT, noise_px=noise_px, started_s=1.0 * (view == "both"))
        return [front] if view == "front" else [side, front]


def _span(elbow_deg: FloatArray) -> FloatArray:
    """Shoulder to wrist at an elbow angle (law of cosines)."""
    upper, fore = 0.525, 0.475
    cosine = np.cos(np.radians(elbow_deg))
    return np.asarray(np.sqrt(upper**2 + fore**2 - 2 * upper * fore * cosine))


@dataclass(frozen=True)
class Leaning(Coached):
    """The set done leaning on a bar: the whole body turned up about its hands by ``lean_deg``.

    On the floor the body stands at about 15 degrees, so 45 more are a bar at hip height.
    """

    lean_deg: float = 45.0

    def joints(self, t_s: FloatArray) -> dict[str, FloatArray]:
        turn = np.radians(self.lean_deg)
        # x runs toward the head: turned up, the head rises and the feet go below the hands.
        back_and_up = np.array(
            [[np.cos(turn), 0.0, -np.sin(turn)], [0.0, 1.0, 0.0], [np.sin(turn), 0.0, np.cos(turn)]]
        )
        return {name: at @ back_and_up.T for name, at in super().joints(t_s).items()}


@dataclass(frozen=True)
class OnlyLowered(Coached):
    """Negatives: after half a second at each low point the lifter kneels up, and gets back into
    position for the next."""

    def joints(self, t_s: FloatArray) -> dict[str, FloatArray]:
        kneels = np.zeros(len(t_s))
        for low_s in self.bottoms_s():
            up = _smooth(np.clip((t_s - low_s - 0.5) / 0.7, 0.0, 1.0))
            back = _smooth(np.clip((t_s - low_s - 2.8) / 0.8, 0.0, 1.0))
            kneels = np.maximum(kneels, up * (1 - back))
        knee, thigh = -0.97 * TO_KNEE, TO_KNEE - TO_HIP
        places = {
            "knee": (knee, 0.05), "ankle": (knee - 0.55, 0.08), "hip": (knee, 0.05 + thigh),
            "shoulder": (knee + 0.15, 0.05 + TO_KNEE), "elbow": (knee + 0.25, TO_KNEE - 0.45),
            "wrist": (knee + 0.45, TO_KNEE - 0.8),
        }  # fmt: skip
        out = super().joints(t_s)
        for name, at in out.items():
            x, z = places.get(name.partition("_")[2], (knee + 0.2, TO_KNEE + 0.4))  # the head
            there = np.stack([np.full(len(t_s), x), at[:, 1], np.full(len(t_s), z)], axis=-1)
            out[name] = at + kneels[:, None] * (there - at)
        return out
