"""Compare what was measured with the limits, and say how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from formcheck.asked.prescription import Prescription, RangeStandard
from formcheck.asked.tempo import Tempo
from formcheck.faults.limits import Limits
from formcheck.maths.quantity import Quantity
from formcheck.reps.find import Rep

Verdict = Literal["fault", "borderline"]
Values = Mapping[str, Quantity]

RANGE_FAULTS = frozenset({"shallow", "soft_lockout", "aborted"})
LINE_FAULTS = frozenset({"hip_sag", "hip_pike", "hips_late"})


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


@dataclass(frozen=True)
class _Rule:
    key: str
    measure: str
    limit: str
    at_most: bool
    at_s: Callable[[Rep], float]


def _bottom(rep: Rep) -> float:
    return rep.bottom_s


def _top(rep: Rep) -> float:
    return rep.top_s


def _rise(rep: Rep) -> float:
    return (rep.bottom_end_s + rep.top_s) / 2


_DEPTH: Mapping[RangeStandard, _Rule] = {
    "elbow-90": _Rule("shallow", "elbow_bottom_deg", "shallow", True, _bottom),
    "arm-parallel": _Rule("shallow", "upper_arm_bottom_deg", "shallow_upper_arm", True, _bottom),
    "chest-low": _Rule("shallow", "shoulder_height_bottom", "shallow_chest", True, _bottom),
}
_FORM = (
    _Rule("soft_lockout", "elbow_top_deg", "soft_lockout", False, _top),
    _Rule("hip_sag", "hip_deviation_deg", "hip_sag", True, _bottom),
    _Rule("hip_pike", "hip_deviation_deg", "hip_pike", False, _bottom),
    _Rule("elbow_flare", "elbow_flare_deg", "elbow_flare", True, _bottom),
    _Rule("uneven_arms", "symmetry_deg", "uneven_arms", True, _bottom),
    _Rule("head_drop", "head_angle_deg", "head_drop", True, _bottom),
    _Rule("hips_late", "hips_lag_s", "hips_late", True, _rise),
)


def judged_by(standard: RangeStandard) -> dict[str, str]:
    """The measured value by which each fault of range and form is judged, by fault key."""
    return {rule.key: rule.measure for rule in (_DEPTH[standard], *_FORM)}


def rep_faults(
    rep: Rep,
    values: Values,
    prescription: Prescription,
    limits: Limits,
    view: str,
    hand_bounds: tuple[float, float] | None = None,
) -> tuple[Fault, ...]:
    """All faults and borderlines of one attempt; ``view`` is used where a value names none.

    A broken-off attempt is only that: its form, range and tempo are not held against it.
    ``hand_bounds`` are the smallest and largest hand spacing ratio of the position asked for.
    """
    limit = limits["aborted"]
    found = _judged(
        rep, "aborted", rep.bottom_s, values["bend_share_percent"], limit.value, limit.unit,
        at_most=False, view=view,
    )  # fmt: skip
    if found and found[0].verdict == "fault":
        return tuple(found)
    for rule in (_DEPTH[prescription.range_standard], *_FORM):
        quantity, limit = values.get(rule.measure), limits[rule.limit]
        if quantity is None:
            continue
        # Lag counts whichever end is late.
        if rule.key == "hips_late":
            quantity = Quantity(abs(quantity.value), quantity.plus_minus, view=quantity.view)
        verdict = verdict_of(quantity, limit.value, rule.at_most)
        if verdict == "borderline" and rule.key in ("hip_sag", "hip_pike"):
            # Change against the person's own line is known better than the line itself: when
            # that alone breaks the limit for sure, the doubt about the line is no excuse.
            change = values["hip_deviation_change_deg"]
            if verdict_of(change, limit.value, rule.at_most) == "fault":
                quantity = change
        found += _judged(
            rep, rule.key, rule.at_s(rep), quantity, limit.value, limit.unit,
            at_most=rule.at_most, view=view,
        )  # fmt: skip
    if hand_bounds is not None:
        spacing = values["hand_spacing_ratio"]
        too_wide = spacing.value > hand_bounds[1]
        found += _judged(
            rep, "hand_spacing", rep.start_s, spacing, hand_bounds[1 if too_wide else 0],
            "shoulder widths", at_most=too_wide, view=view,
        )  # fmt: skip
    if prescription.tempo is not None:
        found += _tempo_faults(rep, values, prescription.tempo, limits, view)
    return tuple(found)


def _judged(
    rep: Rep,
    key: str,
    at_s: float,
    quantity: Quantity,
    limit: float,
    unit: str,
    *,
    at_most: bool,
    view: str,
) -> list[Fault]:
    """The fault or borderline that one value makes against one limit, or nothing."""
    verdict = verdict_of(quantity, limit, at_most)
    if verdict is None:
        return []
    return [
        Fault(
            rep=rep.index,
            key=key,
            at_s=at_s if quantity.at_s is None else quantity.at_s,
            value=quantity.value,
            uncertainty=quantity.plus_minus,
            limit=limit,
            unit=unit,
            verdict=verdict,
            view=quantity.view or view,
        )
    ]


def _tempo_faults(rep: Rep, values: Values, tempo: Tempo, limits: Limits, view: str) -> list[Fault]:
    """Phases against the tempo, each with the tolerance of the limits file."""

    def slack(asked_s: float) -> float:
        share = limits["tempo_tolerance_share"].value * asked_s
        return max(limits["tempo_tolerance"].value, share)

    ceiling_s = (
        limits["slow_concentric"].value
        if tempo.concentric_s is None
        else tempo.concentric_s + slack(tempo.concentric_s)
    )
    checks = (
        ("rushed_eccentric", "eccentric_s", tempo.eccentric_s - slack(tempo.eccentric_s), False,
         rep.start_s),
        ("slow_eccentric", "eccentric_s", tempo.eccentric_s + slack(tempo.eccentric_s), True,
         rep.bottom_start_s),
        ("short_bottom_pause", "bottom_pause_s",
         tempo.bottom_pause_s - slack(tempo.bottom_pause_s), False, rep.bottom_start_s),
        ("slow_concentric", "concentric_s", ceiling_s, True, rep.top_s),
        ("short_top_pause", "top_pause_s", tempo.top_pause_s - slack(tempo.top_pause_s), False,
         rep.end_s),
    )  # fmt: skip
    return [
        fault
        for key, measure, limit_s, at_most, at_s in checks
        for fault in _judged(
            rep, key, at_s, values[measure], limit_s, "s", at_most=at_most, view=view
        )
    ]
