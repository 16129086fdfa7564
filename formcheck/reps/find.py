"""Attempts, repetitions and their four phases, found in the signals of one set."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import low_pass
from formcheck.reps.phases import boundaries, first_guess, whole_of
from formcheck.signals.bends import SPEED_CUTOFF_HZ, Bend, bends

Attempt = Literal["counted", "not_counted", "aborted", "failed"]
Moments = tuple[float, float, float, float]  # leaves the top, ends down, starts up, reaches top

# A bend smaller than this is not an attempt: settling at the top, a shrug, noise.
LEAST_BEND_DEG = 25.0
# Pressed up by less than this share of its way down, an attempt was not pressed up again.
_PRESSED_SHARE = 0.5
_TURN_S = 0.1  # before and after the lowest point, in which a lost arm hides how low it was
_REST_S = 0.7  # of the rest beside a phase that its fit looks at
_PLATEAU_SHARE = 0.02
# Between two pulses the elbows straighten by less than this share of the rep's own bend.
_PULSE_SHARE = 0.5
# A pulse may be smaller than an attempt, of which this is the share, where it stays this low.
_SMALL_PULSE, _LOW_SHARE = 0.6, 0.25
_MISREAD_DEG = 15.0  # nobody starts a rep so much more bent than the others and locks out after it
# Out of position for this long between two reps is a rest between two sets: shorter breaks are
# taken within one (common practice).
SETS_APART_S = 15.0
_ANOTHER_TRY_S = 4.0  # nobody takes so long over a single pulse (common practice)


@dataclass(frozen=True)
class Rep:
    """One attempt. Seconds from the first frame of the reference clip.

    ``start_s`` leaves the top, ``bottom_start_s`` downward motion ends, ``bottom_s`` deepest,
    ``bottom_end_s`` upward motion starts, ``top_s`` reaches the top, ``end_s`` the next
    attempt starts or the final hold ends. ``last`` when no attempt follows it without a break.
    ``bend_share_percent`` how far the elbows bent, of the smaller bend beside it (100 with none
    beside it); how far they straightened, of their own bend, if that is less than half; NaN
    where the turn was not surely seen. ``failed`` when it was not pressed up again: ``top_s`` is
    then when the press was highest, or, like ``bottom_end_s``, ``end_s`` if nothing was pressed.
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
    failed: bool = False
    pulses: int = 0  # small presses at the bottom before the one that reached the top
    released_s: float = 0.0  # for so long the hands were off the floor at the bottom
    lies_down_after: bool = False  # went down once more without pressing: taken for a rest

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

    def shifted(self, by_s: float) -> Rep:
        """The same attempt on a clock that shows ``by_s`` more."""
        return replace(
            self,
            start_s=self.start_s + by_s,
            bottom_start_s=self.bottom_start_s + by_s,
            bottom_s=self.bottom_s + by_s,
            bottom_end_s=self.bottom_end_s + by_s,
            top_s=self.top_s + by_s,
            end_s=self.end_s + by_s,
        )


def find_reps(
    t_s: FloatArray,
    elbow_deg: FloatArray,
    in_position: BoolArray,
    rate_hz: float,
    unsure: BoolArray | None = None,
    least_bend_deg: float = LEAST_BEND_DEG,
) -> list[Rep]:
    """Attempts in order, with interpolated phase boundaries.

    ``elbow_deg`` (M,) on the even grid ``t_s``; ``in_position`` (M,) limits the search. An
    attempt whose turn is ``unsure`` (M,) (the arm was lost there, or jitters) is compared with
    none. A bend smaller than ``least_bend_deg`` is no attempt.
    """
    smooth = low_pass(elbow_deg, rate_hz, SPEED_CUTOFF_HZ)
    found, pulses = _with_pulses(bends(elbow_deg, in_position, rate_hz, least_bend_deg), smooth)
    waves = bends(elbow_deg, in_position, rate_hz, _SMALL_PULSE * least_bend_deg)
    pulses = [max(n, _low_turns(b, waves, smooth) - 1) for n, b in zip(pulses, found, strict=True)]
    guesses = [_guess(t_s, smooth, bend) for bend in found]
    there = np.where(in_position, elbow_deg, np.nan)
    times = [_moments(t_s, there, guesses, i) for i in range(len(found))]
    shares = _bend_shares_percent(smooth, found)
    reps: list[Rep] = []
    near = round(_TURN_S * rate_hz)
    for i, (bend, (start, down, up, top)) in enumerate(zip(found, times, strict=True)):
        follows = i + 1 < len(found) and bool(in_position[bend.end : found[i + 1].start + 1].all())
        end = times[i + 1][0] if follows else _hold_end(t_s, in_position, bend.end)
        within = slice(bend.start, bend.end + 1)
        turn = slice(max(bend.bottom - near, 0), bend.bottom + near + 1)
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
                    float("nan") if unsure is not None and unsure[turn].any() else shares[i]
                ),
                pulses=pulses[i],
            )
        )
    return reps


def _with_pulses(found: list[Bend], smooth: FloatArray) -> tuple[list[Bend], list[int]]:
    """Bends, those joined that never came half way up between; and how many pulses each holds.

    A press that turns back low is a pulse of the rep that goes on, not an attempt of its own. One
    that is not followed by a way up is left: it failed.
    """
    joined: list[Bend] = []
    pulses: list[int] = []
    i = 0
    while i < len(found):
        last = i
        for j in range(i + 1, len(found)):
            between = float(smooth[found[j].start])
            low = min(float(smooth[bend.bottom]) for bend in found[i : j + 1])
            top = min(float(smooth[found[i].start]), float(smooth[found[j].end]))
            if between - low >= _PULSE_SHARE * (float(smooth[found[i].start]) - low):
                break
            if between - low < _PULSE_SHARE * (top - low):
                last = j
        deepest = min(found[i : last + 1], key=lambda bend: float(smooth[bend.bottom]))
        joined.append(Bend(found[i].start, deepest.bottom, found[last].end))
        pulses.append(last - i)
        i = last + 1
    return joined, pulses


def _low_turns(bend: Bend, waves: Sequence[Bend], smooth: FloatArray) -> int:
    """How often an attempt turns near its bottom."""
    low = float(smooth[bend.bottom])
    near = low + _LOW_SHARE * (min(float(smooth[bend.start]), float(smooth[bend.end])) - low)
    return sum(bend.start < w.bottom < bend.end and bool(smooth[w.bottom] < near) for w in waves)


def pulse_remarks(reps: Sequence[Rep]) -> tuple[str, ...]:
    """A sentence each: which reps hold pulses, whose press sank back once, and what they count."""
    again = [rep for rep in reps if rep.pulses == 1 and rep.bottom_pause_s >= _ANOTHER_TRY_S]
    pulsed = [rep for rep in reps if rep.pulses and rep not in again]
    said = []
    if again:
        said.append(
            f"In {rep_list([rep.index for rep in again])} the press sank back and went up at the "
            "second try: that counts once, and what lies between stands as the pause at the bottom."
        )
    if not pulsed:
        return tuple(said)
    each = ", ".join(f"rep {rep.index}: {rep.pulses}" for rep in pulsed)
    said.append(
        f"Pulses at the bottom ({each}); a rep with pulses counts once, and their time stands as "
        "its pause at the bottom."
    )
    return tuple(said)


def release_remarks(reps: Sequence[Rep]) -> tuple[str, ...]:
    """One sentence each: where hands were lifted at the bottom, and where the lifter lay down."""
    said = []
    lifted = [rep for rep in reps if rep.released_s]
    if lifted:
        longest = max(rep.released_s for rep in lifted)
        said.append(
            f"Hands lifted off the floor at the bottom ({rep_list([r.index for r in lifted])}), "
            f"for up to {longest:.1f} s: that time counts as the pause at the bottom."
        )
    said += [
        f"After rep {rep.index} you went down once more, and no press is seen: taken as lying down "
        "to rest. If it was a rep that failed, the set ended one rep later."
        for rep in reps
        if rep.lies_down_after
    ]
    return tuple(said)


def rest_remarks(reps: Sequence[Rep]) -> tuple[str, ...]:
    """One sentence where the clip holds more than one set, with the rests between them."""
    breaks = [
        (before, after)
        for before, after in pairwise(reps)
        if before.last and after.start_s - before.end_s >= SETS_APART_S
    ]
    if not breaks:
        return ()
    firsts = [reps[0].index, *(after.index for _, after in breaks)]
    lasts = [*(before.index for before, _ in breaks), reps[-1].index]
    sets = "; ".join(rep_list(range(a, b + 1)) for a, b in zip(firsts, lasts, strict=True))
    rests = ", ".join(f"{after.start_s - before.end_s:.0f} s" for before, after in breaks)
    return (f"The clip shows {len(firsts)} sets ({sets}), with {rests} between them.",)


def _hold_end(t_s: FloatArray, in_position: BoolArray, after: int) -> float:
    left = np.flatnonzero(~in_position[after:])
    return float(t_s[after + left[0] - 1] if len(left) and left[0] > 0 else t_s[-1])


def _bend_shares_percent(smooth: FloatArray, found: list[Bend]) -> list[float]:
    """Each bend as ``Rep.bend_share_percent`` has it.

    One that starts far below the set's usual top is measured from there: its elbow was misread
    before it bent, and it would seem to have bent less than it did.
    """
    if not found:
        return []
    usual = float(np.median([max(smooth[b.start], smooth[b.end]) for b in found]))
    tops = [float(smooth[b.start]) for b in found]
    tops = [top if usual - top < _MISREAD_DEG else usual for top in tops]
    drop_deg = [top - float(smooth[b.bottom]) for top, b in zip(tops, found, strict=True)]
    out = []
    for i, bend in enumerate(found):
        beside_deg = [drop_deg[j] for j in (i - 1, i + 1) if 0 <= j < len(found)]
        own_deg = float(smooth[bend.start] - smooth[bend.bottom])
        pressed = float(smooth[bend.end] - smooth[bend.bottom]) / own_deg
        share = drop_deg[i] / min(beside_deg) if beside_deg else 1.0
        out.append(100.0 * (pressed if pressed < _PRESSED_SHARE else share))
    return out


@dataclass(frozen=True)
class _Guess:
    """Of one attempt: its boundaries (s) at first sight, when it leaves and reaches the top at the
    farthest, and when it has surely turned."""

    fall: tuple[float, float]
    turn_s: float
    rise: tuple[float, float]
    leaves_s: float
    arrives_s: float


def _guess(t_s: FloatArray, smooth: FloatArray, bend: Bend) -> _Guess:
    first, last = _plateau(smooth, bend)
    down, up = slice(bend.start, last + 1), slice(first, bend.end + 1)
    fall, rise = first_guess(t_s[down], -smooth[down]), first_guess(t_s[up], smooth[up])
    return _Guess(
        fall=fall,
        turn_s=float(t_s[first] + t_s[last]) / 2,
        rise=rise,
        leaves_s=min(fall[0], whole_of(t_s[down], -smooth[down])[0]),
        arrives_s=max(rise[1], whole_of(t_s[up], smooth[up])[1]),
    )


def _moments(t_s: FloatArray, elbow_deg: FloatArray, guesses: list[_Guess], i: int) -> Moments:
    """One attempt's boundaries, each phase fitted between the middles of the rests beside it."""
    guess = guesses[i]
    leaves, arrives = guess.leaves_s, guess.arrives_s
    before = (guesses[i - 1].arrives_s + leaves) / 2 if i else t_s[0]
    after = (arrives + guesses[i + 1].leaves_s) / 2 if i + 1 < len(guesses) else t_s[-1]
    fall = (t_s >= max(before, leaves - _REST_S)) & (t_s <= guess.turn_s)
    rise = (t_s >= guess.turn_s) & (t_s <= min(after, arrives + _REST_S))
    start, down = boundaries(t_s[fall], -elbow_deg[fall], guess.fall)
    up, top = boundaries(t_s[rise], elbow_deg[rise], guess.rise)
    if up < down:  # touch and go: the two meet
        up = down = (up + down) / 2
    return start, down, up, top


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
