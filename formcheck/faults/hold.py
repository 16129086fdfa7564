"""When the line of a support hold left its limits."""

from __future__ import annotations

from dataclasses import dataclass

from formcheck.faults.limits import Limits
from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.measures.hold import SupportHold

_LASTING_S = 1.0  # a line that leaves its limit for less comes back


@dataclass(frozen=True)
class HoldVerdict:
    """``broke_at_s`` when the line left the limit for sure and stayed there, None if it never
    did; ``unclear_at_s`` when it did so by less than it may err."""

    broke_at_s: float | None = None
    unclear_at_s: float | None = None


NOT_BROKEN = HoldVerdict()


def judge_hold(hold: SupportHold, limits: Limits) -> HoldVerdict:
    """Hold the line against the limits of sag and pike.

    It is broken where it lies beyond them by more than it may err, itself or its change since
    the hold's first second.
    """
    pike_deg, sag_deg = limits["hip_pike"].value, limits["hip_sag"].value

    def beyond(curve: FloatArray, by_deg: float) -> BoolArray:
        return (curve < pike_deg - by_deg) | (curve > sag_deg + by_deg)

    outside = beyond(hold.line, 0.0)
    surely = beyond(hold.line, hold.doubt_deg) | beyond(hold.change, hold.change_doubt_deg)
    return HoldVerdict(
        _first_lasting(hold.t_s, outside & surely), _first_lasting(hold.t_s, outside)
    )


def _first_lasting(t_s: FloatArray, flags: BoolArray) -> float | None:
    since: float | None = None
    for t, flag in zip(t_s, flags, strict=True):
        since = (since if since is not None else float(t)) if flag else None
        if since is not None and t - since >= _LASTING_S:
            return since
    return None
