"""One mark a rep, for the strip at the head of the page: what it reached, seen without reading.

The bar hangs between two rails, lockout above and depth below; where it falls short, the gap
is hatched. Under it the body line, bent as the body was, and the tempo.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from formcheck.analysis import Analysis, RepResult
from formcheck.faults.catalogue import fault_kinds
from formcheck.report.moments import phases_of
from formcheck.report.set_words import as_shown
from formcheck.report.targets import Targets
from formcheck.report.words import ATTEMPTS, VERDICTS, plus_minus

WIDTH, HEIGHT = 64.0, 150.0
_BAR = (21.0, 43.0)
_TOP, _LOW = 8.0, 92.0  # where 180 and 60 degrees lie
_LINE_Y = 114.0
_LINE_PER_DEG = 0.75
_TEMPO = (138.0, 147.0)


@dataclass(frozen=True)
class Box:
    x: float
    y: float
    width: float
    height: float
    kind: str = ""


@dataclass(frozen=True)
class Mark:
    """Drawing of one rep on a WIDTH × HEIGHT field, and the sentence that says the same.

    ``standing`` "clean", "unclear" (too close to a limit to call it clean), "faulty" (counted, with
    a fault), "not_counted", "aborted" or "failed".
    """

    index: int
    start_s: float
    standing: str
    rails: tuple[float, ...]
    bar: Box | None
    gaps: tuple[Box, ...]
    line: str
    line_kind: str
    phases: tuple[Box, ...]
    faults: tuple[str, ...]
    borderline: tuple[str, ...]
    label: str


def marks(analysis: Analysis, targets: Targets) -> list[Mark]:
    """A mark for each attempt, in order."""
    longest_s = max((phases_of(r.rep)[-1][2] - r.rep.start_s for r in analysis.reps), default=1.0)
    return [_mark(result, targets, longest_s) for result in analysis.reps]


def standing(result: RepResult) -> str:
    """Clean, unclear, counted with a fault, not counted, aborted or failed."""
    if result.attempt != "counted":
        return str(result.attempt)
    if _keys(result, "fault"):
        return "faulty"
    return "unclear" if _keys(result, "borderline") else "clean"


def _mark(result: RepResult, targets: Targets, longest_s: float) -> Mark:
    faults, borderline = _keys(result, "fault"), _keys(result, "borderline")
    bar, gaps = _range(result, targets)
    line, kind = _body_line(result, faults, borderline)
    return Mark(
        index=result.rep.index,
        start_s=result.rep.start_s,
        standing=standing(result),
        rails=tuple(_height(d) for d in (targets.lockout_deg, targets.depth_deg) if _known(d)),
        bar=bar,
        gaps=gaps,
        line=line,
        line_kind=kind,
        phases=_phases(result, faults, longest_s),
        faults=faults,
        borderline=borderline,
        label=_label(result),
    )


def _range(result: RepResult, targets: Targets) -> tuple[Box | None, tuple[Box, ...]]:
    top, bottom = _value(result, "elbow_top_deg"), _value(result, "elbow_bottom_deg")
    if not _known(bottom):
        return None, ()
    if not _known(top):
        top = targets.lockout_deg
    left, wide = _BAR[0], _BAR[1] - _BAR[0]
    upper, lower = _height(top), _height(bottom)
    gaps = []
    keys = _keys(result, "fault")
    if "soft_lockout" in keys and _known(targets.lockout_deg):
        rail = _height(targets.lockout_deg)
        gaps.append(Box(left, rail, wide, max(3.0, upper - rail)))
    if ("shallow" in keys or result.attempt == "aborted") and _known(targets.depth_deg):
        rail = _height(targets.depth_deg)
        gaps.append(Box(left, lower, wide, max(3.0, rail - lower)))
    return Box(left, upper, wide, max(2.0, lower - upper)), tuple(gaps)


def _body_line(
    result: RepResult, faults: tuple[str, ...], borderline: tuple[str, ...]
) -> tuple[str, str]:
    deviation = _value(result, "hip_deviation_deg")
    if not _known(deviation):
        return "", "unknown"
    bend = max(-18.0, min(18.0, deviation * _LINE_PER_DEG))
    kind = "level"
    if any(fault_kinds()[key].part == "line" for key in borderline):
        kind = "near"
    if any(fault_kinds()[key].part == "line" for key in faults):
        kind = "hot"
    return f"M6 {_LINE_Y:g}L27 {_LINE_Y + bend:.1f}L58 {_LINE_Y:g}", kind


def _phases(result: RepResult, faults: tuple[str, ...], longest_s: float) -> tuple[Box, ...]:
    start_s = result.rep.start_s
    per_s = (WIDTH - 8) / max(longest_s, 0.1)
    hot = {fault_kinds()[key].phase for key in faults}
    boxes = []
    for key, from_s, to_s in phases_of(result.rep):
        rise = 3.0 if key in hot else 0.0  # stands out without its colour
        boxes.append(
            Box(
                4 + (from_s - start_s) * per_s,
                _TEMPO[0] - rise,
                max(0.0, (to_s - from_s) * per_s),
                _TEMPO[1] - _TEMPO[0] + 2 * rise,
                f"{key} hot" if key in hot else key,
            )
        )
    return tuple(boxes)


def _label(result: RepResult) -> str:
    said = [f"Rep {result.rep.index}, {ATTEMPTS[result.attempt]}"]
    if result.why_not_counted:
        said[0] += f": {result.why_not_counted}"
    said += [
        f"{fault_kinds()[f.key].name}, {plus_minus(f.value, f.uncertainty, f.unit)}"
        + (f" ({VERDICTS[f.verdict]})" if f.verdict == "borderline" else "")
        for f in (as_shown(one, result.values) for one in result.faults)
    ]
    return ". ".join(said) + f". Shows the clip at {result.rep.start_s:.1f} s."


def _keys(result: RepResult, verdict: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(f.key for f in result.faults if f.verdict == verdict))


def _value(result: RepResult, name: str) -> float:
    quantity = result.values.get(name)
    return quantity.value if quantity is not None else math.nan


def _height(angle_deg: float) -> float:
    share = (180.0 - min(max(angle_deg, 60.0), 180.0)) / 120.0
    return round(_TOP + (_LOW - _TOP) * share, 1)


def _known(value: float) -> bool:
    return math.isfinite(value)
