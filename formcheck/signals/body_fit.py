"""One body and one camera fitted to the landmarks of a whole set.

No picture shows an arm's length, the camera's place or how far a landmark lies from its joint.
A set shows the same body many times: bent and straight, hands where they were planted. A body
(`body_model`) is fitted to half a dozen moments of the set, from straight to deep, by least
squares, each landmark beside its joint by what landmarks of other bodies are on average, a
constant that is this body's own, and what is left from moment to moment. How straight the arms
were at their straightest is all but invisible, so it is not fitted: the whole fit is done for
several bends, and each counts by how well it fits and how usual it is. Then, with body and
camera known, every moment of the set is solved for the pose alone. The body's line from the side
is what the near shoulder, hip and foot show, the less so the worse the landmarks fit one body: the
body in space tells how far that lies from the line of the body's middle.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray, IntArray
from formcheck.maths.geometry import length
from formcheck.maths.least_squares import least_squares
from formcheck.signals.body_model import (
    LANDMARKS,
    LENGTHS,
    POSE,
    SET,
    SIDES,
    Bodies,
    elbow_deg,
    flare_deg,
    line_deg,
    place,
    project,
    rise_deg,
)
from formcheck.signals.calibration import (
    MIDDLE_BEND,
    ONE_BODY,
    USUAL_MISFIT,
    Landmarks,
    landmarks_of,
)

# Moments that a set is fitted to, by how far the shoulders are up, 0 deepest, 1 highest.
_MOMENTS = ((0.96, 2.0), (0.80, 0.96), (0.55, 0.80), (0.30, 0.55), (0.12, 0.30), (-1.0, 0.12))
_LEAST_FRAMES = 3

# How the straightest arms of a set bend, in degrees, for which the fit is done; and how usual
# that is: most people lock out (165 to 175 on pose landmarks, common practice), some never do.
_BENDS_DEG = np.array([3.0, 7.0, 11.0, 16.0, 22.0, 29.0, 38.0])
_LOCKED_DEG, _LOCKED_SD_DEG, _NEVER_LOCKS, _NEVER_DEG = 8.0, 3.0, 0.12, 45.0
# Landmarks tell less of it than their spreads promise: by the likelihood of the true bends of 98
# rendered sets (a fit), a quarter of it from the side, next to nothing from before the head, where
# arms bend toward the camera.
_SHARED = {"side": 4.0, "oblique": 1.5, "front": 8.0}

# Mean and spread of what is known of bodies and cameras before anything is seen. Lengths in arm
# lengths: means between rendered bodies and de Leva 1996, ANSUR II (Gordon et al. 2014), spreads
# (of the logarithm) those of 71 rendered bodies and at least what the two sources differ by.
_BODY: Mapping[str, tuple[float, float]] = {
    "upper_per_fore": (1.09, 0.07),
    "shoulders": (0.345, 0.055),
    "hips": (0.222, 0.06),
    "trunk": (0.935, 0.03),
    "thigh": (0.77, 0.06),
    "shank": (0.86, 0.045),
    "neck": (0.452, 0.035),
    "ears": (0.150, 0.03),
    "hands": (0.47, 0.13),
    "feet": (0.21, 0.09),
    "swivel": (np.radians(45.0), np.radians(20.0)),
    "arm": (0.0, 0.035),
}
# A phone's main camera while filming, 24 to 28 mm equivalent, cropped or not; held level by eye,
# anywhere from the floor to the chest (common practice).
_LOG_FOCAL, _LOG_FOCAL_SD = np.log(0.70), 0.22
_PITCH_DEG, _PITCH_SD_DEG, _ROLL_SD_DEG = 8.0, 9.0, 2.0
_YAW_SD_DEG = 12.0  # of the yaw that was recognised
# On the toes a bent knee lets the hips leave the line to the ankles by this share of its bend.
_LEG_SHARE = 0.53
_TOES_LEG_DEG, _KNEES_LEG_DEG = (4.0, 4.0), (8.0, 8.0)  # mean and spread of ``leg``
# Of the moments of a set, degrees (hands: hundredths of 0.57 arm lengths): mean, its spread between
# sets, and spread within one.
_POSE_DEG: Mapping[str, tuple[float, float, float]] = {
    "uneven": (0.0, 4.0, 3.0), "lean": (0.0, 40.0, 15.0), "line": (0.0, 7.0, 7.0),
    "head": (5.0, 8.0, 10.0), "turn": (0.0, 4.0, 8.0), "twist": (0.0, 6.0, 4.0),
    "wider": (0.0, 0.6, 0.6),
}  # fmt: skip
# Lean of the arms at the top, and its spread: upright on the floor; on raised hands square to the
# body, which is steeper than this.
_UPRIGHT_DEG, _STEEP_DEG = (1.5, 4.0), 18.0
# Height of ankles and knees over the wrists on one floor, arm lengths; unknown how far they or
# the hands are raised.
ANKLE_ABOVE_WRIST, KNEE_ABOVE_WRIST = 0.30, 0.02
_RAISED_SD, _RAISED_KNOWN_SD = 0.35, 0.08

_BEFORE_THE_HEAD_DEG = 62.0  # yaw from which both hands show side by side

_ITERATIONS, _STARTS = (
    12,
    ((0.0, 8.0, 0.0), (0.0, 1.0, -0.25), (12.0, 12.0, 0.0), (-12.0, 12.0, 0.0)),
)
# Hands stay where they are planted, and so do feet or knees; people turn about the toes, so that
# ankles move a little, and knees roll (arm lengths; assumed, rendered feet do not move).
_FOOT_MOVES = 0.04
# How far elbows bend otherwise than at the moments fitted: at the top, and of the bend besides.
_TOP_SD_DEG, _BEND_SHARE = 8.0, 0.7
_STEP = 1e-5
_AT_ONCE = 3600  # moments solved side by side, two minutes: more take memory and no less time
_ARM = ("shoulder", "elbow", "wrist")
_FAR_CONSTANT, _FAR_MOVING = 2.5, 1.5  # standard deviations from which a landmark counts for less
_CURVES = (
    "elbow", "elbow_left", "elbow_right", "flare", "flare_left", "flare_right", "line",
    "line_knee", "head", "inclination", "spacing", "upper_arm", "shoulder_z", "hip_z",
)  # fmt: skip


@dataclass(frozen=True)
class BodyFit:
    """A set in space. Arrays (M,) over the even grid, NaN where the landmarks were not seen.

    ``curve`` by name: ``elbow`` (mean of both) and each, ``flare``, ``line`` to the ankle and to
    the knee, ``head``, ``inclination`` of ankles to shoulders, ``upper_arm`` its elbow end below
    its shoulder end (all deg), ``spacing`` hands over shoulders, ``shoulder_z`` and ``hip_z``
    over the hands (arm lengths). ``sd`` the fit's own doubt of each. ``bodies`` every joint in
    space; where the near side was the right one they are mirrored back. ``misfit`` root mean
    square of how far landmarks lie from the model, over what they usually do: of the whole set;
    ``arm_misfit`` (M,) of the arms at each moment. ``on_knees`` what fits better.
    """

    curve: Mapping[str, FloatArray]
    sd: Mapping[str, FloatArray]
    bodies: Bodies
    set_parameters: FloatArray
    yaw_deg: float
    pitch_deg: float
    misfit: float
    arm_misfit: FloatArray
    arm_length_px: float
    on_knees: bool


@dataclass(frozen=True)
class _Problem:
    """Moments (K, 14, 2) of a set, and what is known before: means and spreads."""

    seen: FloatArray
    up: FloatArray  # (K,) how high the shoulders are
    scale: float  # arm length in long sides of the picture
    landmarks: Landmarks
    mean: FloatArray
    sd: FloatArray
    on_knees: bool
    front: bool
    raised: tuple[float, float]
    whiten: FloatArray | None = None  # (28K, 28K) of all misfits of a set together

    @property
    def moments(self) -> int:
        return len(self.seen)


@dataclass(frozen=True)
class _Solved:
    at: FloatArray
    cost: float
    covariance: FloatArray


Trust = tuple[FloatArray | float, FloatArray | float]


def fit_body(
    points_px: Mapping[str, FloatArray],
    in_position: BoolArray,
    width: int,
    height: int,
    kind: str,
    near_side: str,
    yaw_deg: float,
    hands_above_feet: float | None = None,
    on_knees: bool | None = None,
) -> BodyFit | None:
    """Fit a body to smoothed image points (M, 2) by landmark name; None where too little shows.

    ``kind`` is side, oblique or front, ``yaw_deg`` as recognised. ``hands_above_feet`` (arm
    lengths) and ``on_knees`` where they are known from elsewhere.
    """
    mirrored = kind != "front" and near_side == "right"
    picture = _picture(points_px, width, height, mirrored)
    reach = _reach(picture, kind)
    known = in_position & np.isfinite(reach)
    if known.sum() < 10:
        return None
    low, high = np.nanpercentile(reach[known], [2.0, 96.0])
    up = (reach - low) / max(high - low, 1e-6)
    moments = [known & (up >= a) & (up < b) for a, b in _MOMENTS]
    moments = [now for now in moments if now.sum() >= _LEAST_FRAMES]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # landmarks never seen
        seen = np.array([np.nanmedian(picture[now], axis=0) for now in moments])
    if not moments or np.isfinite(seen).all(axis=2).sum(axis=1).max() < 6:
        return None
    at = np.array([float(np.median(up[now])) for now in moments])
    yaw = np.radians(90.0 if kind == "front" else yaw_deg)
    best: tuple[_Problem, _Solved] | None = None
    for knees in (False, True) if on_knees is None else (on_knees,):
        landmarks = landmarks_of(kind, LANDMARKS, kneeling=knees)
        problem = _problem(seen, at, float(high), landmarks, yaw, knees, hands_above_feet)
        found = _started(problem)
        if best is None or found.cost < best[1].cost:
            best = problem, found
    assert best is not None
    problem, first = best
    trust: Trust = (1.0, 1.0)
    for _ in range(3):
        first = _solve(problem, first.at, trust)
        trust = _trust(problem, first.at)
    bends = first.at[SET_SIZE:].reshape(-1, POSE_SIZE)[:, POSE.index("bend")]
    every, _ = _together(problem, bends, trust)
    problem = replace(problem, whiten=np.linalg.inv(np.linalg.cholesky(every)))
    straight = SET_SIZE  # place of the first moment's bend
    tried = []
    at_start = first.at
    for bend in np.radians(_BENDS_DEG):
        tried.append(_solve(problem, at_start, trust, (straight, float(bend)), iterations=8))
        at_start = tried[-1].at
    weight = _weights(tried, kind)
    bend = float(weight @ np.radians(_BENDS_DEG))
    nearest = tried[int(np.argmin(np.abs(np.radians(_BENDS_DEG) - bend)))]
    settled = _solve(problem, nearest.at, trust, (straight, bend), iterations=8)
    return _over_time(
        problem, settled, tried, weight, trust, picture, up, known, mirrored, max(width, height),
        square=kind == "side",
    )  # fmt: skip


SET_SIZE, POSE_SIZE = len(SET), len(POSE)


def _picture(
    points_px: Mapping[str, FloatArray], width: int, height: int, mirrored: bool
) -> FloatArray:
    """(M, 14, 2) landmarks in long sides of the picture from its centre, near side left."""
    centre, long_side = np.array([width / 2, height / 2]), max(width, height)

    def source(name: str) -> str:
        side, joint = name.split("_", 1)
        return f"{'right' if side == 'left' else 'left'}_{joint}" if mirrored else name

    points = np.stack(
        [(points_px[source(name)] - centre) / long_side for name in LANDMARKS], axis=1
    )
    return points * np.array([-1.0, 1.0]) if mirrored else points


def _reach(picture: FloatArray, kind: str) -> FloatArray:
    """(M,) shoulder to wrist in the picture: of both arms from the front, of the near one else."""
    index = LANDMARKS.index
    arms = [
        length(picture[:, index(f"{s}_shoulder")] - picture[:, index(f"{s}_wrist")]) for s in SIDES
    ]
    return np.asarray(np.mean(arms, axis=0)) if kind == "front" else arms[0]


def _problem(
    seen: FloatArray,
    up: FloatArray,
    scale: float,
    landmarks: Landmarks,
    yaw: float,
    on_knees: bool,
    hands_above_feet: float | None,
) -> _Problem:
    index = LANDMARKS.index
    hands = np.nanmean(seen[:, [index(f"{s}_wrist") for s in SIDES]], axis=(0, 1))
    focal = float(np.exp(_LOG_FOCAL))
    leg = _KNEES_LEG_DEG if on_knees else _TOES_LEG_DEG
    known = {
        "yaw": (yaw, np.radians(_YAW_SD_DEG)),
        "pitch": (np.radians(_PITCH_DEG), np.radians(_PITCH_SD_DEG)),
        "roll": (0.0, np.radians(_ROLL_SD_DEG)),
        "log_focal": (_LOG_FOCAL, _LOG_FOCAL_SD),
        "right": (float(hands[0]) / focal, 0.3),
        "down": (float(hands[1]) / focal, 0.3),
        "log_distance": (float(np.log(focal / scale)), 1.0),
        "leg": (np.radians(leg[0]), np.radians(leg[1])),
        **_BODY,
    }
    above = KNEE_ABOVE_WRIST if on_knees else ANKLE_ABOVE_WRIST
    raised = (above, _RAISED_SD)
    if hands_above_feet is not None:
        raised = (above - hands_above_feet, _RAISED_KNOWN_SD)
    mean, sd = np.array([known[name] for name in SET]).T
    front = bool(np.sin(yaw) > np.sin(np.radians(_BEFORE_THE_HEAD_DEG)))
    return _Problem(seen, up, scale, landmarks, mean, sd, on_knees, front, raised)


def _landmark_places(bodies: Bodies, bend: FloatArray, landmarks: Landmarks) -> FloatArray:
    """(..., 14, 3) where landmarks of an average body lie, beside its joints."""
    bent = bend[..., None, None] / (np.pi / 2)
    offset = landmarks.straight + landmarks.bending * bent
    return np.asarray(bodies.at + (offset[..., None, :] @ bodies.axes)[..., 0, :])


def _away(
    problem: _Problem, of_set: FloatArray, pose: FloatArray, seen: FloatArray
) -> tuple[FloatArray, Bodies]:
    """(..., 14, 2) how far landmarks lie from where an average body's would, in arm lengths."""
    bodies = place(of_set, pose, problem.on_knees)
    places = _landmark_places(bodies, pose[..., POSE.index("bend")], problem.landmarks)
    away = (project(of_set, places) - seen) / problem.scale
    return np.where(np.isfinite(away), away, 0.0), bodies


def _residuals(problem: _Problem, at: FloatArray, trust: Trust) -> FloatArray:
    """(..., R) everything that a set's parameters (..., 20 + 9K) leave over, in sds."""
    pose = at[..., SET_SIZE:].reshape(*at.shape[:-1], problem.moments, POSE_SIZE)
    away, bodies = _away(problem, at[..., None, :SET_SIZE], pose, problem.seen)
    return _left_over(problem, at, away, _foot(problem, bodies), trust)


def _slope(problem: _Problem, at: FloatArray, trust: Trust) -> tuple[FloatArray, FloatArray]:
    """(R, 20 + 9K) what a set's residuals change by with each parameter, and the residuals (R,).

    A moment shows nothing of another one's pose, so a parameter of the pose is moved in all
    moments at once, and what comes of it put together for each moment alone.
    """
    count, before = problem.moments, 1 + SET_SIZE
    pose = at[SET_SIZE:].reshape(count, POSE_SIZE)
    sets = np.tile(at[:SET_SIZE], (before + POSE_SIZE, 1, 1))
    sets[1:before, 0] += _STEP * np.eye(SET_SIZE)
    poses = np.tile(pose, (before + POSE_SIZE, 1, 1))
    poses[before:] += _STEP * np.eye(POSE_SIZE)[:, None]
    away, bodies = _away(problem, sets, poses, problem.seen)

    def each_alone(values: FloatArray) -> FloatArray:
        every = np.repeat(values[:1], 1 + len(at), axis=0)
        every[:before] = values[:before]
        moment = np.arange(count)[:, None]
        place = before + POSE_SIZE * moment + np.arange(POSE_SIZE)
        every[place, moment] = values[before:].swapaxes(0, 1)
        return every

    moved = np.vstack([at, at + _STEP * np.eye(len(at))])
    away, foot = each_alone(away), each_alone(_foot(problem, bodies))
    every = _left_over(problem, moved, away, foot, trust)
    return ((every[1:] - every[0]) / _STEP).T, every[0]


def _left_over(
    problem: _Problem, at: FloatArray, away: FloatArray, foot: FloatArray, trust: Trust
) -> FloatArray:
    """(..., R) residuals, of how far landmarks lie ``away`` (..., K, 14, 2), where the body turns
    about its ``foot`` (..., K, 2), and how usual the parameters are."""
    lead = at.shape[:-1]
    pose = at[..., SET_SIZE:].reshape(*lead, problem.moments, POSE_SIZE)
    if problem.whiten is None:
        fits = list(_apart(problem, away, trust))
    else:
        fits = [away.reshape(*lead, -1) @ problem.whiten.T]
    prior = (at[..., :SET_SIZE] - problem.mean) / problem.sd
    for name in LENGTHS:  # a body with long arms has everything else shorter in arm lengths
        i = SET.index(name)
        ratio = np.log(np.maximum(at[..., i], 0.02) / problem.mean[i])
        prior[..., i] = (ratio + at[..., SET.index("arm")]) / problem.sd[i]
    parts = [*fits, prior]
    for name, (usual, between, within) in _POSE_DEG.items():
        angle = pose[..., POSE.index(name)] - np.radians(usual)
        if name == "line" and not problem.on_knees:  # of the hips to the ankles, not the knees
            angle = angle + _LEG_SHARE * at[..., SET.index("leg"), None]
        middle = angle.mean(axis=-1, keepdims=True)
        parts += [middle / np.radians(between), (angle - middle) / np.radians(within)]
    steep = np.maximum(pose[..., :1, POSE.index("trunk")] - np.radians(_STEEP_DEG), 0.0)
    lean = pose[..., :1, POSE.index("lean")] - np.radians(_UPRIGHT_DEG[0]) + steep
    parts.append(lean / np.hypot(np.radians(_UPRIGHT_DEG[1]), 0.5 * steep))
    height = foot[..., 1].mean(axis=-1, keepdims=True)
    parts.append((height - problem.raised[0]) / problem.raised[1])
    parts.append((foot - foot.mean(axis=-2, keepdims=True)) / _FOOT_MOVES)
    return np.concatenate([part.reshape(*lead, -1) for part in parts], axis=-1)


def _apart(problem: _Problem, away: FloatArray, trust: Trust) -> tuple[FloatArray, FloatArray]:
    """Constant (..., 1, 14, 2) and moving (..., K, 14, 2) misfit of every landmark, sds."""
    mean = away.mean(axis=-3, keepdims=True)
    own, left = problem.landmarks.own_sd[:, None], problem.landmarks.moving_sd[:, None]
    constant = trust[0] * mean / np.sqrt(own**2 + left**2 / problem.moments)
    return constant, trust[1] * (away - mean) / left


def _together(problem: _Problem, bend: FloatArray, trust: Trust) -> tuple[FloatArray, FloatArray]:
    """What one body's landmarks have in common over moments with elbows bent by ``bend`` (K,).

    (28K, 28K) covariance of all misfits, and (28K, 56) that with the body's own means and changes.
    """
    count, between, within = problem.moments, problem.landmarks.between, problem.landmarks.within
    loose = np.repeat(1.0 / np.maximum(np.asarray(trust[0]).reshape(-1), 1e-3), 2)
    jumps = np.repeat(1.0 / np.maximum(np.asarray(trust[1]).reshape(-1), 1e-3), 2)
    both = np.concatenate([loose, loose])
    between, within = between * np.outer(both, both), within * np.outer(jumps, jumps)
    size = len(within)
    shows = np.concatenate([_shows(np.array([b]), size) for b in bend])
    unseen = np.repeat(~np.isfinite(problem.seen).all(axis=-1), 2, axis=-1).reshape(-1)
    with_own = shows @ between
    every = with_own @ shows.T + np.kron(np.eye(count), within)
    return every + np.diag(np.where(unseen, 1e4, 0.0)), with_own


def _shows(bend: FloatArray, size: int) -> FloatArray:
    """(size, 2 size) what means and changes of a body show at one ``bend`` (1,) of the elbows."""
    more = bend / (np.pi / 2) - MIDDLE_BEND
    return np.concatenate([np.eye(size), more * np.eye(size)], axis=1)


def _foot(problem: _Problem, bodies: Bodies) -> FloatArray:
    """(..., 2) where the body turns about its feet or knees: along it, and up."""
    return bodies.middle("knee" if problem.on_knees else "ankle")[..., ::2]


def _started(problem: _Problem) -> _Solved:
    """A first fit from the best of several starts, with landmarks little trusted."""
    found = []
    for yaw, pitch, focal in _STARTS:
        of_set = problem.mean.copy()
        of_set[SET.index("yaw")] += np.radians(yaw)
        of_set[SET.index("pitch")] = np.radians(pitch)
        of_set[SET.index("log_focal")] += focal
        of_set[SET.index("log_distance")] += focal
        poses = [
            np.radians(
                [10.0 + 85.0 * (1.0 - min(up, 1.0)), 0.0, lean, trunk, 0.0, 6.0, 0.0, 0.0, 0.0]
            )
            for up, lean, trunk in zip(problem.up, *_slopes_deg(problem), strict=True)
        ]
        start = np.concatenate([of_set, *poses])
        bend = (SET_SIZE, float(np.radians(_LOCKED_DEG)))
        found.append(_solve(problem, start, (0.3, 0.6), bend, iterations=4))
    best = min(found, key=lambda solved: solved.cost)
    return _solve(problem, best.at, (0.3, 0.6), iterations=8)


def _slopes_deg(problem: _Problem) -> tuple[FloatArray, FloatArray]:
    """(K,) lean of the arms and rise of the trunk as the picture shows them, if it shows them."""
    index = LANDMARKS.index
    shoulder, wrist, hip = (
        problem.seen[:, index(f"left_{j}")] for j in ("shoulder", "wrist", "hip")
    )
    arm, trunk = shoulder - wrist, shoulder - hip
    lean = np.degrees(np.arctan2(-arm[:, 0], -arm[:, 1]))
    rise = np.degrees(np.arctan2(-trunk[:, 1], -trunk[:, 0]))
    usual = 30.0 if problem.on_knees else 20.0
    square = abs(np.sin(problem.mean[SET.index("yaw")])) < np.sin(np.radians(60.0))
    if not square:
        return np.full(len(arm), 3.0), np.full(len(arm), usual)
    return np.nan_to_num(lean, nan=3.0), np.clip(np.nan_to_num(rise, nan=usual), -30.0, 85.0)


def _solve(
    problem: _Problem,
    start: FloatArray,
    trust: Trust,
    fixed: tuple[int, float] | None = None,
    iterations: int = _ITERATIONS,
) -> _Solved:
    """Least squares by Levenberg and Marquardt, the Jacobian by moving all parameters at once."""
    if fixed is None:
        fixed = (SET_SIZE, float(start[SET_SIZE]))
    base = start.copy()
    base[fixed[0]] = fixed[1]
    free = np.delete(np.arange(len(start)), fixed[0])

    def whole(x: FloatArray) -> FloatArray:
        at = base.copy()
        at[free] = x
        return at

    def slope(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        jacobian, left = _slope(problem, whole(x), trust)
        return jacobian[:, free], left

    def misfit(x: FloatArray) -> FloatArray:
        return _residuals(problem, whole(x), trust)

    fit = least_squares(misfit, slope, base[free], iterations)
    base[free] = fit.x
    covariance = np.zeros((len(base), len(base)))
    covariance[np.ix_(free, free)] = np.linalg.pinv(fit.jacobian.T @ fit.jacobian)
    return _Solved(base, fit.cost, covariance)


def _parts(problem: _Problem, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Size of the constant (14,) and the moving (14,) misfit of each landmark, in sds."""
    pose = at[SET_SIZE:].reshape(problem.moments, POSE_SIZE)
    away, _ = _away(problem, at[None, :SET_SIZE], pose, problem.seen)
    constant, moving = _apart(problem, away, (1.0, 1.0))
    constant = constant[0]
    moves = np.sqrt((moving**2).sum(axis=(0, 2)) / (2 * max(problem.moments - 1, 1)))
    return length(constant) / np.sqrt(2.0), moves


def _trust(problem: _Problem, at: FloatArray) -> Trust:
    """Landmarks far from any body count for less (Huber)."""
    constant, moving = _parts(problem, at)
    return (
        np.sqrt(np.minimum(1.0, _FAR_CONSTANT / np.maximum(constant, 1e-9)))[:, None],
        np.sqrt(np.minimum(1.0, _FAR_MOVING / np.maximum(moving, 1e-9)))[:, None],
    )


def _weights(tried: Sequence[_Solved], kind: str) -> FloatArray:
    """How likely each bend of the straightest arms is, from its fit and from what is usual."""
    away = (_BENDS_DEG - _LOCKED_DEG) / _LOCKED_SD_DEG
    locked = np.exp(-0.5 * away**2) / (_LOCKED_SD_DEG * np.sqrt(2 * np.pi))
    usual = (1 - _NEVER_LOCKS) * locked + _NEVER_LOCKS / _NEVER_DEG
    cost = np.array([solved.cost for solved in tried])
    weight = usual * np.gradient(_BENDS_DEG) * np.exp(-0.5 * (cost - cost.min()) / _SHARED[kind])
    return np.asarray(weight / weight.sum())


def _curves(bodies: Bodies, pose: FloatArray, of_set: FloatArray) -> dict[str, FloatArray]:
    elbows = [elbow_deg(bodies, side) for side in SIDES]
    flares = [flare_deg(bodies, side) for side in SIDES]
    shoulder, ankle = bodies.middle("shoulder"), bodies.middle("ankle")
    upper = [bodies.joint[f"{s}_shoulder"] - bodies.joint[f"{s}_elbow"] for s in SIDES]
    above = [np.degrees(np.arcsin(u[..., 2] / length(u))) for u in upper]
    hands = of_set[..., SET.index("hands")] + pose[..., POSE.index("wider")]
    spacing = hands / of_set[..., SET.index("shoulders")]
    return {
        "elbow": (elbows[0] + elbows[1]) / 2,
        "elbow_left": elbows[0],
        "elbow_right": elbows[1],
        "flare": (flares[0] + flares[1]) / 2,
        "flare_left": flares[0],
        "flare_right": flares[1],
        "line": line_deg(bodies, "ankle"),
        "line_knee": line_deg(bodies, "knee"),
        "head": np.degrees(pose[..., POSE.index("head")]),
        "inclination": rise_deg(ankle, shoulder),
        "spacing": spacing,
        "upper_arm": (above[0] + above[1]) / 2,
        "shoulder_z": shoulder[..., 2],
        "hip_z": bodies.middle("hip")[..., 2],
    }


def _at_moments(problem: _Problem, at: FloatArray) -> FloatArray:
    """(..., curves, K) every curve at the fitted moments."""
    of_set = at[..., None, :SET_SIZE]
    pose = at[..., SET_SIZE:].reshape(*at.shape[:-1], problem.moments, POSE_SIZE)
    curves = _curves(place(of_set, pose, problem.on_knees), pose, of_set)
    return np.stack([curves[name] for name in _CURVES], axis=-2)


def _doubts(problem: _Problem, tried: Sequence[_Solved], weight: FloatArray) -> FloatArray:
    """(curves, K) sd of every curve at the fitted moments, over all bends that were tried."""
    values, variances = [], []
    for solved in tried:
        moved = np.vstack([solved.at, solved.at + 1e-4 * np.eye(len(solved.at))])
        every = _at_moments(problem, moved)
        slope = (every[1:] - every[0]) / 1e-4  # (P, curves, K)
        variances.append(np.einsum("pck,pq,qck->ck", slope, solved.covariance, slope))
        values.append(every[0])
    middle = np.einsum("b,bck->ck", weight, values)
    spread = np.einsum("b,bck->ck", weight, (np.array(values) - middle) ** 2)
    return np.asarray(np.sqrt(np.einsum("b,bck->ck", weight, variances) + spread))


def _over_time(
    problem: _Problem,
    settled: _Solved,
    tried: Sequence[_Solved],
    weight: FloatArray,
    trust: Trust,
    picture: FloatArray,
    up: FloatArray,
    known: BoolArray,
    mirrored: bool,
    long_side: int,
    square: bool,
) -> BodyFit:
    of_set = settled.at[:SET_SIZE]
    poses = settled.at[SET_SIZE:].reshape(problem.moments, POSE_SIZE)
    away, at_moments = _away(problem, of_set[None], poses, problem.seen)
    foot = _foot(problem, at_moments).mean(axis=0)
    every, with_own = _together(problem, poses[:, POSE.index("bend")], trust)
    own = with_own.T @ np.linalg.solve(every, away.reshape(-1))
    use = np.flatnonzero(known)
    order = np.argsort(problem.up)
    guess = np.stack(
        [np.interp(up[use], problem.up[order], poses[order, i]) for i in range(POSE_SIZE)], axis=1
    )
    more = (guess[:, POSE.index("bend")] / (np.pi / 2) - MIDDLE_BEND)[:, None, None]
    constant, changes = own.reshape(2, len(LANDMARKS), 2)
    seen = picture[use] + (constant + more * changes) * problem.scale
    parts = [
        _each_moment(problem, of_set, foot, guess[now], seen[now], np.asarray(trust[1]))
        for now in np.array_split(np.arange(len(use)), len(use) // _AT_ONCE + 1)
    ]
    pose, arm_misfit = (np.concatenate(values) for values in zip(*parts, strict=True))
    bodies = place(of_set[None], pose, problem.on_knees)
    frames = len(up)
    doubts = _doubts(problem, tried, weight)
    curve, sd = {}, {}
    for i, (name, values) in enumerate(_curves(bodies, pose, of_set[None]).items()):
        curve[name], sd[name] = np.full(frames, np.nan), np.full(frames, np.nan)
        curve[name][use] = values
        sd[name][use] = np.interp(up[use], problem.up[order], doubts[i, order])
    misfit = np.full(frames, np.nan)
    misfit[use] = arm_misfit
    if mirrored:
        for a, b in (("elbow_left", "elbow_right"), ("flare_left", "flare_right")):
            curve[a], curve[b], sd[a], sd[b] = curve[b], curve[a], sd[b], sd[a]
    alike = np.ones(len(LANDMARKS))
    plain, _ = _together(problem, poses[:, POSE.index("bend")], (alike, alike))
    apart = np.linalg.solve(np.linalg.cholesky(plain), away.reshape(-1))
    seen_there = np.isfinite(problem.seen).sum()
    strange = float(np.sqrt(np.sum(apart**2) / seen_there))
    if square:
        bend = pose[:, POSE.index("bend")]
        usual = project(of_set[None], _landmark_places(bodies, bend, problem.landmarks))
        # All where the landmarks fit a body as they usually do, none where they fit no one body.
        believed = float(np.clip((ONE_BODY - strange) / (ONE_BODY - USUAL_MISFIT), 0.0, 1.0)) ** 2
        for name, end in (("line", "ankle"), ("line_knee", "knee")):
            shown = _line_shown_deg(picture[use], end) - _line_shown_deg(usual, end)
            curve[name][use] += believed * shown
    straight = 1.0 - 0.25 * (1.0 - np.cos(settled.at[SET_SIZE]))
    return BodyFit(
        curve=curve,
        sd=sd,
        bodies=_spread_out(bodies, use, frames, mirrored),
        set_parameters=of_set,
        yaw_deg=float(np.degrees(of_set[SET.index("yaw")])),
        pitch_deg=float(np.degrees(of_set[SET.index("pitch")])),
        misfit=strange,
        arm_misfit=misfit,
        arm_length_px=float(problem.scale / straight * long_side),
        on_knees=problem.on_knees,
    )


def _line_shown_deg(picture: FloatArray, end: str) -> FloatArray:
    """(N,) the line of the near side from shoulder to ``end`` in the picture (N, 14, 2), deg."""
    shoulder, hip, foot = (
        picture[:, LANDMARKS.index(f"left_{joint}")] for joint in ("shoulder", "hip", end)
    )
    trunk, leg = shoulder - hip, foot - hip
    turn = trunk[:, 0] * leg[:, 1] - trunk[:, 1] * leg[:, 0]
    angle = np.degrees(np.arctan2(turn, np.sum(trunk * leg, axis=-1)))
    return np.asarray(np.sign(angle) * (180.0 - np.abs(angle)))


def _each_moment(
    problem: _Problem,
    of_set: FloatArray,
    foot: FloatArray,
    guess: FloatArray,
    seen: FloatArray,
    trust: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Poses (N, 9) of all moments, solved side by side; and each one's misfit of the arms."""
    left = problem.landmarks.moving_sd[:, None]
    # Of a moment against those the set was fitted to, as wide as people move from rep to rep: arms
    # all but straight come back to much the same, and landmarks hardly tell how straight they are;
    # how wide the hands are shows from before the head alone.
    anew = 9.0 if problem.front else 1.0
    usual = np.radians([0.0, 4.0, 15.0, 30.0, 8.0, 25.0, 8.0, 6.0, anew])
    spread = np.tile(usual, (len(guess), 1))
    bend = POSE.index("bend")
    spread[:, bend] = np.hypot(np.radians(_TOP_SD_DEG), _BEND_SHARE * guess[:, bend])
    pose, weight = guess.copy(), trust * np.isfinite(seen).all(axis=-1, keepdims=True)

    def misfit(at: FloatArray) -> FloatArray:
        away, bodies = _away(problem, of_set, at, seen)
        planted = (_foot(problem, bodies) - foot) / _FOOT_MOVES
        far = (weight * away / left).reshape(*at.shape[:-1], -1)
        return np.concatenate([far, planted, (at - guess) / spread], axis=-1)

    damping = np.full(len(pose), 1e-2)
    now = misfit(pose)
    cost = np.sum(now**2, axis=-1)
    for _ in range(8):
        moved = pose[None] + _STEP * np.eye(POSE_SIZE)[:, None, :]
        slope = (misfit(moved) - now) / _STEP  # (9, N, R)
        normal = np.einsum("anr,bnr->nab", slope, slope)
        pull = np.einsum("anr,nr->na", slope, now)
        diagonal = np.einsum("naa->na", normal)
        step = np.linalg.solve(
            normal + damping[:, None, None] * diagonal[:, :, None] * np.eye(POSE_SIZE),
            -pull[..., None],
        )[..., 0]
        after = misfit(pose + step)
        reached = np.sum(after**2, axis=-1)
        better = reached < cost
        pose = np.where(better[:, None], pose + step, pose)
        now = np.where(better[:, None], after, now)
        settled = bool(np.max(np.where(better, cost - reached, 0.0)) < 1e-2)
        cost = np.where(better, reached, cost)
        damping = np.where(better, damping * 0.3, damping * 5.0)
        if settled:
            break
    shown = SIDES if problem.front else ("left",)
    arms = [LANDMARKS.index(f"{s}_{joint}") for s in shown for joint in _ARM]
    far = now[:, : 2 * len(LANDMARKS)].reshape(len(pose), -1, 2)[:, arms]
    return pose, np.sqrt(np.mean(far**2, axis=(1, 2)))


def _spread_out(bodies: Bodies, use: IntArray, frames: int, mirrored: bool) -> Bodies:
    """The bodies (N) put back on the whole grid, and the person's left back to the left."""
    at = bodies.at
    if mirrored:
        at = np.roll(at * np.array([1.0, -1.0, 1.0]), len(LANDMARKS) // 2, axis=-2)
    out = np.full((frames, *at.shape[1:]), np.nan)
    out[use] = at
    return Bodies(out, np.full((1, 1, 1), np.nan))
