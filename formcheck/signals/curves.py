"""From a pose track to evenly spaced, smoothed signals of one set."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import CUTOFF_HZ, RATE_HZ, low_pass, resample, without_outliers
from formcheck.maths.geometry import length
from formcheck.maths.stretches import stretches
from formcheck.pose.track import INDEX, LANDMARKS, REQUIRED, PoseTrack
from formcheck.signals.body_fit import BodyFit, fit_body
from formcheck.signals.body_model import SIDES
from formcheck.signals.ground import (
    at_one_size,
    find_position,
    planted_side,
    without_sway,
)
from formcheck.signals.view import View

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


# Getting down or up: the hips this far from their usual line, the arm's landmarks this many times
# further from the body than usual, for at most so long.
_LEFT_THE_LINE_DEG, _NO_ARM_OF_IT, _GETS_UP_S = 20.0, 2.5, 2.5
_SETTLED_S = 0.5  # in position for so long at the very end: it is no getting up
_SEEN_NEARBY_S = 0.11  # half of the longest time between two looks, and a little

# The joints that must be seen for each curve of the body: a body in space has them all.
_ARM = ("shoulder", "elbow", "wrist")
_TRUNK = ("shoulder", "hip")
_NEEDS = {
    "elbow_deg": _ARM,
    "elbow_left_deg": _ARM,
    "elbow_right_deg": _ARM,
    "elbow_sd_deg": _ARM,
    "body_line_deg": (*_TRUNK, "ankle"),
    "body_line_knee_deg": (*_TRUNK, "knee"),
    "line_sd_deg": _TRUNK,
    "head_deg": (*_TRUNK, "ear"),
    "head_sd_deg": (*_TRUNK, "ear"),
    "flare_deg": _ARM,
    "flare_sd_deg": _ARM,
    "reach": ("shoulder", "wrist"),
    "shoulder_height": ("shoulder", "wrist"),
    "hip_height": ("hip", "wrist"),
}


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
    Each angle has its ``…_sd_deg``, what the fit of the body itself doubts it by (one sd; what it
    is known by in the end stands in ``calibration``). ``misfit`` of the landmarks with one body.
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
    elbow_sd_deg: FloatArray
    body_line_deg: FloatArray
    body_line_knee_deg: FloatArray
    line_sd_deg: FloatArray
    head_deg: FloatArray
    head_sd_deg: FloatArray
    flare_deg: FloatArray
    flare_sd_deg: FloatArray
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
    bridged: BoolArray  # the arm was lost here: filled in, or taken for something else
    misfit: float = 0.0
    body: BodyFit | None = None  # in space, where a body could be fitted
    by_reach: bool = False  # the elbow is told from how far one shoulder is from its hand, no more

    def between(self, start_s: float, end_s: float) -> slice:
        """Grid slice of a span: one sample at least, none when the clip does not hold it."""
        half_s = 0.5 / self.rate_hz
        if end_s < self.t_s[0] - half_s or start_s > self.t_s[-1] + half_s:
            return slice(0, 0)
        first = min(int(np.searchsorted(self.t_s, start_s - 1e-9)), len(self.t_s) - 1)
        last = int(np.searchsorted(self.t_s, end_s + 1e-9))
        return slice(first, max(last, first + 1))


def read_signals(
    track: PoseTrack,
    view: View,
    hands_above_feet: float | None = None,
    on_knees: bool | None = None,
) -> Signals:
    """All curves of one clip. Pure: no files, no clock.

    ``hands_above_feet`` (arm lengths) and ``on_knees`` help a front view, which cannot tell a
    raised end from a tilted camera; other views do not need them.
    """
    grid = on_grid(track)
    grid_s = grid.t_s
    near = planted_side(grid.points, view.near_side or "left")
    in_position = find_position(grid.points, near, view)
    centre_px = np.array([track.width / 2, track.height / 2])
    points = at_one_size(grid.points, near, view, in_position, centre_px)
    steady = without_sway(points, near, view, in_position)
    body = None
    if view.kind != "rear" and in_position.any():
        body = fit_body(
            steady, in_position, track.width, track.height, view.kind, near, view.yaw_deg,
            hands_above_feet, on_knees,
        )  # fmt: skip
    if body:
        in_position = _without_getting_up(in_position, body)
    arm_px = body.arm_length_px if body else _span_px(_in_picture(track)) or float("nan")
    return Signals(
        t_s=grid_s,
        rate_hz=RATE_HZ,
        in_position=in_position,
        **_curves(body, view, near, in_position, steady),
        drawn_px=grid.points,
        points_px=points,
        steady_px=steady,
        arm_length_px=arm_px,
        near_side=near,
        pose_rate_hz=grid.pose_rate_hz,
        noise=grid.noise_px / arm_px,
        bridged=_bridged(track, grid, [near] if view.near_side else list(SIDES))
        | (body is not None and body.arm_misfit > _NO_ARM_OF_IT),
        misfit=body.misfit if body else 0.0,
        body=body,
        by_reach=False,
    )


def _without_getting_up(in_position: BoolArray, body: BodyFit) -> BoolArray:
    """``in_position`` without the ends of each stretch in which the body leaves the push-up.

    Who gets down or up still has the hands on the floor, but the hips far from the line that they
    keep in the set and joints that the body of the set cannot have, until its arms fit again. A
    stretch that ends in the set's own position ends in no such thing: an arm alone at the bottom
    of a first or last rep is as strange.
    """
    line = body.curve["line_knee" if body.on_knees else "line"]
    usual = float(np.nanmedian(line[in_position])) if in_position.any() else 0.0
    off_line = np.abs(line - usual) > _LEFT_THE_LINE_DEG
    strange = off_line & (body.arm_misfit > _NO_ARM_OF_IT)
    fits = ~(body.arm_misfit > _NO_ARM_OF_IT / 2)
    settled = fits & ~off_line
    outermost = round(_SETTLED_S * RATE_HZ)
    kept = in_position.copy()
    for places in stretches(in_position):
        for ordered in (places, places[::-1]):
            soon = np.flatnonzero(strange[ordered[: round(_GETS_UP_S * RATE_HZ)]])
            if len(soon) and not settled[ordered[:outermost]].all():
                again = np.flatnonzero(fits[ordered[soon[-1] :]])
                kept[ordered[: soon[-1] + (int(again[0]) if len(again) else 1)]] = False
    return kept


def _curves(
    body: BodyFit | None,
    view: View,
    near: str,
    in_position: BoolArray,
    seen: Mapping[str, FloatArray],
) -> dict[str, FloatArray]:
    """The curves of a body in space; what the view hides, or was not ``seen``, is unknown."""
    blank = np.full(len(in_position), np.nan)
    if body is None:
        return dict.fromkeys(_NEEDS, blank)
    of, sd = body.curve, body.sd
    far = "left" if near == "right" else "right"
    curves = {
        "elbow_deg": of["elbow"],
        "elbow_left_deg": of["elbow_left"],
        "elbow_right_deg": of["elbow_right"],
        "body_line_deg": of["line"],
        "body_line_knee_deg": of["line_knee"],
        "head_deg": of["head"],
        "flare_deg": of["flare"],
        "reach": _mean([_reach(body, side) for side in SIDES]),
        "shoulder_height": of["shoulder_z"],
        "hip_height": of["hip_z"],
        "elbow_sd_deg": sd["elbow"],
        "line_sd_deg": sd["line_knee" if body.on_knees else "line"],
        "head_sd_deg": sd["head"],
        "flare_sd_deg": sd["flare"],
    }
    if view.from_side:
        curves[f"elbow_{far}_deg"] = blank
    if view.along_body:
        curves |= dict.fromkeys(("body_line_deg", "body_line_knee_deg", "head_deg"), blank)
    sides = list(SIDES) if view.along_body else [near]
    for name, joints in _NEEDS.items():
        there = in_position & _shown(seen, sides, joints)
        curves[name] = np.where(there, curves[name], np.nan)
    return curves


def _shown(seen: Mapping[str, FloatArray], sides: list[str], joints: tuple[str, ...]) -> BoolArray:
    """(M,) where these joints of these sides were all seen."""
    every = [np.isfinite(seen[f"{side}_{joint}"][:, 0]) for side in sides for joint in joints]
    return np.asarray(np.all(every, axis=0))


def _reach(body: BodyFit, side: str) -> FloatArray:
    at = body.bodies.joint
    return length(at[f"{side}_shoulder"] - at[f"{side}_wrist"])


def _mean(curves: list[FloatArray]) -> FloatArray:
    return np.asarray(np.mean(curves, axis=0))


@dataclass(frozen=True)
class Grid:
    """The landmarks at even times, and how well they are known."""

    t_s: FloatArray
    points: dict[str, FloatArray]
    pose_rate_hz: float
    noise_px: float  # sd of what is left of the landmarks' jitter, one coordinate


def on_grid(track: PoseTrack) -> Grid:
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
        even = resample(track.t_s, without_outliers(track.t_s, flat[:, known]), grid)
        smooth[:, known] = low_pass(even, RATE_HZ, cutoff_hz)
    places_px = smooth.reshape(len(grid), -1, 2)
    # A landmark is one point: what is wrong in x is not to be trusted in y.
    places_px[np.isnan(places_px).any(axis=2)] = np.nan
    return Grid(
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


def _bridged(track: PoseTrack, grid: Grid, sides: list[str]) -> BoolArray:
    """Grid times whose nearest sight of the arm is further off than the pose rate explains."""
    names = [f"{side}_{joint}" for side in sides for joint in ("shoulder", "wrist")]
    seen_s = track.t_s[np.isfinite(np.stack([track.xy(name)[:, 0] for name in names])).all(axis=0)]
    if len(seen_s) < 2:
        return np.ones(len(grid.t_s), dtype=bool)
    after = np.clip(np.searchsorted(seen_s, grid.t_s), 1, len(seen_s) - 1)
    away = np.minimum(np.abs(grid.t_s - seen_s[after - 1]), np.abs(seen_s[after] - grid.t_s))
    return np.asarray(away > max(_SEEN_NEARBY_S, 0.75 / grid.pose_rate_hz))


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
