"""Which arm worked in each rep: two arms, archer (one bends, the other props) or one arm alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from formcheck.asked.prescription import Arms
from formcheck.maths.arrays import FloatArray
from formcheck.maths.geometry import length
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.pose.track import Side
from formcheck.reps.look import Look
from formcheck.reps.pairing import STRANGE
from formcheck.signals.body_model import elbow_of_reach_deg, elbow_offset
from formcheck.signals.curves import Signals
from formcheck.signals.one_arm import (
    FROM_SIDE_PLUS_MINUS_DEG,
    PLUS_MINUS_DEG,
    carrying_arm,
    of_one_arm,
    resting_hand,
    seen_reach,
)
from formcheck.variation.stance import lifted_hand, top_frames

_LEAST_TURNS = 4  # reps: by chance two arms alternate as often as one set in eight
_BENT_DEG, _STRAIGHT_DEG = 120.0, 145.0  # archer: one elbow at most, the other at least
# From the side: how much of the bend that the shoulder's drop takes shows at the near elbow. A
# straight arm shows little, and so does one that points at the camera; only where both are seen
# in one set, well apart, does one arm work and then the other.
_SHOWS_LITTLE, _SHOWS, _SHOWN_APART = 0.4, 0.5, 0.3
# A near elbow that shows less than this of its bend in every rep, under hands this far apart
# (shoulder widths) and a body that even arms fit this badly, is perhaps no bent one: it props while
# the far arm works. Elbows that flare fit better or stand closer (rendered sets and exact ones).
_HARDLY_SHOWS, _PROPS_HANDS, _PROPS_MISFIT = 0.33, 1.2, 0.68

# The far wrist seen in fewer of the top positions than this, or jumping about by more than this
# many arm lengths, is the model's guess: it puts it now on the floor and now at the body.
_SEEN_SHARE, _JUMPS = 0.5, 0.5

# From the side, hands this far apart (shoulder widths) under a body that even arms fit this badly:
# two wide arms fit better, and arms that do not fit stand closer (rendered sets).
_APART_HANDS, _UNEVEN_MISFIT = 1.5, 0.84
# Where arms take turns, no such body fits at all.
_UNLIKE_MISFIT = 1.6

PERHAPS_ARCHER = (
    "the two arms do not seem to bend alike, so one may do more of the work; say whether this is "
    "an archer push-up, or film from the front"
)
HIDDEN_BEND = (
    "the near elbow hardly shows its bend: the elbows flare, or the far arm does the work, as in "
    "an archer push-up; say which it was, or film from the front"
)
HIDDEN_ARM = (
    "the body hides the far arm here, so two arms and one look alike; if it was one arm, say so or "
    "film from the front"
)
FAR_ARM = "the far arm worked in this rep, and the body hides it; film from the front"
WHICH_ARM = (
    "which arm worked in this rep does not show from here; say which if it was the same in all, or "
    "film from the front"
)
ONE_AT_A_TIME = "one arm works at a time, so the two are not compared within a rep"


@dataclass(frozen=True)
class ArmWork:
    """Who worked. ``working`` the bent arm of each rep in order (archer and one arm only), None
    where it was not seen.

    ``pattern`` over the reps; ``perhaps_archer`` where a side view leaves open whether it is one
    that does not change arms; ``assisting_reach`` of the straight arm's hand to the side of its
    shoulder, arm lengths.
    """

    arms: Arms | None
    confidence: float
    working: tuple[Side | None, ...] = ()
    pattern: Literal["alternating", "same_side"] | None = None
    assisting_reach: Quantity = field(default_factory=lambda: not_measured("no archer"))
    perhaps_archer: bool = False
    hidden_bend: bool = False

    @property
    def why_open(self) -> str:
        """Why a view from the side leaves open which arms worked."""
        if self.perhaps_archer:
            return PERHAPS_ARCHER
        return HIDDEN_BEND if self.hidden_bend else HIDDEN_ARM


def arm_work(
    front: Look | None, side: Look | None, told: Arms | None = None, which: Side | None = None
) -> ArmWork:
    """Who worked, from the front where there is one; ``told`` is the user's word, and ``which`` arm
    they say did every rep where one worked at a time."""
    work = _arm_work(front, side, told)
    if which is None or work.arms not in ("archer", "one") or not (seen := front or side):
        return work
    return replace(work, working=(which,) * len(seen.reps), pattern="same_side")


def _arm_work(front: Look | None, side: Look | None, told: Arms | None) -> ArmWork:
    if told == "two":
        return ArmWork("two", 1.0)
    seen = front or side
    if seen is None or not seen.reps:
        return ArmWork(told, 0.0)
    lifted = _lifted_hand(seen)
    if told != "archer" and lifted.arms == "one":
        return lifted
    if told == "one":
        return _one_arm_told(seen)
    if front is not None:
        return _archer_in_front(front, told)
    return _archer_from_side(seen, lifted, told)


def _archer_in_front(front: Look, told: Arms | None) -> ArmWork:
    bent: list[Side | None] = []
    reaches: list[float] = []
    px = front.signals.points_px
    for rep in front.reps:
        now = np.abs(front.signals.t_s - rep.bottom_s) <= 0.1
        left = median_known(front.signals.elbow_left_deg[now])
        right = median_known(front.signals.elbow_right_deg[now])
        if not (min(left, right) < _BENT_DEG and max(left, right) > _STRAIGHT_DEG):
            bent.append(None)
            continue
        working: Side = "left" if left < right else "right"
        other = "right" if working == "left" else "left"
        bent.append(working)
        arm = _arm_px(px, other)[now]
        across = np.abs(px[f"{other}_wrist"][now, 0] - px[f"{other}_shoulder"][now, 0])
        reaches.append(median_known(across / arm))
    part = sum(side is not None for side in bent) / len(bent)
    if part < 0.5 and told != "archer":
        return ArmWork("two", 0.5 + abs(part - 0.5))
    reach = not_measured("no straight arm was seen")
    if reaches:
        reach = Quantity(float(np.nanmedian(reaches)), 0.1, view="front")
    return ArmWork("archer", 0.5 + abs(part - 0.5), tuple(bent), _pattern(bent), reach)


def _archer_from_side(look: Look, otherwise: ArmWork, told: Arms | None) -> ArmWork:
    """An archer that changes arms from rep to rep; one that does not looks like two from here.

    Elbows that flare point at the camera and hide their bend too: so a set counts as an archer
    only where the arms take turns throughout, or where that was told.
    """
    near: Side = "left" if look.signals.near_side == "left" else "right"
    far: Side = "right" if near == "left" else "left"
    shows = [_shown_bend(look.signals, rep.bottom_s) for rep in look.reps]
    working: list[Side | None] = [
        near if share > _SHOWS else far if share < _SHOWS_LITTLE else None for share in shows
    ]
    bent, straight = (
        [s for s, w in zip(shows, working, strict=True) if w == side] for side in (near, far)
    )
    apart = bool(bent and straight) and min(bent) - max(straight) > _SHOWN_APART
    turns = apart and len(working) >= _LEAST_TURNS and _pattern(working) == "alternating"
    if told != "archer" and (None in working or not turns):
        if otherwise.arms == "one":
            return otherwise
        if _uneven(look) or _props(look, shows):
            return ArmWork(None, 0.0, perhaps_archer=True)
        if all(share < _SHOWS_LITTLE for share in shows):
            return ArmWork(None, 0.0, hidden_bend=True)
        return otherwise
    if not apart:  # one arm throughout, or arms that hide their bend: which, shows only plainly
        same = near if min(shows) > _SHOWS else far if max(shows) < _HARDLY_SHOWS else None
        working = [same] * len(shows)
    reach = not_measured("only a front view shows how far out the straight arm's hand stands")
    known = [side for side in working if side is not None]
    return ArmWork("archer", len(known) / len(working), tuple(working), _pattern(working), reach)


def _uneven(look: Look) -> bool:
    """Whether wide arms that bend alike do not explain what a side view shows, or no such body."""
    body = look.signals.body
    if body is None or look.view.kind != "side":
        return False
    apart = float(np.nanmedian(body.curve["spacing"])) > _APART_HANDS
    return body.misfit > (_UNEVEN_MISFIT if apart else _UNLIKE_MISFIT)


def _props(look: Look, shows: Sequence[float]) -> bool:
    """Whether the near arm may stay straight and lean, while the far one works."""
    body = look.signals.body
    if body is None or look.view.kind != "side":
        return False
    apart = float(np.nanmedian(body.curve["spacing"])) > _PROPS_HANDS
    return apart and body.misfit > _PROPS_MISFIT and all(s < _HARDLY_SHOWS for s in shows)


def _shown_bend(signals: Signals, at_s: float) -> float:
    """Share of the elbow's bend that shows at the near elbow; NaN where it is not seen."""
    near, now = signals.near_side, np.abs(signals.t_s - at_s) <= 0.1
    shoulder, elbow, wrist = (
        signals.points_px[f"{near}_{joint}"][now] for joint in ("shoulder", "elbow", "wrist")
    )
    line = wrist - shoulder
    upper = elbow - shoulder
    across = (upper[:, 0] * line[:, 1] - upper[:, 1] * line[:, 0]) / length(line)
    reach = seen_reach(signals, near)[now]
    arm_px = median_known(length(line) / reach)
    seen = abs(median_known(across)) / arm_px
    return seen / elbow_offset(min(median_known(reach), 0.99))


def _lifted_hand(look: Look) -> ArmWork:
    """One arm when the other hand stays off the surface in most reps; where a front view shows it
    off the floor for most of the time, in all of them."""
    resting = resting_hand(look.track) if look.view.kind == "front" else None
    if resting is not None:
        carries: Side = "left" if resting == "right" else "right"
        return ArmWork(
            "one", 0.9, (carries,) * len(look.reps), _pattern((carries,) * len(look.reps))
        )
    working: list[Side | None] = []
    for rep in look.reps:
        lifted = lifted_hand(look.signals, top_frames(look.signals, [rep]))
        working.append(None if lifted is None else "left" if lifted == "right" else "right")
    part = sum(side is not None for side in working) / len(working)
    if part > 0.5:
        return ArmWork("one", part, tuple(working), _pattern(working))
    if look.view.from_side and _far_hand_hidden(look):
        return ArmWork(None, 0.0)
    seen = look.view.kind != "side"
    return ArmWork("two" if part < 0.2 else None, (0.9 if seen else 0.7) * (1 - part))


def _one_arm_told(look: Look) -> ArmWork:
    """One arm, as told, where no lifted hand was seen: from the side the near one, whose hand
    stays on the floor."""
    if not look.view.from_side or look.view.near_side is None:
        return ArmWork("one", 1.0)
    near: Side = "left" if look.signals.near_side == "left" else "right"
    working = (near,) * len(look.reps)
    return ArmWork("one", 1.0, working, _pattern(working))


def _far_hand_hidden(look: Look) -> bool:
    """Whether a view from the side leaves open where the far hand was."""
    near, px = look.signals.near_side, look.signals.points_px
    far = "left" if near == "right" else "right"
    top = top_frames(look.signals, look.reps) & np.isfinite(px[f"{near}_wrist"][:, 0])
    from_near = (px[f"{far}_wrist"] - px[f"{near}_wrist"]) / look.signals.arm_length_px
    known = top & np.isfinite(from_near[:, 0])
    if known.sum() < _SEEN_SHARE * max(int(top.sum()), 1):
        return True
    during = look.signals.in_position & np.isfinite(from_near[:, 0])
    away = length(from_near - np.median(from_near[known], axis=0))[during]
    return bool(np.percentile(away, 97) > _JUMPS)


def near_arm_alone(look: Look, work: ArmWork) -> bool:
    """Whether every rep of a one-arm set was done by the arm that this side view shows in full:
    then the fitted body, if it fits one body, is that of the working arm."""
    near, signals = look.view.near_side, look.signals
    return (
        work.arms == "one"
        and look.view.from_side
        and near is not None
        and signals.near_side == near
        and set(work.working) == {near}
        and signals.body is not None
        and signals.body.misfit < STRANGE
        and _bends_as_seen(look, near, signals.body.curve[f"elbow_{near}"])
    )


def _bends_as_seen(look: Look, near: Side, fitted_deg: FloatArray) -> bool:
    """Whether a body that bends both arms alike is as deep at each bottom as the near arm's reach
    in the picture says: else what it makes of the idle arm has misled it."""
    seen_deg = elbow_of_reach_deg(seen_reach(look.signals, near))
    bottoms_s = [rep.bottom_s for rep in look.reps]
    apart_deg = np.interp(bottoms_s, look.signals.t_s, fitted_deg - seen_deg)
    return bool(np.all(np.abs(apart_deg) <= PLUS_MINUS_DEG))


def _pattern(working: Sequence[Side | None]) -> Literal["alternating", "same_side"] | None:
    known = [side for side in working if side is not None]
    changes = [one != next_ for one, next_ in pairwise(known)]
    if not changes:
        return None
    if all(changes):
        return "alternating"
    return "same_side" if not any(changes) else None


def _arm_px(px: Mapping[str, FloatArray], side: str) -> FloatArray:
    upper = length(px[f"{side}_elbow"] - px[f"{side}_shoulder"])
    lower = length(px[f"{side}_wrist"] - px[f"{side}_elbow"])
    return np.asarray(upper + lower)


def with_working_arm(look: Look, work: ArmWork) -> Look:
    """The look with the elbow of the arm that worked, rep by rep; NaN where it was not seen."""
    if work.arms not in ("archer", "one") or len(work.working) != len(look.reps):
        return look
    if near_arm_alone(look, work):
        return look
    signals = look.signals
    if look.view.from_side:
        leans = work.arms == "archer"
        doubt_deg = FROM_SIDE_PLUS_MINUS_DEG if leans else PLUS_MINUS_DEG
        signals = of_one_arm(signals, carrying_arm(signals, leans), doubt_deg)
    either = {"left": signals.elbow_left_deg, "right": signals.elbow_right_deg}
    elbow = signals.elbow_deg.copy()
    for place, (rep, side) in enumerate(zip(look.reps, work.working, strict=True)):
        if side is None:
            continue
        begins = -np.inf if place == 0 else look.reps[place - 1].end_s
        last = place + 1 == len(look.reps)
        here = (signals.t_s >= begins) & (signals.t_s < (np.inf if last else rep.end_s))
        elbow[here] = either[side][here]
    return replace(look, signals=replace(signals, elbow_deg=elbow))
