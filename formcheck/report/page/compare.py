"""Two reps side by side: what the page needs to lay any two of a set over each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from formcheck.analysis import Analysis, RepResult
from formcheck.faults.catalogue import fault_kinds
from formcheck.report.moments import PHASE_KEYS, bounds_s, phases_of
from formcheck.report.page.curves import Series
from formcheck.report.targets import Targets

STEPS = 30  # of a rep, from leaving the top until back: ten a phase
WIDTH, HEIGHT = 320, 120
_ALIKE_DEG = 5.0
_DIGITS = {"°": 1}


@dataclass(frozen=True)
class Compared:
    """``reps`` to choose from, with their moments and curves; ``best`` and ``worst`` of them;
    ``alike`` where no fault tells them apart."""

    reps: list[dict[str, Any]]
    best: int
    worst: int
    alike: bool
    rows: list[dict[str, Any]]


def compared(analysis: Analysis, series: Sequence[Series], targets: Targets) -> Compared | None:
    """Every rep as ``STEPS`` + 1 moments alike in all reps; None with fewer than two."""
    # One that failed without a press has no way up to compare.
    whole = [r for r in analysis.reps if len(phases_of(r.rep)) > 1]
    if len(whole) < 2:
        return None
    best, worst = min(whole, key=_spoiled), max(whole, key=_spoiled)
    rows = []
    for one in series:
        known = one.values[np.isfinite(one.values)]
        if not len(known):
            continue
        low, high = (float(v) for v in np.percentile(known, [0.5, 99.5]))
        limits = [limit for limit in _limits(one.key, targets) if math.isfinite(limit)]
        room = 0.06 * (max([high, *limits]) - min([low, *limits]))
        low, high = min([low, *limits]) - room, max([high, *limits]) + room
        rows.append(
            {"key": one.key, "name": one.name, "unit": one.unit, "low": low, "high": high,
             "limits": [(limit, _y(limit, low, high)) for limit in limits]}
        )  # fmt: skip
    return Compared(
        reps=[_moments(result, series) for result in analysis.reps if result in whole],
        best=best.rep.index,
        worst=worst.rep.index,
        alike=_spoiled(best)[0] == _spoiled(worst)[0],
        rows=rows,
    )


def _limits(key: str, targets: Targets) -> tuple[float, ...]:
    """What a curve is held to: a change is read against them, not against the edges."""
    return {
        "elbow_deg": (targets.depth_deg, targets.lockout_deg),
        "body_line_deg": (targets.pike_deg, targets.sag_deg),
    }.get(key, ())


def _y(value: float, low: float, high: float) -> float:
    return round(HEIGHT * (high - value) / max(high - low, 1e-9), 1)


def _spoiled(result: RepResult) -> tuple[float, int, int]:
    """How much its faults cost a rep; among equals, how far its elbows stayed from the floor."""
    cost = sum(
        fault_kinds()[f.key].cost * (1.0 if f.verdict == "fault" else 0.3) for f in result.faults
    )
    depth = result.values["elbow_bottom_deg"]
    # Elbows that differ by less than they may err are alike: then the earlier rep is the better.
    high = round(depth.value / _ALIKE_DEG) if depth.known else 0
    return cost + (1.0 if result.attempt != "counted" else 0.0), high, result.rep.index


def _moments(result: RepResult, series: Sequence[Series]) -> dict[str, Any]:
    """Times of the steps through the rep's first three phases, and every curve at them."""
    bounds = bounds_s(result.rep)[: len(PHASE_KEYS)]
    at_s = np.interp(np.linspace(0, len(bounds) - 1, STEPS + 1), np.arange(len(bounds)), bounds)
    return {
        "i": result.rep.index,
        "t": [round(float(t), 3) for t in at_s],
        "v": {
            one.key: [
                round(float(v), _DIGITS.get(one.unit, 2)) if np.isfinite(v) else None
                for v in np.interp(at_s, one.t_s, one.values, left=np.nan, right=np.nan)
            ]
            for one in series
        },
    }
