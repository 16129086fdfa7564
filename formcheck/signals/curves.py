"""From a pose track to evenly spaced, smoothed signals of one set."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import CUTOFF_HZ, RATE_HZ, low_pass, resample, without_outliers
from formcheck.maths.geometry import length, line_deviation_deg, signed_turn_deg
from formcheck.pose.track import INDEX, LANDMARKS, REQUIRED, PoseTrack
from formcheck.signals.bends import bends
from formcheck.signals.front_arms import SIDES, FrontScene, front_scene
from formcheck.signals.ground import (
    at_one_size,
    find_position,
    place_of,
    planted_side,
    without_sway,
)
from formcheck.signals.side_arm import Arm, solve_arm
from formcheck.signals.view import USUAL_FOCAL_PER_LONG_SIDE, View

# Eyes, mouth and thumbs tell nothing about a push-up and are not smoothed.
_USED = {
    *REQUIRED, "nose", "left_ear", "right_ear", "left_heel", "right_heel", "left_foot_index",
    "right_foot_index", "left_index", "right_index", "left_pinky", "right_pinky",
}  # fmt: skip
# A landmark the model gives less than this chance to be visible is its guess, not a sight.
HIDDEN = 0.15
_ARM_AND_TRUNK = ("shoulder", "elbow", "wrist", "hip")
# Landmarks jitter by less than 1 % of an arm on a usual clip. A track that jitters more is
# smoothed more, as far as a slow push-up allows; its uncertainties grow with what is left.
_USUAL_JITTER, _LEAST_CUTOFF_HZ = 0.010, 2.5
_MOST_TURNED_DEG = 30.0  # of a side view; a user's word may call anything one

# How much nearer the camera a planted hand is than its shoulder in a side view, in arm
# lengths: hands at 1.35 shoulder widths, biacromial breadth 0.237 and arm 0.332 of stature.
_HIDDEN_OFFSET_SIDE = 0.12

# From the side the hip landmark lies ventral of the hip joint centre, by a share of the trunk
# that shrinks as the elbows bend, because the shoulder landmark moves too: means over 13 sets of
# rendered bodies with exact joints, and the spread between bodies (tests/truth). Left in, it
# would read as a sag of 2 to 4 degrees in everyone.
HIP_VENTRAL_STRAIGHT, HIP_VENTRAL_BENT = 0.044, 0.026
HIP_VENTRAL_SD = 0.0165
_USUAL_ELBOW_DEG = 120.0  # half way down, where one value has to do for a whole rep


@dataclass(frozen=True)
class Signals:
    """Curves of one clip on a uniform time grid; every array (M,), NaN where unknown.

    ``in_position`` True while the body is in the push-up position (not kneeling up, walking in).
    ``elbow_deg`` three-dimensional elbow angle (mean of both arms where both are seen),
    ``elbow_left_deg``/``elbow_right_deg`` each arm (NaN where the view hides it).
    ``body_line_deg`` 180 minus shoulder-hip-ankle, + sag, - pike; ``body_line_knee_deg`` the
    same with the knee, for sets on the knees.
    ``head_deg`` head against the trunk line, + hangs below.
    ``flare_deg`` upper arm against the trunk axis.
    ``reach`` shoulder to hand distance in arm lengths: what bending does, whatever the view.
    ``shoulder_height`` of the shoulders above the hands, in arm lengths (the height signal
    that speed and evenness use); ``hip_height`` of the hips above the hands, likewise.
    ``drawn_px`` smoothed image positions (M, 2) by landmark name; ``points_px`` the same as a
    camera sees them that neither zooms nor comes nearer; ``steady_px`` those with the camera's
    sway taken out.
    ``arm_length_px`` of the straight arm.
    """

    t_s: FloatArray
    rate_hz: float
    in_position: BoolArray
    elbow_deg: FloatArray
    elbow_left_deg: FloatArray
    elbow_right_deg: FloatArray
    elbow_plus_minus_deg: FloatArray
    body_line_deg: FloatArray
    body_line_knee_deg: FloatArray
    head_deg: FloatArray
    flare_deg: FloatArray
    flare_plus_minus_deg: FloatArray
    reach: FloatArray
    shoulder_height: FloatArray
    hip_height: FloatArray
    drawn_px: Mapping[str, FloatArray]
    points_px: Mapping[str, FloatArray]
    steady_px: Mapping[str, FloatArray]
    arm_length_px: float
    near_side: str
    pose_rate_hz: float
    noise: float  # jitter left in the smoothed landmarks, sd in arm lengths
    bridged: BoolArray  # shoulder or wrist was lost here and is filled in
    scene: FrontScene | None = None  # both arms in space, from the front

    def between(self, start_s: float, end_s: float) -> slice:
        """Grid slice of a span: one sample at least, none when the clip does not hold it."""
        half_s = 0.5 / self.rate_hz
        if end_s < self.t_s[0] - half_s or start_s > self.t_s[-1] + half_s:
            return slice(0, 0)
        first = min(int(np.searchsorted(self.t_s, start_s - 1e-9)), len(self.t_s) - 1)
        last = int(np.searchsorted(self.t_s, end_s + 1e-9))
        return slice(first, max(last, first + 1))


def read_signals(
    track: PoseTrack, view: View, hands_above_feet: float = 0.0, on_knees: bool = False
) -> Signals:
    """All curves of one clip. Pure: no files, no clock.

    ``hands_above_feet`` (arm lengths) and ``on_knees`` help a front view, which cannot tell a
    raised end from a tilted camera; other views do not need them.
    """
    grid = _on_grid(track)
    grid_s = grid.t_s
    near = planted_side(grid.points, view.near_side or "left")
    in_position = find_position(grid.points, near, view)
    centre_px = np.array([track.width / 2, track.height / 2])
    points = at_one_size(grid.points, near, view, in_position, centre_px)
    steady = without_sway(points, near, view, in_position)
    blank = np.full(len(grid_s), np.nan)
    arms = {
        "elbow_deg": blank, "elbow_left_deg": blank, "elbow_right_deg": blank,
        "elbow_plus_minus_deg": blank, "flare_deg": blank, "flare_plus_minus_deg": blank,
        "reach": blank, "shoulder_height": blank,
    }  # fmt: skip
    arm_px, scene = float("nan"), None
    if view.kind == "front" and in_position.any():
        scene = front_scene(
            steady, in_position, track.width, track.height, hands_above_feet, on_knees
        )
        arms |= _front_curves(scene, in_position)
        arm_px = _arm_px_at_top(steady, scene)
    elif view.kind in ("side", "oblique") and in_position.any():
        arm = _arm(steady, near, view, in_position, track, grid.noise_px)
        arm_px = arm.length_px
        shoulder, wrist = steady[f"{near}_shoulder"], steady[f"{near}_wrist"]
        arms |= {
            "elbow_deg": arm.elbow_deg,
            f"elbow_{near}_deg": arm.elbow_deg,
            "elbow_plus_minus_deg": arm.elbow_plus_minus_deg,
            "flare_deg": arm.flare_deg,
            "flare_plus_minus_deg": arm.flare_plus_minus_deg,
            "reach": arm.reach,
            "shoulder_height": (wrist[:, 1] - shoulder[:, 1]) / arm_px,
        }
    # At a slant both sides show, and the middle of them errs less than the near side alone.
    one_side = near if view.kind == "side" else None
    shoulder, hip, knee, ankle, wrist, ear = (
        place_of(steady, joint, one_side)
        for joint in ("shoulder", "hip", "knee", "ankle", "wrist", "ear")
    )
    if view.kind == "side":
        hip = _hip_joint(shoulder, hip, arms["elbow_deg"])
    return Signals(
        t_s=grid_s,
        rate_hz=RATE_HZ,
        in_position=in_position,
        **arms,
        body_line_deg=line_deviation_deg(shoulder, hip, ankle),
        body_line_knee_deg=line_deviation_deg(shoulder, hip, knee),
        head_deg=_head_deg(shoulder, hip, ear, view),
        hip_height=(wrist[:, 1] - hip[:, 1]) / arm_px,
        drawn_px=grid.points,
        points_px=points,
        steady_px=steady,
        arm_length_px=arm_px,
        near_side=near,
        pose_rate_hz=grid.pose_rate_hz,
        noise=grid.noise_px / arm_px,
        bridged=_bridged(track, grid, [near] if view.near_side else list(SIDES)),
        scene=scene,
    )


def _front_curves(scene: FrontScene, use: BoolArray) -> dict[str, FloatArray]:
    """The arm curves of a front view, from both arms in space."""
    lift = [scene.shoulder[s][:, 2] - scene.wrist[s][:, 2] for s in SIDES]
    span = [length(scene.shoulder[s] - scene.wrist[s]) for s in SIDES]
    flare = _mean([scene.flare_deg[s] for s in SIDES])
    curves = {
        "elbow_deg": scene.both_elbows_deg,
        "elbow_left_deg": scene.elbow_deg["left"],
        "elbow_right_deg": scene.elbow_deg["right"],
        "elbow_plus_minus_deg": scene.both_elbows_plus_minus_deg,
        "flare_deg": flare,
        "flare_plus_minus_deg": np.full(len(flare), np.nan),
        "reach": _mean(span),
        "shoulder_height": _mean(lift),
    }
    return {name: np.where(use, curve, np.nan) for name, curve in curves.items()}


def _arm_px_at_top(points: Mapping[str, FloatArray], scene: FrontScene) -> float:
    """Arm length in pixels as the straightest arms show it."""
    seen = [length(points[f"{s}_shoulder"] - points[f"{s}_wrist"])[scene.top] for s in SIDES]
    return float(np.nanmedian(np.concatenate(seen)))


def _mean(curves: list[FloatArray]) -> FloatArray:
    return np.asarray(np.mean(curves, axis=0))


@dataclass(frozen=True)
class _Grid:
    """The landmarks at even times, and how well they are known."""

    t_s: FloatArray
    points: dict[str, FloatArray]
    pose_rate_hz: float
    noise_px: float  # sd of what is left of the landmarks' jitter, one coordinate


def _on_grid(track: PoseTrack) -> _Grid:
    """Points by landmark on the uniform grid, outliers out, smoothed."""
    frames = len(track.t_s)
    rate = 1.0 / float(np.median(np.diff(track.t_s))) if frames > 1 else track.fps
    end = max(float(track.t_s[-1]), 0.0) if frames else 0.0
    grid = np.arange(0.0, end + 0.5 / RATE_HZ, 1.0 / RATE_HZ)
    raw = _in_picture(track)
    flat = raw.reshape(frames, 2 * len(LANDMARKS))
    known = (np.isfinite(flat).sum(axis=0) > 5) & np.repeat([n in _USED for n in LANDMARKS], 2)
    smooth = np.full((len(grid), flat.shape[1]), np.nan)
    jitter_px = _jitter_px(raw)
    cutoff_hz = CUTOFF_HZ
    if known.any():
        spread = jitter_px / max(_span_px(raw), 1.0)
        cutoff_hz = max(_LEAST_CUTOFF_HZ, CUTOFF_HZ * min(1.0, _USUAL_JITTER / max(spread, 1e-6)))
        even = resample(track.t_s, without_outliers(flat[:, known], rate), grid)
        smooth[:, known] = low_pass(even, RATE_HZ, cutoff_hz)
    places_px = smooth.reshape(len(grid), -1, 2)
    # A landmark is one point: what is wrong in x is not to be trusted in y.
    places_px[np.isnan(places_px).any(axis=2)] = np.nan
    return _Grid(
        grid,
        {name: places_px[:, i] for i, name in enumerate(LANDMARKS)},
        rate,
        jitter_px * min(1.0, (2.0 * cutoff_hz / rate) ** 0.5),
    )


def _in_picture(track: PoseTrack) -> FloatArray:
    """(N, 33, 2) pixels, blank where the model guesses: outside the picture, or not visible."""
    size = np.array([track.width, track.height])
    guessed = ((track.xy_px < -0.02 * size) | (track.xy_px > 1.02 * size)).any(axis=2)
    hidden = track.visibility < HIDDEN
    for name in LANDMARKS:
        if not name.endswith(_ARM_AND_TRUNK):
            hidden[:, INDEX[name]] = False
    return np.where((guessed | hidden)[:, :, None], np.nan, track.xy_px)


def _bridged(track: PoseTrack, grid: _Grid, sides: list[str]) -> BoolArray:
    """Grid times whose nearest sight of the arm is further off than the pose rate explains."""
    names = [f"{side}_{joint}" for side in sides for joint in ("shoulder", "wrist")]
    seen_s = track.t_s[np.isfinite(np.stack([track.xy(name)[:, 0] for name in names])).all(axis=0)]
    if len(seen_s) < 2:
        return np.ones(len(grid.t_s), dtype=bool)
    after = np.clip(np.searchsorted(seen_s, grid.t_s), 1, len(seen_s) - 1)
    away = np.minimum(np.abs(grid.t_s - seen_s[after - 1]), np.abs(seen_s[after] - grid.t_s))
    return np.asarray(away > max(0.1, 0.75 / grid.pose_rate_hz))


def _jitter_px(raw: FloatArray) -> float:
    """Sd of the landmarks' sample-to-sample jitter, from second differences.

    Movement bends a curve too: so the median over time (much of any set is rest) and the lower
    quartile over the joints (hands and feet stay where they are put, even in a fast set).
    """
    joints = raw[:, [INDEX[name] for name in REQUIRED]]
    bends = np.abs(joints[2:] - 2 * joints[1:-1] + joints[:-2])
    if not np.isfinite(bends).any():
        return 0.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # joints never seen
        usual = np.nanmedian(bends, axis=0).mean(axis=1)
    return float(1.4826 * np.nanpercentile(usual, 25.0) / np.sqrt(6.0))


def _span_px(raw: FloatArray) -> float:
    """Length of an arm in the picture, near enough to say what a pixel is worth."""
    spans = [
        length(raw[:, INDEX[f"{side}_shoulder"]] - raw[:, INDEX[f"{side}_wrist"]]) for side in SIDES
    ]
    known = np.concatenate(spans)
    known = known[np.isfinite(known)]
    return float(np.percentile(known, 90)) if len(known) else 0.0


def _arm(
    points: Mapping[str, FloatArray],
    near: str,
    view: View,
    use: BoolArray,
    track: PoseTrack,
    noise_px: float,
) -> Arm:
    """The near arm in space, from the side or at a slant."""
    centre = np.array([track.width / 2, track.height / 2])
    shoulder, elbow, wrist, hip = (
        points[f"{near}_{joint}"] for joint in ("shoulder", "elbow", "wrist", "hip")
    )
    reach_px = length(wrist - shoulder)
    shoulder = _rigid_trunk(shoulder, hip, reach_px, use)
    slanted = view.kind == "oblique"
    whole = np.nanpercentile(reach_px[use], 97)
    cycles = [(bend.start, bend.end) for bend in bends(reach_px / whole, use, RATE_HZ, least=0.05)]
    return solve_arm(
        shoulder - centre,
        elbow - centre,
        wrist - centre,
        outward=hip - shoulder,
        trunk=None if slanted else _hip_joint(shoulder, hip, _USUAL_ELBOW_DEG) - shoulder,
        cycles=cycles,
        use=use,
        focal_px=USUAL_FOCAL_PER_LONG_SIDE * max(track.width, track.height),
        hidden_offset=_HIDDEN_OFFSET_SIDE * float(np.cos(np.radians(view.yaw_deg))),
        noise_px=noise_px,
        yaw_deg=view.yaw_deg if slanted else None,
        turned_rad=float(np.radians(np.clip(view.yaw_deg, -_MOST_TURNED_DEG, _MOST_TURNED_DEG))),
    )


def _rigid_trunk(
    shoulder: FloatArray, hip: FloatArray, reach_px: FloatArray, use: BoolArray
) -> FloatArray:
    """The shoulder moved along the trunk so that the trunk keeps its length.

    Landmarks slide headward by up to 6 % of the arm when the elbow passes behind the trunk; the
    trunk itself does not grow. The length at the top, where the arm hangs free, is kept.
    """
    trunk_px = length(shoulder - hip)
    high = use & (reach_px >= np.nanpercentile(reach_px[use], 80))
    usual = float(np.nanmedian(trunk_px[high]))
    change = np.clip(usual / trunk_px, 0.9, 1.1)
    return hip + (shoulder - hip) * change[:, None]


def _hip_joint(shoulder: FloatArray, hip: FloatArray, elbow_deg: FloatArray | float) -> FloatArray:
    """The hip's joint centre from its landmark: moved dorsally, square to the trunk."""
    trunk = hip - shoulder
    across = np.stack([-trunk[:, 1], trunk[:, 0]], axis=1)
    dorsal = across * np.where(across[:, 1:] > 0, -1.0, 1.0)
    bent = np.nan_to_num(np.clip((180.0 - np.asarray(elbow_deg)) / 90.0, 0.0, 1.0))
    share = HIP_VENTRAL_STRAIGHT + (HIP_VENTRAL_BENT - HIP_VENTRAL_STRAIGHT) * bent
    return np.asarray(hip + share[..., None] * dorsal)


def _head_deg(shoulder: FloatArray, hip: FloatArray, ear: FloatArray, view: View) -> FloatArray:
    """Head line (shoulder to ear) against the trunk line (hip to shoulder), + hangs below."""
    if view.kind in ("front", "rear"):
        return np.full(len(shoulder), np.nan)
    turn = signed_turn_deg(shoulder - hip, ear - shoulder)
    return turn * np.sign(shoulder[:, 0] - hip[:, 0])
