"""Compare what was measured with the limits, and say how sure that is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from formcheck.asked.prescription import Prescription
from formcheck.asked.standards import RangeStandard
from formcheck.asked.tempo import Tempo
from formcheck.faults.catalogue import FaultKind, Moment, fault_kinds
from formcheck.faults.limits import Limits
from formcheck.maths.quantity import Quantity
from formcheck.reps.find import Rep

Verdict = Literal["fault", "borderline"]
Values = Mapping[str, Quantity]


@dataclass(frozen=True)
class Fault:
    """One broken limit. ``uncertainty`` is the 95 % half-width, in ``unit``."""

    rep: int
    key: str
    at_s: float
    value: float
    uncertainty: float
    limit: float
    unit: str
    verdict: Verdict
    view: str


@dataclass(frozen=True)
class _Bound:
    """What a value is held to."""

    limit: float
    unit: str
    at_most: bool


def verdict_of(quantity: Quantity, limit: float, at_most: bool) -> Verdict | None:
    """``fault`` when the whole 95 % interval lies beyond the limit, ``borderline`` when only the
    value does, None when the value keeps the limit or is not known."""
    if not quantity.known:
        return None
    beyond = quantity.value - limit if at_most else limit - quantity.value
    if beyond <= 0:
        return None
    return "fault" if beyond > quantity.plus_minus else "borderline"


def likely_beyond(fault: Fault) -> bool:
    """Whether the odds are three to one or better that the limit was broken.

    The error is taken as normal: three quarters of it lie below 0.674 standard deviations, and
    the stated half-width is 1.96 of them.
    """
    return abs(fault.value - fault.limit) > fault.uncertainty * 0.674 / 1.96


def judged_by(standard: RangeStandard) -> dict[str, str]:
    """The measured value by which each fault of range and form is judged, by fault key."""
    return {
        kind.key: kind.criterion(standard).measure
        for kind in fault_kinds().values()
        if kind.phase is None and kind.side != "outside" and not kind.alone
    }


def rep_faults(
    rep: Rep,
    values: Values,
    prescription: Prescription,
    limits: Limits,
    view: str,
    hand_bounds: tuple[float, float] | None = None,
    only: str | None = None,
) -> tuple[Fault, ...]:
    """All faults and borderlines of one attempt; ``view`` is used where a value names none.

    An attempt that failed or was not finished is only that: its form, range and tempo are not held
    against it.
    ``hand_bounds`` are the smallest and largest hand spacing ratio of the position asked for.
    ``only`` one fault's key is looked for, which is quicker.
    """
    found = []
    for kind in fault_kinds().values():
        if only is not None and kind.key != only and not kind.alone:
            continue
        quantity = values.get(kind.criterion(prescription.range_standard).measure)
        if quantity is None:
            continue
        bound = _bound(kind, quantity, prescription, limits, hand_bounds)
        if bound is None:
            continue
        fault = _judged(kind, rep, quantity, values, bound, view)
        if fault is not None:
            found.append(fault)
            if kind.alone and fault.verdict == "fault":
                return (fault,)
    return tuple(found)


def _bound(
    kind: FaultKind,
    quantity: Quantity,
    asked: Prescription,
    limits: Limits,
    hand_bounds: tuple[float, float] | None,
) -> _Bound | None:
    """What a value is held to; None where nothing was asked of it."""
    if kind.phase is not None:
        return None if asked.tempo is None else _tempo_bound(kind, asked.tempo, limits)
    if kind.side == "outside":
        if hand_bounds is None:
            return None
        too_wide = quantity.value > hand_bounds[1]
        return _Bound(hand_bounds[1 if too_wide else 0], "shoulder widths", too_wide)
    limit = limits[kind.criterion(asked.range_standard).limit]
    if kind.side == "either" and quantity.value < 0:  # the sign says which way it went
        return _Bound(-limit.value, limit.unit, at_most=False)
    return _Bound(limit.value, limit.unit, at_most=kind.side != "below")


def _tempo_bound(kind: FaultKind, tempo: Tempo, limits: Limits) -> _Bound | None:
    """A phase against the tempo, with the tolerance of the limits file."""
    asked_s: float | None = getattr(tempo, f"{kind.phase}_s")
    at_most = kind.side == "above"
    if asked_s is None:  # X: it can be too slow only, and only where a ceiling was set
        ceiling_s = limits["slow_concentric"].value
        return _Bound(ceiling_s, "s", at_most) if at_most and math.isfinite(ceiling_s) else None
    share_s = limits["tempo_tolerance_share"].value * asked_s
    slack_s = max(limits["tempo_tolerance"].value, share_s)
    if asked_s == 0:
        slack_s = max(slack_s, limits["turn_tolerance"].value)
    if at_most and kind.phase in ("bottom_pause", "top_pause"):
        beside_s = tempo.eccentric_s + (tempo.concentric_s or 0.0)
        slack_s += limits["turn_share"].value * beside_s
    return _Bound(asked_s + (slack_s if at_most else -slack_s), "s", at_most)


def _judged(
    kind: FaultKind, rep: Rep, quantity: Quantity, values: Values, bound: _Bound, view: str
) -> Fault | None:
    """The fault or borderline that one value makes against its bound, or nothing."""
    verdict = verdict_of(quantity, bound.limit, bound.at_most)
    if verdict is None:
        return None
    if verdict == "borderline" and kind.surer_by is not None:
        # Change against the person's own line is known better than the line itself: when that
        # alone breaks the limit for sure, the doubt about the line is no excuse.
        surer = values[kind.surer_by]
        if verdict_of(surer, bound.limit, bound.at_most) == "fault":
            quantity, verdict = surer, "fault"
    return Fault(
        rep=rep.index,
        key=kind.key,
        at_s=_moment_s(rep, kind.at) if quantity.at_s is None else quantity.at_s,
        value=quantity.value,
        uncertainty=quantity.plus_minus,
        limit=bound.limit,
        unit=bound.unit,
        verdict=verdict,
        view=quantity.view or view,
    )


def _moment_s(rep: Rep, at: Moment) -> float:
    if at == "rise":
        return (rep.bottom_end_s + rep.top_s) / 2
    return float(getattr(rep, f"{at}_s"))
