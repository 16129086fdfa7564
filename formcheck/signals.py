"""From a pose track to evenly spaced, smoothed signals of one set."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.ndimage import binary_closing, binary_opening, gaussian_filter

from formcheck.arm import Arm, solve_arm
from formcheck.arrays import BoolArray, FloatArray
from formcheck.filtering import CUTOFF_HZ, low_pass, resample, without_outliers
from formcheck.front import SIDES, FrontScene, front_scene
from formcheck.geometry import length, line_deviation_deg, signed_turn_deg
from formcheck.pose.track import INDEX, LANDMARKS, REQUIRED, PoseTrack
from formcheck.reps import bends
from formcheck.views import USUAL_FOCAL_PER_LONG_SIDE, View, arms_hang

RATE_HZ = 30.0
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
# Of an arm: how far from its place a planted hand strays, how far that place may wander in the
# picture, and how far it must move to have been set anew; and how far landmarks slide at most.
_PLANTED, _SAME_GROUND, _SET_ANEW, _SLIDES = 0.3, 1.0, 0.15, 0.07
_GROWN = 1.06  # a body whose size in the picture changes by less is filmed from one place
_ARM_SHOWS_S = 6.0  # within this long before and after any moment of a set the arm is straight
_PLACE_S = 1.5  # a place is where the hand is for this long before and after
_MOST_TURNED_DEG = 30.0  # of a side view; a user's word may call anything one
_KNEELING_DEG = 65.0  # hips bent this much against shoulders and knees: on all fours
_LEAST_SPAN_PX = 5.0  # an arm smaller than this shows nothing

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
    near = _planted_side(grid.points, view.near_side or "left")
    in_position = _in_position(grid.points, near, view)
    centre_px = np.array([track.width / 2, track.height / 2])
    points = _at_one_size(grid.points, near, view, in_position, centre_px)
    steady = _without_sway(points, near, view, in_position)
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
        _joint(steady, joint, one_side)
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


def _joint(points: Mapping[str, FloatArray], joint: str, side: str | None) -> FloatArray:
    """(M, 2) a joint of one side, or the middle of both."""
    if side is None:
        return (points[f"left_{joint}"] + points[f"right_{joint}"]) / 2
    return points[f"{side}_{joint}"]


def _planted_side(points: Mapping[str, FloatArray], near: str) -> str:
    """The side whose arm carries: the near one, unless its hand is held off the floor."""
    far = "left" if near == "right" else "right"
    span = length(points[f"{far}_wrist"] - points[f"{far}_shoulder"])
    raised = points[f"{far}_wrist"][:, 1] - points[f"{near}_wrist"][:, 1]
    known = np.isfinite(span) & np.isfinite(raised)
    if known.sum() < RATE_HZ:
        return near
    off_floor = float(np.median(raised[known])) > 0.3 * float(np.percentile(span[known], 90))
    return far if off_floor else near


def _in_position(points: Mapping[str, FloatArray], near: str, view: View) -> BoolArray:
    """Frames with the hands planted and, where it shows, the hips near the body's line."""
    one_side = near if view.kind in ("side", "oblique") else None
    shoulder, wrist, hip, knee = (
        _joint(points, joint, one_side) for joint in ("shoulder", "wrist", "hip", "knee")
    )
    reach_px = length(wrist - shoulder)
    if np.isfinite(reach_px).sum() < RATE_HZ / 2 or _longest(wrist - shoulder) < _LEAST_SPAN_PX:
        return np.zeros(len(reach_px), dtype=bool)
    span = _arm_nearby(reach_px)
    upright = arms_hang(wrist - shoulder, hip - shoulder, span)
    if view.kind in ("side", "oblique"):
        upright |= np.abs(line_deviation_deg(shoulder, hip, knee)) > _KNEELING_DEG
    ok = np.isfinite(reach_px) & ~upright
    if not ok.any():
        return ok
    # The hands' place is looked for among these frames only: who stands about for a minute
    # before a short set has the hands somewhere else for longest. It may wander with a camera in
    # the hand, and change when the hands are set anew.
    place = _running_place(np.where(ok[:, None], wrist, np.nan))
    ok &= length(wrist - place) < _PLANTED * span
    ground = place / np.median(span[ok]) if ok.any() else place
    if one_side is not None and (foot := _foothold(points, near, ok)) is not None:
        # Whatever the camera does.
        place = _running_place(np.where(ok[:, None], wrist - points[foot], np.nan))
        ground = place / span[:, None]
    known = ok & np.isfinite(ground[:, 0])
    if known.any():
        ok &= ~(length(ground - _usual_place(ground[known], 1.0)) >= _SAME_GROUND)
    beat = np.ones(int(RATE_HZ * 0.5), dtype=bool)
    closed = binary_closing(np.pad(ok, len(beat)), beat)[len(beat) : -len(beat)]
    return np.asarray(binary_opening(closed, np.ones(int(RATE_HZ), dtype=bool)))


def _arm_nearby(reach_px: FloatArray) -> FloatArray:
    """(M,) length of the arm as it shows in the seconds before or after, whichever is less: it
    grows with who comes near to switch the camera off."""
    window = round(_ARM_SHOWS_S * RATE_HZ)

    def before(curve: FloatArray) -> FloatArray:
        return np.asarray(pd.Series(curve).rolling(window, min_periods=1).quantile(0.9))

    return np.fmin(before(reach_px), before(reach_px[::-1])[::-1])


def _foothold(points: Mapping[str, FloatArray], near: str, use: BoolArray) -> str | None:
    """The ankle; the knee where that keeps its place and the feet wave, as on the knees they may.

    None when neither is seen for half of the time.
    """
    span = _longest(points[f"{near}_wrist"] - points[f"{near}_shoulder"])
    wanders = {}
    for name in (f"{near}_ankle", f"{near}_knee"):
        apart = (points[name] - points[f"{near}_wrist"])[use]
        apart = apart[np.isfinite(apart[:, 0])]
        if len(apart) > 0.5 * use.sum():
            away = length(apart - np.median(apart, axis=0)) / span
            wanders[name] = max(float(np.percentile(away, 80)), _SLIDES)
    return min(wanders, key=wanders.__getitem__, default=None)


def _longest(arm: FloatArray) -> float:
    """Length (px) of an arm that is straight for some of the clip, NaN when it is never seen."""
    known = length(arm)[np.isfinite(arm[:, 0])]
    return float(np.percentile(known, 90)) if len(known) else float("nan")


def _running_place(hand: FloatArray) -> FloatArray:
    """(M, 2) where the hand has been in the seconds around each moment."""
    window = round(2 * _PLACE_S * RATE_HZ) | 1
    return np.asarray(pd.DataFrame(hand).rolling(window, center=True, min_periods=1).median())


def _usual_place(hand: FloatArray, span: float, within: float = _PLANTED) -> FloatArray:
    """(2,) where the hand is for longest: the mode of its positions."""
    known = hand[np.isfinite(hand[:, 0])]
    low = known.min(axis=0)
    cells = np.floor((known - low) / (0.1 * span)).astype(int)
    counts = np.zeros(cells.max(axis=0) + 1)
    np.add.at(counts, (cells[:, 0], cells[:, 1]), 1.0)
    busiest = np.unravel_index(gaussian_filter(counts, 1.0).argmax(), counts.shape)
    place = low + (np.array(busiest) + 0.5) * 0.1 * span
    for _ in range(2):
        place = np.median(known[length(known - place) < within * span], axis=0)
    return np.asarray(place)


def _at_one_size(
    points: Mapping[str, FloatArray], near: str, view: View, use: BoolArray, centre: FloatArray
) -> Mapping[str, FloatArray]:
    """The points as a camera sees them that neither zooms nor comes nearer.

    Arms are measured against their longest in the whole set, so a body that grows in the picture
    would seem to bend more in its early reps.
    """
    chain = (
        ["left_shoulder", "right_shoulder"]
        if view.kind in ("front", "rear")
        else [f"{near}_{joint}" for joint in ("shoulder", "hip", "knee", "ankle")]
    )
    size = np.sum([length(points[a] - points[b]) for a, b in pairwise(chain)], axis=0)
    known = use & np.isfinite(size) & (size > 0)
    if known.sum() < RATE_HZ:
        return points
    when = np.linspace(-1.0, 1.0, len(size))
    trend = np.polynomial.Polynomial.fit(when[known], np.log(size[known]), 2)
    # Held beyond the set, where the body stands or kneels.
    growth = np.exp(trend(np.clip(when, when[known][0], when[known][-1])))
    if growth.max() < _GROWN * growth.min():
        return points
    growth /= np.median(growth[known])
    return {name: centre + (xy - centre) / growth[:, None] for name, xy in points.items()}


def _without_sway(
    points: Mapping[str, FloatArray], near: str, view: View, use: BoolArray
) -> dict[str, FloatArray]:
    """Points with the camera's own movement taken out, hands held to one place.

    Hands and feet stay where they are put, so what moves them all moves the camera. A wrist
    landmark that slides while the elbow bends is the model's error, not the hand's: each wrist
    is then set to its median place, anew whenever the hands are.
    """
    if view.kind in ("front", "rear"):
        anchors = ["left_wrist", "right_wrist"]
    else:
        foot = _foothold(points, near, use) or f"{near}_ankle"
        anchors = [f"{near}_wrist", foot]
    steady = {name: xy.copy() for name, xy in points.items()}
    span = _longest(points[anchors[0]] - points[anchors[0].replace("wrist", "shoulder")])
    for stand in _stands(points[anchors[0]] - points[anchors[1]], use, span):
        known = [points[name] for name in anchors if np.isfinite(points[name][stand]).any()]
        moved = np.array([curve - np.nanmedian(curve[stand], axis=0) for curve in known])
        moved = moved.reshape(-1, len(use), 2)
        seen = np.isfinite(moved) & stand[:, None]
        # Where one anchor is lost for a while the other tells the sway alone.
        sway = np.where(seen, moved, 0.0).sum(axis=0) / np.maximum(seen.sum(axis=0), 1)
        for name, xy in steady.items():
            xy -= sway
            if name.endswith("_wrist"):
                here = stand & np.isfinite(xy[:, 0])
                if here.any():
                    xy[here] = np.median(xy[here], axis=0)
    return steady


def _stands(apart: FloatArray, use: BoolArray, span: float) -> list[BoolArray]:
    """Masks (M,) of the stretches of ``use`` with hands and feet in the same places.

    ``apart`` (M, 2) is from one planted point to another, so a moving camera changes nothing.
    """
    if not use.any():
        return []
    place = _running_place(np.where(use[:, None], apart, np.nan))
    left, found = use & np.isfinite(place[:, 0]), []
    while left.sum() >= 2 * _PLACE_S * RATE_HZ:
        middle = _usual_place(place[left], span, within=_SET_ANEW)
        there = left & (length(place - middle) < _SET_ANEW * span)
        if not there.any():
            break
        found.append(middle)
        left &= ~there
    if len(found) < 2:
        return [use]
    away = np.nan_to_num(np.array([length(place - middle) for middle in found]), nan=np.inf)
    nearest = away.argmin(axis=0)
    return [use & (nearest == i) for i in range(len(found)) if (use & (nearest == i)).any()]


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
