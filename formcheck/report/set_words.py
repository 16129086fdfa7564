"""What is said of a set as a whole, on page and terminal alike: load, tempo, sides, tests."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from formcheck.analysis import Analysis
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.counting import TestResult
from formcheck.faults.rules import Fault
from formcheck.maths.quantity import Quantity
from formcheck.measures.tempo_kept import PhaseKept
from formcheck.measures.working_arm import SideKept
from formcheck.report.words import phase_name, plus_minus, score_text, with_unit

_WIDE_RANGE = 0.02  # of body mass; a narrower one is one number
_STEADY_S = 0.15  # a spread of less is within what the time of a phase errs by
# What is said of a hold: the rest is about reps.
_OF_A_HOLD = ("hip_sag", "hip_pike", "head_drop", "surface")


def set_facts(analysis: Analysis) -> list[tuple[str, str]]:
    """Name and text of each; what is not known is left out."""
    summary, asked = analysis.summary, analysis.prescription.tempo
    fast = asked is not None and asked.concentric_s is None
    facts = [("Load on the hands", load_text(analysis))]
    if analysis.test is not None:
        facts.append((analysis.test.standard.name.capitalize(), test_text(analysis.test)))
    facts += [(f"{side.capitalize()} arm", side_text(kept)) for side, kept in summary.sides.items()]
    facts += [
        (phase_name(phase.removesuffix("_s")), tempo_text(phase, getattr(asked, phase, None), kept,
                                                          fast))
        for phase, kept in summary.tempo_kept.items()
    ]  # fmt: skip
    facts += [
        (f"Press of rep {result.rep.index} slowest at", sticking_text(result.values))
        for result in analysis.reps
        if result.attempt != "failed"
    ]
    return [(name, text) for name, text in facts if text]


def load_text(analysis: Analysis) -> str:
    """``70 % ± 4 % of body mass, 49 ± 3 kg``; with raised hands or feet the range, too."""
    load, mass = analysis.summary.load_fraction, analysis.person.body_mass_kg
    if not load.known:
        return ""
    said = f"{100 * load.value:.0f} % ± {100 * load.plus_minus:.0f} % of body mass"
    if mass:
        said += f", {load.value * mass:.0f} ± {load.plus_minus * mass:.0f} kg"
    low, high = (_mean(analysis, f"load_fraction_{end}") for end in ("low", "high"))
    if high - low > _WIDE_RANGE:
        said += f"; {100 * low:.0f} to {100 * high:.0f} %, by how the hands push"
    return said


def unjudged(analysis: Analysis) -> list[tuple[str, list[str]]]:
    """What was not judged, gathered by its reason: the reason, and keys of ``not_judged``.

    Of a hold only what would be judged of one.
    """
    gathered: dict[str, list[str]] = {}
    for entry in analysis.not_judged:
        if analysis.reps or analysis.hold is None or entry.key in _OF_A_HOLD:
            gathered.setdefault(entry.reason, []).append(entry.key)
    return list(gathered.items())


def _mean(analysis: Analysis, name: str) -> float:
    known = [r.values[name].value for r in analysis.reps if r.values[name].known]
    return float(np.mean(known)) if known else math.nan


def tempo_text(phase: str, asked_s: float | None, kept: PhaseKept, fast: bool = False) -> str:
    """``asked 2 s, done 1.9 s (mostly 1.7 to 2.1 s)``: one phase over the set, ``(steady)`` where
    the reps are alike; empty where not seen."""
    if not kept.reps:
        return ""
    asked = "" if asked_s is None else f"asked {asked_s:g} s, done "
    if fast and phase == "concentric_s":
        asked = "asked as fast as possible, done "
    spread = f" (mostly {kept.from_s:.1f} to {kept.to_s:.1f} s)"
    if kept.to_s - kept.from_s < _STEADY_S:
        spread = " (steady)"
    return f"{asked}{kept.done_s:.1f} s{spread if kept.reps > 2 else ''}"


def side_text(kept: SideKept) -> str:
    """``2 of 3 counted, 2 clean, elbow 82° at the bottom``: what one arm did."""
    if not kept.counted and not math.isfinite(kept.elbow_bottom_deg):
        return f"{kept.reps} {'rep' if kept.reps == 1 else 'reps'}, not judged from here"
    said = f"{kept.counted} of {kept.reps} counted, {kept.clean} clean"
    if math.isfinite(kept.elbow_bottom_deg):
        said += f", elbow {with_unit(kept.elbow_bottom_deg, 'deg')} at the bottom"
    return said


def sticking_text(values: Mapping[str, Quantity]) -> str:
    """``elbow 115° ± 6°, 57 % of the way up``: where a press slowed; empty where it did not."""
    elbow, height = values["sticking_elbow_deg"], values["sticking_height_percent"]
    if not height.known:
        return ""
    at = f"elbow {plus_minus(elbow.value, elbow.plus_minus, 'deg')}, " if elbow.known else ""
    return f"{at}{height.value:.0f} % of the way up"


def test_text(test: TestResult) -> str:
    """``12 count; ended at rep 14 by the second correction``."""
    ended = {
        "corrections": f"the {_nth(test.standard.ends_at_correction)} correction",
        "time": "time",
        "reps": "the most reps of the test",
        "rest": "a rest at the bottom",
    }
    said = score_text(test)
    if test.ended_by is not None:
        said += f"; ended at rep {test.ended_at_rep} by {ended[test.ended_by]}"
    return said


def correction_text(correction: str) -> str:
    """What a judge of a named test corrects, in words."""
    others = {"off_the_beat": "off the beat", "rested_below": "rested at the bottom"}
    return others.get(correction) or fault_kinds()[correction].name.lower()


def _nth(count: int | None) -> str:
    return {1: "first", 2: "second", 3: "third", None: ""}.get(count, f"{count}th")


def as_shown(fault: Fault, values: Mapping[str, Quantity]) -> Fault:
    """The fault with the value that the table shows, where it was called by a surer one."""
    kind = fault_kinds()[fault.key]
    own = values.get(kind.measure)
    if not _called_by_change(fault, values) or own is None:
        return fault
    return replace(fault, value=own.value, uncertainty=own.plus_minus)


def called_by(fault: Fault, values: Mapping[str, Quantity]) -> str:
    """What made a fault sure that its own value leaves open; empty where that settles it."""
    if not _called_by_change(fault, values):
        return ""
    change = plus_minus(abs(fault.value), fault.uncertainty, fault.unit)
    return f"too close to call by itself, but {change} off the line at the start of the set"


def _called_by_change(fault: Fault, values: Mapping[str, Quantity]) -> bool:
    kind = fault_kinds()[fault.key]
    if kind.surer_by is None or kind.surer_by not in values or kind.measure not in values:
        return False
    own, surer = values[kind.measure], values[kind.surer_by]
    return fault.value == surer.value and fault.value != own.value


def led_text(fault: Fault) -> str:
    """Who led, where a fault can go either way: ``the shoulders led``; else empty."""
    if fault_kinds()[fault.key].side != "either":
        return ""
    return "the shoulders led" if fault.value > 0 else "the hips led"
