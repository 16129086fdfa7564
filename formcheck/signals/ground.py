"""Where hands and feet are put down, and what of their movement is the camera's.

Hands and feet stay where they are put in a set: while they do, the body is in position, and what
moves them all in the picture is a camera that turns, wanders or comes nearer.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import RATE_HZ, running_quantile
from formcheck.maths.geometry import length, line_deviation_deg, usual_place
from formcheck.maths.stretches import nearby, stretches, without_gaps, without_short
from formcheck.signals.view import View, arms_hang

# Of an arm: how far from its place a planted hand strays, how far that place may wander in the
# picture, and how far it must move to have been set anew; and how far landmarks slide at most.
_PLANTED, _SAME_GROUND, _SET_ANEW, _SLIDES = 0.3, 1.0, 0.15, 0.07
_GROWN = 1.06  # a body whose size in the picture changes by less is filmed from one place
_ARM_SHOWS_S = 6.0  # within this long before and after any moment of a set the arm is straight
_SAME_SIZE = 0.85  # a trunk whose length in the picture changes by less is no nearer the camera
# A front view of bent arms: this much shorter, over hands that stray no further from their place,
# not longer ago than a rest between two reps.
_SUNK, _STAYS, _BEND_NEARBY_S, _SINKS_S = 0.8, 0.12, 3.0, 0.7
# Hands this far above the shoulders when the arms are straight hang from a bar or hold one over
# the chest: no push-up. On a wall they are level with them.
_OVERHEAD = 0.4
_ALONG_COS = 0.97  # arms within 14 degrees of the trunk hang along it, whatever the view
_PLACE_S = 1.5  # a place is where the hand is for this long before and after
# Hips bent this much against shoulders and knees: on all fours. Hips or knees bent so much more
# than while the arms bend (to this share of their length): the knees come down to the floor, which
# bends one of them by 45 and more; hips that give in a rep bend by half of that.
_KNEELING_DEG, _KNEES_COME_DOWN_DEG, _BENT = 65.0, 35.0, 0.85
_LEAST_SPAN_PX = 5.0  # an arm smaller than this shows nothing


def place_of(points: Mapping[str, FloatArray], joint: str, side: str | None) -> FloatArray:
    """(M, 2) a joint of one side, or the middle of both."""
    if side is None:
        return (points[f"left_{joint}"] + points[f"right_{joint}"]) / 2
    return points[f"{side}_{joint}"]


def planted_side(points: Mapping[str, FloatArray], near: str) -> str:
    """The side whose arm carries: the near one, unless its hand is held off the floor.

    A far arm that is seen now and then is no witness.
    """
    far = "left" if near == "right" else "right"
    span = length(points[f"{far}_wrist"] - points[f"{far}_shoulder"])
    raised = points[f"{far}_wrist"][:, 1] - points[f"{near}_wrist"][:, 1]
    known = np.isfinite(span) & np.isfinite(raised)
    if known.sum() < max(RATE_HZ, 0.5 * np.isfinite(points[f"{near}_wrist"][:, 0]).sum()):
        return near
    off_floor = float(np.median(raised[known])) > 0.3 * float(np.percentile(span[known], 90))
    return far if off_floor else near


def _carries_alone(points: Mapping[str, FloatArray]) -> str | None:
    """The side whose arm carries while the other hand is off the floor; None where both carry."""
    side = planted_side(points, "left")
    other = "left" if side == "right" else "right"
    return side if planted_side(points, other) == side else None


def find_position(points: Mapping[str, FloatArray], near: str, view: View) -> BoolArray:
    """Frames with the hands planted and, where it shows, the hips near the body's line."""
    one_side = near if view.kind in ("side", "oblique") else None
    # A hand that rests on the body goes up and down with it.
    arm_side = one_side or _carries_alone(points)
    shoulder, wrist = (place_of(points, joint, arm_side) for joint in ("shoulder", "wrist"))
    hip, knee = (place_of(points, joint, one_side) for joint in ("hip", "knee"))
    reach_px = length(wrist - shoulder)
    if np.isfinite(reach_px).sum() < RATE_HZ / 2 or _longest(wrist - shoulder) < _LEAST_SPAN_PX:
        return np.zeros(len(reach_px), dtype=bool)
    span = _arm_in_set(shoulder, wrist, hip, bool(one_side))
    straight = reach_px >= 0.9 * span
    below = float(np.nanmedian(((wrist - shoulder)[:, 1] / span)[straight]))
    if below < -_OVERHEAD:
        return np.zeros(len(reach_px), dtype=bool)
    upright = arms_hang(wrist - shoulder, hip - shoulder, span)
    if view.slanted:
        # At a slant, arms that lean on a bar before a steep body lie near the line of its trunk.
        bends = _bends_over_its_hands(reach_px / span, wrist / span[:, None], upright)
        upright &= ~bends | arms_hang(wrist - shoulder, hip - shoulder, span, _ALONG_COS)
    hips_deg = line_deviation_deg(shoulder, hip, knee)
    if one_side:
        upright |= np.abs(hips_deg) > _KNEELING_DEG
    else:
        # Seen from before the head, a body on a bench hangs its arms along its trunk as one that
        # stands; but it bends them over hands that stay.
        upright &= ~_bends_over_its_hands(reach_px / span, wrist / span[:, None], upright)
    ok = np.isfinite(reach_px) & ~upright
    if not ok.any():
        return ok
    # The hands' place is looked for among these frames only: who stands about for a minute
    # before a short set has the hands somewhere else for longest. It may wander with a camera in
    # the hand, and change when the hands are set anew.
    place = _running_place(np.where(ok[:, None], wrist, np.nan))
    ok &= length(wrist - place) < _PLANTED * span
    if not ok.any():
        return ok
    if one_side is not None and (foot := _foothold(points, near, ok)) is not None:
        # From the foot, whatever the camera does.
        from_foot = _running_place(np.where(ok[:, None], wrist - points[foot], np.nan))
        ground = from_foot / span[:, None]
    else:
        ground = place / np.median(span[ok])
    known = ok & np.isfinite(ground[:, 0])
    if known.any():
        ok &= ~(length(ground - usual_place(ground[known], 1.0, within=_PLANTED)) >= _SAME_GROUND)
    if one_side:
        ankle = place_of(points, "ankle", one_side)
        in_reps = ok & (reach_px < _BENT * span)
        ok &= ~_knees_come_down(hips_deg, line_deviation_deg(hip, knee, ankle), in_reps)
    return without_short(without_gaps(ok, int(RATE_HZ * 0.5)), int(RATE_HZ))


def _knees_come_down(hips_deg: FloatArray, knees_deg: FloatArray, in_reps: BoolArray) -> BoolArray:
    """(M,) whether the knees are on the floor or on their way there, before or after a set on the
    toes: hips or knees bend more than they do ``in_reps`` (M,).

    ``hips_deg`` and ``knees_deg`` (M,) how far hip and knee lie off the line of the joints beside
    them. On the knees the feet may wave, and the knees' bend tells nothing.
    """
    down = np.zeros(len(hips_deg), dtype=bool)
    usual = [curve[in_reps & np.isfinite(curve)] for curve in (hips_deg, knees_deg)]
    if len(usual[0]):
        down |= hips_deg < float(np.median(usual[0])) - _KNEES_COME_DOWN_DEG
    if len(usual[1]) and abs(bend := float(np.median(usual[1]))) < _KNEES_COME_DOWN_DEG:
        down |= np.abs(knees_deg - bend) > _KNEES_COME_DOWN_DEG
    return down


def _bends_over_its_hands(reach: FloatArray, wrist: FloatArray, upright: BoolArray) -> BoolArray:
    """(M,) whether somebody who seems ``upright`` (M,) sinks the shoulders toward hands that keep
    their place: soon before or after, or for as long as the hands stay there, since a last rep
    may be shallow.

    ``reach`` (M,) shoulder to wrist and ``wrist`` (M, 2), in arm lengths as they show. Who bends
    the arms and did not seem upright just before or after, stood about before the set.
    """
    stays = length(wrist - _running_place(wrist)) < _STAYS
    sunk = (reach < _SUNK) & stays & nearby(upright, round(_SINKS_S * RATE_HZ))
    if not sunk.any():
        return sunk
    near = nearby(sunk, round(_BEND_NEARBY_S * RATE_HZ))
    there = length(wrist - np.nanmedian(wrist[sunk], axis=0)) < _PLANTED
    for places in stretches(near | (stays & there)):
        near[places] = near[places].any()
    return near


def _arm_in_set(
    shoulder: FloatArray, wrist: FloatArray, hip: FloatArray, from_side: bool
) -> FloatArray:
    """(M,) length of the arm as it shows in the set around each moment.

    Who walks up to the camera, arms along the trunk, is no measure of it; but with the hands
    raised, seen from before the head, the trunk lies along the arms in a set too.
    """
    reach_px = length(wrist - shoulder)
    walks = arms_hang(wrist - shoulder, hip - shoulder, reach_px)
    if not from_side:
        span = _arm_nearby(reach_px, None)
        walks &= ~_bends_over_its_hands(reach_px / span, wrist / span[:, None], walks)
    of_set = reach_px if walks.all() else np.where(walks, np.nan, reach_px)
    return _arm_nearby(of_set, length(hip - shoulder) if from_side else None)


def _arm_nearby(reach_px: FloatArray, trunk_px: FloatArray | None) -> FloatArray:
    """(M,) length of the arm as it shows in the seconds before or after, whichever is less: it
    grows with who comes near to switch the camera off.

    Whichever is more where the trunk (M,), seen in full, tells that the body keeps its size: then
    the arm is only bent, as it stays when a rep fails.
    """
    window = round(_ARM_SHOWS_S * RATE_HZ)

    def before(curve: FloatArray, share: float = 0.9) -> FloatArray:
        return running_quantile(curve[:, None], share, window - 1, 0)[:, 0]

    def after(curve: FloatArray, share: float = 0.9) -> FloatArray:
        return before(curve[::-1], share)[::-1]

    less = np.fmin(before(reach_px), after(reach_px))
    if trunk_px is None:
        return less
    grown = before(trunk_px, 0.5) / after(trunk_px, 0.5)
    alike = (grown > _SAME_SIZE) & (grown < 1 / _SAME_SIZE)
    return np.where(alike, np.fmax(before(reach_px), after(reach_px)), less)


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
    return running_quantile(hand, 0.5, window // 2, window // 2)


def at_one_size(
    points: Mapping[str, FloatArray], near: str, view: View, use: BoolArray, centre: FloatArray
) -> Mapping[str, FloatArray]:
    """The points as a camera sees them that neither zooms nor comes nearer.

    Arms are measured against their longest in the whole set, so a body that grows in the picture
    would seem to bend more in its early reps. A camera that comes nearer makes both the body and
    the ground between hands and feet larger; what makes only one of them larger is no camera.
    """
    if view.kind in ("front", "rear"):
        body, ground = ["left_shoulder", "right_shoulder"], ["left_wrist", "right_wrist"]
    else:
        body = [f"{near}_{joint}" for joint in ("shoulder", "hip", "knee", "ankle")]
        ground = [f"{near}_wrist", f"{near}_ankle"]
    of_body, of_ground = _growth(points, body, use), _growth(points, ground, use)
    if of_body is None or of_ground is None:
        return points
    less = np.where(np.abs(of_body) < np.abs(of_ground), of_body, of_ground)
    growth = np.exp(np.where(of_body * of_ground > 0, less, 0.0))
    if growth.max() < _GROWN * growth.min():
        return points
    return {name: centre + (xy - centre) / growth[:, None] for name, xy in points.items()}


def _growth(
    points: Mapping[str, FloatArray], chain: list[str], use: BoolArray
) -> FloatArray | None:
    """(M,) logarithm of how much longer a ``chain`` of landmarks shows than on average.

    None where it is seen too little. Held beyond the set, where the body stands or kneels.
    """
    size = np.sum([length(points[a] - points[b]) for a, b in pairwise(chain)], axis=0)
    known = use & np.isfinite(size) & (size > 0)
    if known.sum() < RATE_HZ:
        return None
    when = np.linspace(-1.0, 1.0, len(size))
    trend = np.polynomial.Polynomial.fit(when[known], np.log(size[known]), 2)
    along = np.asarray(trend(np.clip(when, when[known][0], when[known][-1])))
    return along - float(np.median(along[known]))


def without_sway(
    points: Mapping[str, FloatArray], near: str, view: View, use: BoolArray
) -> dict[str, FloatArray]:
    """Points with the camera's own movement taken out, hands held to one place.

    Hands and feet stay where they are put, so what moves them all moves the camera. A wrist
    landmark that slides while the elbow bends is the model's error, not the hand's: each wrist
    is then set to its median place, anew whenever the hands are. A hand that is held off the floor
    moves with the body and tells no sway.
    """
    if view.kind in ("front", "rear"):
        alone = _carries_alone(points)
        anchors = [f"{side}_wrist" for side in ("left", "right") if alone in (None, side)]
    else:
        foot = _foothold(points, near, use) or f"{near}_ankle"
        anchors = [f"{near}_wrist", foot]
    steady = {name: xy.copy() for name, xy in points.items()}
    span = _longest(points[anchors[0]] - points[anchors[0].replace("wrist", "shoulder")])
    for stand in _stands(points[anchors[0]] - points[anchors[-1]], use, span):
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
        middle = usual_place(place[left], span, within=_SET_ANEW)
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
