"""Arms that work one at a time: each elbow from how far its shoulder is from its hand.

The body that is fitted to a whole set bends both arms alike, and fits neither an archer nor one
arm alone. What is left is simpler and less sure: with the hand planted, the distance from shoulder
to wrist fixes the elbow (law of cosines), as far as it shows in the picture. The straight arm of an
archer tells what does not show: its hand and shoulder are as far apart in depth as the other's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.geometry import length
from formcheck.maths.stretches import nearby
from formcheck.pose.track import PoseTrack, Side
from formcheck.signals.body_model import elbow_of_reach_deg
from formcheck.signals.curves import Signals

STRAIGHT_REACH = 0.996  # arm lengths from the shoulder to the hand of an arm bent by ten degrees
# An elbow told from its arm's reach shows more of a bend than there is, by this share on average
# (rendered sets: 4 to 18 degrees of 90 at the bottom, far arms most; exact joints: 0 to 4).
_BENT_TOO_FAR = 0.08
# From the side the arm of an archer leans along the line of sight, and shows less of a bend than
# there is (five rendered sets: 5 to 15 degrees of 100 at the bottom; exact joints: 3 to 12).
_LEANS_TOO_LITTLE = 0.09
# 95 %, deg, of what is left; of the arm that leans 8 at most was seen, on few sets.
PLUS_MINUS_DEG, FROM_SIDE_PLUS_MINUS_DEG = 12.0, 15.0
_LIFTED = 0.3  # arm lengths that one wrist stays higher than the other in a front view
_MOSTLY = 0.8
# Of the time in which one arm is bent, the other has to be straighter by this much.
_BENT_DEG, _APART_DEG, _SHARE = 120.0, 40.0, 0.6
# Shoulders this much off their usual width are not the body's; nor is what was seen so soon
# before or after.
_OTHER_WIDTH, _LOST_AROUND_S = 0.35, 0.25
_SIDES: tuple[Side, Side] = ("left", "right")


def seen_reach(signals: Signals, side: str) -> FloatArray:
    """(M,) shoulder to wrist in the picture, of what it is where that arm is straightest.

    A wrist landmark wanders by more than the hand that it stands for, which stays where it is put.
    """
    px, use = signals.steady_px, signals.in_position
    reach_px = length(px[f"{side}_wrist"] - px[f"{side}_shoulder"])
    known = use & np.isfinite(reach_px)
    if not known.any():
        return np.full(len(reach_px), np.nan)
    straight_px = float(np.percentile(reach_px[known], 92.0))
    return np.where(use, STRAIGHT_REACH * reach_px / straight_px, np.nan)


def seen_height(signals: Signals, sides: Sequence[str]) -> FloatArray:
    """(M,) how high the shoulders are over the hands in the picture, of their highest."""
    px, use = signals.steady_px, signals.in_position
    each = [px[f"{side}_wrist"][:, 1] - px[f"{side}_shoulder"][:, 1] for side in sides]
    height = np.mean(each, axis=0)
    known = use & np.isfinite(height)
    if not known.any():
        return np.full(len(height), np.nan)
    return np.where(use, height / float(np.percentile(height[known], 92.0)), np.nan)


def resting_hand(track: PoseTrack) -> Side | None:
    """The hand that a front view shows off the floor for most of the time; None if neither."""
    left, right = track.xy("left_wrist"), track.xy("right_wrist")
    spans = [length(track.xy(f"{s}_shoulder") - track.xy(f"{s}_wrist")) for s in _SIDES]
    longest = np.fmax(*spans)
    if not np.isfinite(longest).any():
        return None
    shoulders = track.xy("left_shoulder")[:, 1] - track.xy("right_shoulder")[:, 1]
    higher = (left[:, 1] - right[:, 1] - shoulders) / np.nanpercentile(longest, 90)
    known = higher[np.isfinite(higher)]
    if len(known) < 10 or abs(np.median(known)) < _LIFTED:
        return None
    if np.mean(np.sign(known) == np.sign(np.median(known))) < _MOSTLY:
        return None
    return "right" if np.median(known) > 0 else "left"


def each_arm(signals: Signals, resting: Side | None = None) -> Mapping[Side, FloatArray]:
    """Elbow angles (M,) of both arms from the front; of the ``resting`` one nothing is known."""
    reach = {side: seen_reach(signals, side) for side in _SIDES}
    if resting is not None:
        reach[resting] = np.full(len(signals.t_s), np.nan)
        return {side: _elbow_deg(reach[side]) for side in _SIDES}
    longer = np.fmax(reach["left"], reach["right"])
    hidden = np.clip(STRAIGHT_REACH**2 - np.minimum(longer, STRAIGHT_REACH) ** 2, 0.0, 0.15)
    return {side: _elbow_deg(np.sqrt(reach[side] ** 2 + hidden)) for side in _SIDES}


def _elbow_deg(reach: FloatArray, too_far: float = _BENT_TOO_FAR) -> FloatArray:
    seen = elbow_of_reach_deg(reach)
    return seen + too_far * (180.0 - seen)


def carrying_arm(signals: Signals, leans: bool = False) -> Mapping[Side, FloatArray]:
    """Elbow angles (M,) from the side: of the arm on the floor, nothing of the other.

    ``leans`` where it is an archer's.
    """
    carries: Side = "left" if signals.near_side == "left" else "right"
    rests: Side = "right" if carries == "left" else "left"
    unseen = np.full(len(signals.t_s), np.nan)
    too_far = -_LEANS_TOO_LITTLE if leans else _BENT_TOO_FAR
    return {carries: _elbow_deg(seen_reach(signals, carries), too_far), rests: unseen}


def one_at_a_time(signals: Signals) -> bool:
    """Whether a front view shows one arm bent and the other straight, as an archer's."""
    left, right = (elbow_of_reach_deg(seen_reach(signals, side)) for side in _SIDES)
    with np.errstate(invalid="ignore"):
        bent = signals.in_position & (np.fmin(left, right) < _BENT_DEG)
        apart = bent & (np.abs(left - right) > _APART_DEG)
    return bool(bent.any()) and float(apart.sum() / bent.sum()) > _SHARE


def lost_from_front(signals: Signals) -> BoolArray:
    """(M,) where the shoulders are far nearer together or wider apart than usual: a trunk that
    turns over one arm does less, so the landmarks are not on them."""
    width = length(signals.points_px["left_shoulder"] - signals.points_px["right_shoulder"])
    known = signals.in_position & np.isfinite(width)
    if not known.any():
        return ~known
    off = np.abs(width / np.median(width[known]) - 1.0) > _OTHER_WIDTH
    return nearby(off, round(_LOST_AROUND_S * signals.rate_hz))


def of_one_arm(
    signals: Signals,
    elbow: Mapping[Side, FloatArray],
    plus_minus_deg: float = PLUS_MINUS_DEG,
    lost: BoolArray | None = None,
) -> Signals:
    """The curves with these elbows (M,), the more bent of which is that of the arm that works;
    ``lost`` (M,) where they are no sight of it."""
    working = np.fmin(elbow["left"], elbow["right"])
    seen = np.isfinite(working)
    return replace(
        signals,
        elbow_deg=working,
        elbow_left_deg=elbow["left"],
        elbow_right_deg=elbow["right"],
        elbow_sd_deg=np.where(seen, plus_minus_deg / 1.96, np.nan),
        flare_deg=np.full(len(working), np.nan),
        bridged=(signals.bridged & ~seen) | (False if lost is None else lost),
        misfit=0.0,
        by_reach=True,
    )
