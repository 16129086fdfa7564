"""Attempts, repetitions and their four phases, found in the signals of one set."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.ndimage import label
from scipy.signal import find_peaks

from formcheck.arrays import BoolArray, FloatArray
from formcheck.filtering import low_pass

Attempt = Literal["counted", "not_counted", "aborted"]

# A bend smaller than this is not an attempt: settling at the top, a shrug, noise.
LEAST_BEND_DEG = 25.0
# Pressed up by less than this share of its way down, an attempt was not pressed up again.
_PRESSED_SHARE = 0.5
# A boundary is where the speed crosses 5 % of the phase's peak. Noise hides so slow a movement,
# so the crossing is extrapolated from where the speed passes 15 and 40 %: a movement that
# starts and stops smoothly has a speed that grows with the square of time at its ends.
_BOUNDARY_SHARE, _LOW_SHARE, _HIGH_SHARE = 0.05, 0.15, 0.40
_SPEED_CUTOFF_HZ = 3.5
# The slower the phase the lower the frequencies it holds, and the more of the rest is noise: a
# smooth movement of duration T has nothing above some 4/T.
_CUTOFF_TIMES_DURATION = 4.0
_CUTOFFS_HZ = (1.0, 1.4, 2.0, 2.5, 3.0, 3.5, 4.5, 6.0)
_PLATEAU_SHARE = 0.02
_MIDDLE_SHARE = 0.35  # of a smooth phase's duration lies between 20 and 80 % of its way


@dataclass(frozen=True)
class Rep:
    """One attempt. Seconds from the first frame of the reference clip.

    ``start_s`` leaves the top, ``bottom_start_s`` downward motion ends, ``bottom_s`` deepest,
    ``bottom_end_s`` upward motion starts, ``top_s`` reaches the top, ``end_s`` the next
    attempt starts or the final hold ends. ``last`` when no attempt follows it without a break.
    ``bend_share_percent`` how far the elbows bent, of the smaller bend beside it (100 with none
    beside it); how far they straightened, of their own bend, if that is less than half; NaN
    where the turn was not surely seen.
    """

    index: int
    start_s: float
    bottom_start_s: float
    bottom_s: float
    bottom_end_s: float
    top_s: float
    end_s: float
    last: bool = False
    bend_share_percent: float = 100.0

    @property
    def eccentric_s(self) -> float:
        return self.bottom_start_s - self.start_s

    @property
    def bottom_pause_s(self) -> float:
        return self.bottom_end_s - self.bottom_start_s

    @property
    def concentric_s(self) -> float:
        return self.top_s - self.bottom_end_s

    @property
    def top_pause_s(self) -> float:
        return self.end_s - self.top_s


@dataclass(frozen=True)
class Bend:
    """One bend and straightening, in grid indices: highest before, lowest, highest after."""

    start: int
    bottom: int
    end: int


def bends(curve: FloatArray, use: BoolArray, rate_hz: float, least: float) -> list[Bend]:
    """Dips of ``curve`` (M,) by at least ``least`` on both sides, within stretches of ``use``.

    A dip at the very start of a stretch (the clip begins in mid-rep) or one that never comes
    back up is left out: its phases cannot be measured.
    """
    smooth = low_pass(curve, rate_hz, _SPEED_CUTOFF_HZ)
    stretches, count = label(use & np.isfinite(smooth))
    found: list[Bend] = []
    for number in range(1, count + 1):
        places = np.flatnonzero(stretches == number)
        first, last = int(places[0]), int(places[-1]) + 1
        part = smooth[first:last]
        low, _ = find_peaks(-part, prominence=least)
        for i, bottom in enumerate(low):
            before = int(low[i - 1]) if i else 0
            after = int(low[i + 1]) if i + 1 < len(low) else len(part)
            start = before + int(np.argmax(part[before:bottom]))
            end = int(bottom) + int(np.argmax(part[bottom:after]))
            found.append(Bend(first + start, first + int(bottom), first + end))
    return found


def find_reps(
    t_s: FloatArray,
    elbow_deg: FloatArray,
    in_position: BoolArray,
    rate_hz: float,
    unsure: BoolArray | None = None,
) -> list[Rep]:
    """Attempts in order, with interpolated phase boundaries.

    ``elbow_deg`` (M,) on the even grid ``t_s``; ``in_position`` (M,) limits the search. An
    attempt whose turn is ``unsure`` (M,) (the arm was lost there, or jitters) is compared with
    none.
    """
    smooth = low_pass(elbow_deg, rate_hz, _SPEED_CUTOFF_HZ)
    found = bends(elbow_deg, in_position, rate_hz, LEAST_BEND_DEG)
    times = [_boundaries(t_s, elbow_deg, smooth, bend) for bend in found]
    shares = _bend_shares_percent(smooth, found)
    reps: list[Rep] = []
    for i, (bend, (start, down, up, top)) in enumerate(zip(found, times, strict=True)):
        follows = i + 1 < len(found) and bool(in_position[bend.end : found[i + 1].start + 1].all())
        end = times[i + 1][0] if follows else _hold_end(t_s, in_position, bend.end)
        within = slice(bend.start, bend.end + 1)
        deepest = t_s[within][int(np.nanargmin(smooth[within]))]
        reps.append(
            Rep(
                index=i + 1,
                start_s=start,
                bottom_start_s=down,
                bottom_s=float(min(max(deepest, down), up)),
                bottom_end_s=up,
                top_s=top,
                end_s=max(end, top),
                last=not follows,
                bend_share_percent=(
                    float("nan") if unsure is not None and unsure[bend.bottom] else shares[i]
                ),
            )
        )
    return reps


def _hold_end(t_s: FloatArray, in_position: BoolArray, after: int) -> float:
    left = np.flatnonzero(~in_position[after:])
    return float(t_s[after + left[0] - 1] if len(left) and left[0] > 0 else t_s[-1])


def _bend_shares_percent(smooth: FloatArray, found: list[Bend]) -> list[float]:
    """Each bend as ``Rep.bend_share_percent`` has it."""
    drop_deg = [float(smooth[b.start] - smooth[b.bottom]) for b in found]
    out = []
    for i, bend in enumerate(found):
        beside_deg = [drop_deg[j] for j in (i - 1, i + 1) if 0 <= j < len(found)]
        pressed = float(smooth[bend.end] - smooth[bend.bottom]) / drop_deg[i]
        share = drop_deg[i] / min(beside_deg) if beside_deg else 1.0
        out.append(100.0 * (pressed if pressed < _PRESSED_SHARE else share))
    return out


def _boundaries(
    t_s: FloatArray, elbow_deg: FloatArray, smooth: FloatArray, bend: Bend
) -> tuple[float, float, float, float]:
    """Leaves the top, ends the descent, starts the ascent, reaches the top (s)."""
    first, last = _plateau(smooth, bend)
    down = slice(bend.start, last + 1)
    up = slice(first, bend.end + 1)
    start, descent_end = _phase(t_s[down], -elbow_deg[down], -smooth[down])
    ascent_start, top = _phase(t_s[up], elbow_deg[up], smooth[up])
    if ascent_start < descent_end:  # touch and go: the two meet
        ascent_start = descent_end = (ascent_start + descent_end) / 2
    return start, descent_end, ascent_start, top


def _plateau(smooth: FloatArray, bend: Bend) -> tuple[int, int]:
    """First and last index at the bottom: within noise of the lowest point, which is anywhere."""
    low = smooth[bend.bottom]
    drop = min(smooth[bend.start], smooth[bend.end]) - low
    high = np.flatnonzero(smooth[bend.start : bend.end + 1] > low + _PLATEAU_SHARE * drop)
    high = high + bend.start
    before, after = high[high < bend.bottom], high[high > bend.bottom]
    first = int(before[-1]) + 1 if len(before) else bend.bottom
    last = int(after[0]) - 1 if len(after) else bend.bottom
    return first, last


def _phase(t_s: FloatArray, curve: FloatArray, smooth: FloatArray) -> tuple[float, float]:
    """Start and end (s) of one phase, in which ``curve`` (``smooth`` when filtered) rises."""
    if len(t_s) < 4:
        return float(t_s[0]), float(t_s[-1])
    gone = (smooth - smooth[0]) / max(smooth[-1] - smooth[0], 1e-9)
    late = int(np.argmax(gone >= 0.8))
    early = late - int(np.argmax(gone[late::-1] <= 0.2))
    step_s = float(t_s[1] - t_s[0])
    wanted_hz = _CUTOFF_TIMES_DURATION * _MIDDLE_SHARE / max(float(t_s[late] - t_s[early]), 1e-3)
    cutoff_hz = min(_CUTOFFS_HZ, key=lambda hz: abs(hz - wanted_hz))
    # Held at both ends, so that a fast phase next to a slow one does not leak into its pause.
    hold = round(2.0 / (cutoff_hz * step_s))
    held = np.pad(np.where(np.isfinite(curve), curve, smooth), hold, mode="edge")
    speed = np.gradient(low_pass(held, 1.0 / step_s, cutoff_hz), step_s)[hold:-hold]
    share = speed / float(np.max(speed[early : late + 1]))
    return _edge(t_s, share, early, -1), _edge(t_s, share, late, +1)


def _edge(t_s: FloatArray, share: FloatArray, begin: int, step: int) -> float:
    """Time at which the speed, followed outward from ``begin``, would cross the boundary."""
    high_s = _crossing(t_s, share, begin, step, _HIGH_SHARE)
    low_s = _crossing(t_s, share, begin, step, _LOW_SHARE)
    root = np.sqrt([_BOUNDARY_SHARE, _LOW_SHARE, _HIGH_SHARE])
    further = (low_s - high_s) * (root[1] - root[0]) / (root[2] - root[1])
    limit = t_s[0] if step < 0 else t_s[-1]
    edge = low_s + further
    return float(max(edge, limit) if step < 0 else min(edge, limit))


def _crossing(t_s: FloatArray, share: FloatArray, begin: int, step: int, level: float) -> float:
    """First time, walking from ``begin`` by ``step``, that ``share`` falls to ``level``."""
    i = begin
    while 0 <= i + step < len(share):
        here, there = share[i], share[i + step]
        if there <= level:
            if here <= level:
                return float(t_s[i])
            part = (here - level) / (here - there)
            return float(t_s[i] + part * (t_s[i + step] - t_s[i]))
        i += step
    return float(t_s[i])


def rep_list(indices: Collection[int]) -> str:
    """Reps in words, in order: ``rep 4``; ``reps 1–3, 6``."""
    runs: list[list[int]] = []
    for index in sorted(indices):
        if runs and index == runs[-1][-1] + 1:
            runs[-1].append(index)
        else:
            runs.append([index])
    parts = [
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(str(index) for index in run)
        for run in runs
    ]
    return ("rep " if len(indices) == 1 else "reps ") + ", ".join(parts)
