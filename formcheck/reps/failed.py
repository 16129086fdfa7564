"""Attempts that fail: the way down without the way back up.

The lifter stays down, or presses part of the way and stops or sinks back. Such an attempt ends
what it is part of: nothing follows it without a break. Who lies down after the last rep to rest
made no attempt, and shows it by letting the hands go, or by going lower than in any rep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import low_pass
from formcheck.maths.stretches import stretches
from formcheck.reps.find import Rep
from formcheck.signals.bends import SPEED_CUTOFF_HZ

# An elbow at least this straight starts an attempt; a bent one was getting into position.
_STARTS_STRAIGHT_DEG = 140.0
# A way down that is less than this share of the set's usual bend is no attempt that failed.
_LEAST_SHARE = 0.5
_LONE_BEND_DEG = 45.0  # with no rep to compare it with
# A press that gets less than this share of its way up, and no further, has failed; one that gets
# less than the other share and sinks back at once has, too.
PRESSED_SHARE, _NEARLY_UP_SHARE = 0.5, 0.85
_SINKS_SHARE = 0.35  # of what was pressed up, that is lost again by one who sinks back
_PRESSED_DEG = 12.0  # a rise of less is no press
# The clip has to show the lifter stopped for this long, or it ended in the middle of a rep; and
# who leaves the position has to have stayed down for this long, or was only lost from sight.
_STOPPED_S, _STAYED_S = 1.5, 0.5
_AT_ONCE_S = 1.0
_CLIP_ENDS_S = 0.3
# Who lies down to rest presses nothing and lets the hands go this soon; or goes down at the set's
# pace to lower than any rep was.
_LETS_GO_TAKES_S = 0.3
_LETS_GO_S, _LOWER_DEG, _OF_USUAL_PACE = 1.5, 12.0, 0.6
_TOP_SHARE = 0.03  # of the way down, within which the elbow is still at the top
_SETTLED_S = 0.2  # at the top before an attempt starts


def with_failed(
    reps: Sequence[Rep],
    t_s: FloatArray,
    elbow_deg: FloatArray,
    in_position: BoolArray,
    rate_hz: float,
    least_bend_deg: float,
) -> list[Rep]:
    """``reps`` with those marked that failed, and those added that never came back up.

    ``elbow_deg`` (M,) on the even grid ``t_s`` (M,), in which ``reps`` were found.
    """
    smooth = low_pass(elbow_deg, rate_hz, SPEED_CUTOFF_HZ)
    usual_deg = [_bend_deg(rep, t_s, smooth) for rep in reps]
    least = (
        max(least_bend_deg, _LEAST_SHARE * float(np.median(usual_deg))) if reps else _LONE_BEND_DEG
    )
    out = list(reps)
    for places in stretches(in_position & np.isfinite(smooth)):
        inside = [rep for rep in reps if t_s[places[0]] <= rep.bottom_s <= t_s[places[-1]]]
        waves = _last_waves(inside, t_s, smooth)
        last = _joined(waves, t_s, smooth) if waves else None
        failed = _failed(last, t_s[places], smooth[places], least, float(t_s[-1]))
        if failed is None:
            continue
        before = inside[-1] if inside else None
        if before is not None and _lies_down(failed, inside, t_s, smooth):
            out[out.index(before)] = replace(before, lies_down_after=True)
            continue
        if last is not None and failed.start_s == last.start_s:
            for rep in waves:
                out.remove(rep)
            before = inside[-len(waves) - 1] if len(inside) > len(waves) else None
        if before is not None:
            ends_s = max(failed.start_s, before.top_s)
            out[out.index(before)] = replace(before, end_s=ends_s, last=False)
        out.append(failed)
    out.sort(key=lambda rep: rep.bottom_s)
    return [replace(rep, index=i + 1) for i, rep in enumerate(out)]


def _failed(
    last: Rep | None, t_s: FloatArray, curve: FloatArray, least: float, clip_ends_s: float
) -> Rep | None:
    """The attempt at the end of one stretch in position that failed, if one did."""
    since = 0 if last is None else int(np.searchsorted(t_s, last.top_s))
    if since >= len(t_s) - 1:
        return None
    high = since + int(np.argmax(curve[since:]))
    ends_s = float(t_s[-1])
    cut_off = ends_s > clip_ends_s - _CLIP_ENDS_S
    # Hands that let go bend the elbows once more, and that is no part of the way down.
    seen = len(curve)
    if not cut_off:
        seen = max(high + 1, int(np.searchsorted(t_s, ends_s - _LETS_GO_TAKES_S)))
    low = high + int(np.argmin(curve[high:seen]))
    # The way down begins when it is last that high.
    near_top = curve[high] - _TOP_SHARE * (curve[high] - curve[low])
    high += int(np.flatnonzero(curve[high : low + 1] >= near_top)[-1])
    fell_deg = float(curve[high] - curve[low])
    if last is not None and (part := _pressed_share(last, t_s, curve)) < _NEARLY_UP_SHARE:
        down_deg = _bend_deg(last, t_s, curve)
        sinks = fell_deg > _SINKS_SHARE * part * down_deg and t_s[high] - last.top_s < _AT_ONCE_S
        reached = (curve[since:].max() - np.interp(last.bottom_s, t_s, curve)) / max(down_deg, 1e-6)
        stopped = max(part, reached) < PRESSED_SHARE and (
            not cut_off or ends_s - last.top_s >= _STOPPED_S
        )
        if down_deg >= least and (sinks or stopped):
            return replace(
                last, top_s=max(float(t_s[high]), last.bottom_end_s) if sinks else last.top_s,
                end_s=ends_s, last=True, failed=True, bend_share_percent=100.0,
            )  # fmt: skip
    settled = last is not None or t_s[high] - t_s[0] >= _SETTLED_S
    if fell_deg < least or curve[high] < _STARTS_STRAIGHT_DEG or not settled:
        return None
    down = slice(high, low + 1)
    gone = (curve[high] - curve[down]) / fell_deg
    left_top, arrived = high, high + int(np.argmax(gone >= 1 - _TOP_SHARE))
    if ends_s - t_s[arrived] < (_STOPPED_S if cut_off else _STAYED_S):
        return None
    top = low + int(np.argmax(curve[low:seen]))
    pressed = curve[top] - curve[low] >= _PRESSED_DEG
    start = low + int(np.argmax(curve[low:seen] >= curve[low] + 0.1 * (curve[top] - curve[low])))
    return Rep(
        index=0,
        start_s=float(t_s[left_top]),
        bottom_start_s=float(t_s[arrived]),
        bottom_s=float(max(t_s[low] if pressed else t_s[arrived], t_s[arrived])),
        bottom_end_s=float(max(t_s[start], t_s[arrived])) if pressed else ends_s,
        top_s=float(t_s[top]) if pressed else ends_s,
        end_s=ends_s,
        last=True,
        failed=True,
    )


def _lies_down(failed: Rep, reps: Sequence[Rep], t_s: FloatArray, curve: FloatArray) -> bool:
    """Whether a way down without a way up is no attempt: after the set, to rest on the floor."""
    if failed.start_s < reps[-1].top_s or failed.bottom_end_s < failed.end_s:  # a press was tried
        return False
    let_go = failed.end_s < t_s[-1] - _CLIP_ENDS_S
    if let_go and failed.end_s - failed.bottom_start_s < _LETS_GO_S:
        return True
    usual_s = float(np.median([rep.eccentric_s for rep in reps]))
    lows = np.interp([rep.bottom_s for rep in reps], t_s, curve)
    low = float(np.interp(failed.bottom_s, t_s, curve))
    at_pace = failed.eccentric_s > _OF_USUAL_PACE * usual_s
    return bool(at_pace and low < lows.min() - _LOWER_DEG)


def _last_waves(reps: Sequence[Rep], t_s: FloatArray, curve: FloatArray) -> list[Rep]:
    """The last of ``reps`` with those that it only goes on: not pressed up, and no rest between,
    as one does who sinks back in waves."""
    waves = list(reps[-1:])
    for before in reversed(reps[:-1]):
        up = _pressed_share(before, t_s, curve) < _NEARLY_UP_SHARE
        if not up or waves[0].start_s - before.top_s >= _AT_ONCE_S:
            break
        waves.insert(0, before)
    return waves


def _joined(waves: Sequence[Rep], t_s: FloatArray, curve: FloatArray) -> Rep:
    """One attempt of them all, which got as far up as the highest."""
    highest = max(waves, key=lambda rep: float(np.interp(rep.top_s, t_s, curve)))
    return replace(waves[0], top_s=highest.top_s, end_s=waves[-1].end_s, last=waves[-1].last)


def _bend_deg(rep: Rep, t_s: FloatArray, curve: FloatArray) -> float:
    start, low = np.interp([rep.start_s, rep.bottom_s], t_s, curve)
    return float(start - low)


def _pressed_share(rep: Rep, t_s: FloatArray, curve: FloatArray) -> float:
    start, low, top = np.interp([rep.start_s, rep.bottom_s, rep.top_s], t_s, curve)
    return float((top - low) / max(start - low, 1e-6))
