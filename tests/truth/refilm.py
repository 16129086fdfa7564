"""The same set as another phone, another pace or worse tracking would have recorded it.

Exact 3-D joints are known for every rendered clip, so a set can be filmed again with another
camera: the exact joints are projected anew, and the landmark model's own errors (tracked minus
exact position, which follow the pose) are carried over, scaled with the person. Good for
moderate changes of camera; not a stand-in for new clips of other bodies.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack
from tests.truth.truth import TruthRep, TruthSet

FloatArray = npt.NDArray[np.float64]

# Points without exact truth move with the nearest point that has it.
FOLLOWS: Mapping[str, str] = {
    "heel": "ankle", "foot_index": "ankle", "pinky": "wrist", "index": "wrist",
    "thumb": "wrist", "eye_inner": "eye", "eye_outer": "eye",
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Camera:
    """Pinhole camera; metres, world Z up; ``fov_deg`` vertical, ``roll_deg`` as in the truth."""

    eye: FloatArray
    target: FloatArray
    fov_deg: float
    roll_deg: float = 0.0

    def scale(self, height_px: int) -> float:
        """Pixels a metre at the target."""
        focal_px = height_px / 2 / np.tan(np.radians(self.fov_deg) / 2)
        return float(focal_px / np.linalg.norm(self.target - self.eye))

    def project(self, points: FloatArray, width: int, height: int) -> FloatArray:
        """World points (..., 3) to pixels (..., 2), x right, y down."""
        forward = (self.target - self.eye) / np.linalg.norm(self.target - self.eye)
        right = np.cross(forward, (0.0, 0.0, 1.0))
        right /= np.linalg.norm(right)
        up = np.cross(right, forward)
        roll = -np.radians(self.roll_deg)
        right, up = (
            right * np.cos(roll) + up * np.sin(roll),
            up * np.cos(roll) - right * np.sin(roll),
        )
        seen = points - self.eye
        focal_px = height / 2 / np.tan(np.radians(self.fov_deg) / 2)
        along = seen @ forward
        return np.stack(
            [
                width / 2 + focal_px * (seen @ right) / along,
                height / 2 - focal_px * (seen @ up) / along,
            ],
            axis=-1,
        )

    def moved(
        self, *, yaw_deg: float = 0.0, nearer: float = 1.0, higher_m: float = 0.0,
        roll_deg: float = 0.0,
    ) -> Camera:  # fmt: skip
        """Walk round the person by ``yaw_deg``, change distance and height, tilt the phone.

        The picture keeps the person's size: the field of view follows the distance.
        """
        turn = np.radians(yaw_deg)
        x, y, z = self.eye - self.target
        offset = np.array(
            [x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), z]
        )
        eye = self.target + offset / nearer + np.array([0.0, 0.0, higher_m])
        half = np.tan(np.radians(self.fov_deg) / 2) * nearer
        return Camera(
            eye, self.target, float(np.degrees(2 * np.arctan(half))), self.roll_deg + roll_deg
        )


def refilmed(
    track: PoseTrack, joints: Mapping[str, FloatArray], before: Camera, after: Camera
) -> PoseTrack:
    """``track`` as ``after`` would show it. ``joints`` exact world positions (N, 3) by landmark."""
    size = (track.width, track.height)
    larger = after.scale(track.height) / before.scale(track.height)
    xy = track.xy_px.copy()
    for name in LANDMARKS:
        i, known = INDEX[name], _followed(name, joints)
        if known is None:
            xy[:, i] = np.nan
            continue
        error = track.xy_px[:, i] - before.project(joints[known], *size)
        xy[:, i] = after.project(joints[known], *size) + larger * error
    seen = np.isfinite(xy[..., 0])
    return dataclasses.replace(
        track, xy_px=xy, world_m=None, visibility=np.where(seen, track.visibility, np.nan)
    )


def _followed(name: str, joints: Mapping[str, FloatArray]) -> str | None:
    if name in joints:
        return name
    side, _, part = name.partition("_")
    candidate = f"{side}_{FOLLOWS.get(part, part)}"
    return candidate if candidate in joints else None


def read_joints(csv: Path, t_s: FloatArray) -> dict[str, FloatArray]:
    """Exact world positions (N, 3), metres, at the times ``t_s`` (N,), by landmark name."""
    table = pd.read_csv(csv)
    return {
        name: np.stack(
            [np.interp(t_s, table["t"], table[f"{name}_{axis}"]) for axis in "XYZ"], axis=1
        )
        for name in LANDMARKS
        if f"{name}_X" in table
    }


def mirrored(track: PoseTrack) -> PoseTrack:
    """As the person's mirror image: left becomes right."""
    xy = track.xy_px.copy()
    xy[..., 0] = track.width - xy[..., 0]
    order = [INDEX[_other_side(name)] for name in LANDMARKS]
    return dataclasses.replace(
        track, xy_px=xy[:, order], visibility=track.visibility[:, order], world_m=None
    )


def mirrored_truth(truth: TruthSet) -> TruthSet:
    other = {"left": "right", "right": "left", None: None}
    reps = tuple(
        dataclasses.replace(
            rep, values={_other_side(name): value for name, value in rep.values.items()}
        )
        for rep in truth.reps
    )
    return dataclasses.replace(truth, near_side=other[truth.near_side], reps=reps)


def _other_side(name: str) -> str:
    swapped = name.replace("left", "\0").replace("right", "left")
    return swapped.replace("\0", "right")


def slowed(track: PoseTrack, factor: float) -> PoseTrack:
    """The same movement taking ``factor`` times as long, pose frames as many a second.

    Positions between frames are interpolated, so the tracking noise of a slowed set is
    smoother than a real one's.
    """
    count = int(len(track.t_s) * factor)
    source = np.linspace(0, len(track.t_s) - 1, count)
    rows = np.arange(len(track.t_s))
    flat = track.xy_px.reshape(len(rows), -1)
    xy = np.stack([np.interp(source, rows, column) for column in flat.T], axis=1)
    visible = np.stack(
        [np.interp(source, rows, column) for column in np.nan_to_num(track.visibility).T], axis=1
    )
    xy = xy.reshape(count, len(LANDMARKS), 2)
    return dataclasses.replace(
        track,
        t_s=np.interp(source, rows, track.t_s) * factor,
        xy_px=xy,
        visibility=np.where(np.isfinite(xy[..., 0]), visible, np.nan),
        world_m=None,
        duration_s=track.duration_s * factor,
        frames=int(track.frames * factor),
    )


def slowed_truth(truth: TruthSet, factor: float) -> TruthSet:
    def rep(one: TruthRep) -> TruthRep:
        return dataclasses.replace(
            one,
            start_s=one.start_s * factor,
            bottom_start_s=one.bottom_start_s * factor,
            bottom_end_s=one.bottom_end_s * factor,
            top_s=one.top_s * factor,
            end_s=one.end_s * factor,
            values={
                name: value * factor if name.endswith("_s") else value
                for name, value in one.values.items()
            },
        )

    return dataclasses.replace(
        truth,
        duration_s=truth.duration_s * factor,
        clip_start_in_set_s=truth.clip_start_in_set_s * factor,
        reps=tuple(rep(one) for one in truth.reps),
    )


def noisier(track: PoseTrack, share: float, seed: int = 0) -> PoseTrack:
    """With white noise of SD ``share`` of the trunk's length in the picture."""
    trunk = np.nanmedian(np.linalg.norm(track.xy("left_shoulder") - track.xy("left_hip"), axis=1))
    noise = np.random.default_rng(seed).normal(0, share * float(trunk), track.xy_px.shape)
    return dataclasses.replace(track, xy_px=track.xy_px + noise)


def _arm_px(track: PoseTrack) -> float:
    arm = np.linalg.norm(track.xy("left_shoulder") - track.xy("left_wrist"), axis=1)
    return float(np.nanpercentile(arm, 90))


def held_in_the_hand(track: PoseTrack, turns: float = 0.0, grows: float = 1.0) -> PoseTrack:
    """The picture slides by ``turns`` arms and grows by ``grows`` from the first frame to the last,
    and wanders by a fifth of an arm all the while. What leaves it is lost from sight."""
    arm_px = _arm_px(track)
    gone = track.t_s / track.t_s[-1]
    wander = 0.2 * np.column_stack([np.sin(0.7 * track.t_s), 0.5 * np.sin(0.9 * track.t_s)])
    slide = arm_px * (wander + np.column_stack([turns * (gone - 0.5), 0.0 * gone]))
    centre = np.array([track.width, track.height]) / 2
    size = (1.0 + (grows - 1.0) * gone)[:, None, None]
    return dataclasses.replace(track, xy_px=centre + (track.xy_px - centre) * size + slide[:, None])


# A person who stands facing the camera: sideways and down from between the shoulders, in trunks.
_STANDING = {
    "shoulder": (0.38, 0.0), "elbow": (0.48, 0.55), "wrist": (0.5, 1.05), "pinky": (0.5, 1.15),
    "index": (0.5, 1.15), "thumb": (0.48, 1.1), "hip": (0.25, 1.0), "knee": (0.25, 1.8),
    "ankle": (0.25, 2.6), "heel": (0.25, 2.7), "foot_index": (0.3, 2.75), "ear": (0.15, -0.45),
}  # fmt: skip


def walked_in_and_out(track: PoseTrack, in_s: float, out_s: float) -> PoseTrack:
    """Before the set the person walks away from the camera just switched on, afterwards back."""
    arm_px = _arm_px(track)
    walks = [
        _walking(track, arm_px * np.linspace(1.2, 0.8, round(in_s * 15))),
        _walking(track, arm_px * np.linspace(1.0, 3.0, round(out_s * 15))),
    ]
    xy_px = np.concatenate([walks[0], track.xy_px, walks[1]])
    ends = [np.full(walk.shape[:2], 0.95) for walk in walks]
    after_s = in_s + track.t_s[-1] + 1 / 15
    return dataclasses.replace(
        track,
        t_s=np.concatenate(
            [
                np.arange(len(walks[0])) / 15,
                track.t_s + in_s,
                after_s + np.arange(len(walks[1])) / 15,
            ]
        ),
        xy_px=xy_px,
        visibility=np.concatenate([ends[0], track.visibility, ends[1]]),
        world_m=None,
        duration_s=after_s + out_s,
        frames=len(xy_px),
    )


def _walking(track: PoseTrack, trunk_px: FloatArray) -> FloatArray:
    """(N, 33, 2) walking, arms swinging, as large as ``trunk_px`` (N,) at each moment."""
    shape = np.full((len(trunk_px), len(LANDMARKS), 2), [0.0, -0.4])
    swing = 0.1 * np.sin(2 * np.pi * 0.9 * np.arange(len(trunk_px)) / 15)
    for name, i in INDEX.items():
        side, _, joint = name.partition("_")
        if joint in _STANDING:
            across, down = _STANDING[joint]
            shape[:, i] = [across if side == "left" else -across, down]
            if joint in ("elbow", "wrist"):
                shape[:, i, 0] += swing
    noise = np.random.default_rng(0).normal(0.0, 1.0, shape.shape)
    place = [0.5 * track.width, 0.35 * track.height]
    return np.asarray(place + shape * trunk_px[:, None, None] + noise)


def later_truth(truth: TruthSet, by_s: float) -> TruthSet:
    """Everything by so much later."""
    moments = ("start_s", "bottom_start_s", "bottom_end_s", "top_s", "end_s")
    reps = tuple(
        dataclasses.replace(rep, **{name: getattr(rep, name) + by_s for name in moments})
        for rep in truth.reps
    )
    return dataclasses.replace(truth, reps=reps, duration_s=truth.duration_s + by_s)


def sides_confused(track: PoseTrack, every_s: float = 4.0, for_s: float = 0.6) -> PoseTrack:
    """Left and right labels exchanged for a moment, again and again."""
    there = [INDEX.get(_other_side(name), i) for name, i in INDEX.items()]
    wrong = (track.t_s % every_s) < for_s
    xy_px, visibility = track.xy_px.copy(), track.visibility.copy()
    xy_px[wrong], visibility[wrong] = xy_px[wrong][:, there], visibility[wrong][:, there]
    return dataclasses.replace(track, xy_px=xy_px, visibility=visibility, world_m=None)


def interrupted(track: PoseTrack, every_s: float = 4.0, for_s: float = 0.3) -> PoseTrack:
    """With the person lost for a moment, again and again."""
    lost = (track.t_s % every_s) < for_s
    return dataclasses.replace(
        track,
        xy_px=np.where(lost[:, None, None], np.nan, track.xy_px),
        visibility=np.where(lost[:, None], np.nan, track.visibility),
        world_m=None
        if track.world_m is None
        else np.where(lost[:, None, None], np.nan, track.world_m),
    )


def at_rate(track: PoseTrack, rate_hz: float) -> PoseTrack:
    """Every n-th pose frame, so that about ``rate_hz`` are left in a second."""
    step = max(1, round((len(track.t_s) - 1) / (track.t_s[-1] - track.t_s[0]) / rate_hz))
    return dataclasses.replace(
        track,
        t_s=track.t_s[::step],
        xy_px=track.xy_px[::step],
        visibility=track.visibility[::step],
        world_m=None if track.world_m is None else track.world_m[::step],
    )


@dataclasses.dataclass(frozen=True)
class Splice:
    """At ``at_s`` the set stands still for ``longer_s`` more, or loses that much if negative."""

    at_s: float
    longer_s: float


def spliced(track: PoseTrack, splices: Sequence[Splice]) -> tuple[PoseTrack, list[Splice]]:
    """Holds made longer by playing the moment around them to and fro, or cut shorter.

    Returns the track and the splices as they came out, in whole pose frames.
    """
    lasts_s = np.append(np.diff(track.t_s), np.median(np.diff(track.t_s)))
    rows = list(range(len(track.t_s)))
    done = []
    for splice in sorted(splices, key=lambda one: one.at_s, reverse=True):
        at = int(np.searchsorted(track.t_s, splice.at_s))
        count = round(abs(splice.longer_s) / float(np.mean(lasts_s)))
        if splice.longer_s < 0:
            cut = slice(at - count // 2, at - count // 2 + count)
            done.append(Splice(splice.at_s, -float(lasts_s[rows[cut]].sum())))
            del rows[cut]
        else:
            around = list(range(at - 2, at + 2))
            there_and_back = around + around[::-1]
            added = [there_and_back[i % len(there_and_back)] for i in range(count)]
            done.append(Splice(splice.at_s, float(lasts_s[added].sum())))
            rows[at:at] = added
    return _of_rows(track, np.array(rows)), done


def spliced_truth(truth: TruthSet, done: Sequence[Splice]) -> TruthSet:
    def moved(t_s: float) -> float:
        return t_s + sum(one.longer_s for one in done if one.at_s <= t_s)

    def rep(one: TruthRep) -> TruthRep:
        start_s, down_s, up_s, top_s, end_s = (
            moved(t_s)
            for t_s in (one.start_s, one.bottom_start_s, one.bottom_end_s, one.top_s, one.end_s)
        )
        longer = {
            "bottom_pause_s": (up_s - down_s) - (one.bottom_end_s - one.bottom_start_s),
            "top_pause_s": (end_s - top_s) - (one.end_s - one.top_s),
        }
        return dataclasses.replace(
            one,
            start_s=start_s,
            bottom_start_s=down_s,
            bottom_end_s=up_s,
            top_s=top_s,
            end_s=end_s,
            values={name: value + longer.get(name, 0.0) for name, value in one.values.items()},
        )

    return dataclasses.replace(
        truth, duration_s=moved(truth.duration_s), reps=tuple(rep(one) for one in truth.reps)
    )


def cropped(track: PoseTrack, from_s: float, to_s: float) -> PoseTrack:
    """Recorded only between the two times."""
    rows = np.flatnonzero((track.t_s >= from_s) & (track.t_s < to_s))
    return _of_rows(track, rows)


def cropped_truth(truth: TruthSet, from_s: float, to_s: float) -> TruthSet:
    """Only the attempts that the shorter clip holds from leaving the top to reaching it again."""
    reps = tuple(
        dataclasses.replace(
            rep,
            start_s=rep.start_s - from_s,
            bottom_start_s=rep.bottom_start_s - from_s,
            bottom_end_s=rep.bottom_end_s - from_s,
            top_s=rep.top_s - from_s,
            end_s=min(rep.end_s, to_s) - from_s,
        )
        for rep in truth.reps
        if rep.start_s >= from_s and rep.top_s < to_s
    )
    return dataclasses.replace(truth, duration_s=to_s - from_s, reps=reps)


def _of_rows(track: PoseTrack, rows: npt.NDArray[np.intp]) -> PoseTrack:
    lasts_s = np.append(np.diff(track.t_s), np.median(np.diff(track.t_s)))[rows]
    ends_s = np.cumsum(lasts_s)
    return dataclasses.replace(
        track,
        t_s=ends_s - lasts_s,
        xy_px=track.xy_px[rows],
        visibility=track.visibility[rows],
        world_m=None if track.world_m is None else track.world_m[rows],
        duration_s=float(ends_s[-1]),
        frames=round(float(ends_s[-1]) * track.fps),
    )
