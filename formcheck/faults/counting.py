"""What counts: every attempt ruled on, as a judge would note it rep by rep.

A rep counts when what was asked of it was more likely kept than not, at odds of three to one;
accusing it of a fault takes more. A named test adds its pace, its rests and its end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from formcheck.asked.prescription import Prescription
from formcheck.asked.standards import Standard, standards
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limits import Limits
from formcheck.faults.rules import Fault, judged_by, likely_beyond
from formcheck.maths.quantity import Quantity
from formcheck.reps.find import Attempt, Rep

RANGE_KEYS = ("shallow", "soft_lockout")
LINE_KEYS = ("hip_sag", "hip_pike")
_OFF_BEAT = 0.25  # of the time a rep has at the pace asked; nothing is published, common practice
_REST_S = 2.0  # a pause this long is a rest (common practice)


@dataclass(frozen=True)
class Ruling:
    """Whether an attempt counts; ``why`` not, in words. ``corrections`` that a named test makes
    of it: fault keys, "off_the_beat", "rested_below". ``unseen`` where it does not count only
    because its range or line could not be judged."""

    attempt: Attempt
    why: str | None = None
    corrections: tuple[str, ...] = ()
    unseen: bool = False


@dataclass(frozen=True)
class TestResult:
    """How a named test went: ``score`` reps, and after which rep it ended by ``ended_by``
    ("corrections", "time", "reps", "rest"); None where the lifter ended it."""

    standard: Standard
    score: int
    ended_by: str | None = None
    ended_at_rep: int | None = None


def rule(
    reps: Sequence[Rep],
    values: Sequence[Mapping[str, Quantity]],
    faults: Sequence[Sequence[Fault]],
    asked: Prescription,
    limits: Limits,
) -> tuple[tuple[Ruling, ...], TestResult | None]:
    """Rule on every attempt; with a named test, say how it ended."""
    rulings = [
        _of_one(of_rep, found, asked, limits) for of_rep, found in zip(values, faults, strict=True)
    ]
    if asked.standard is None:
        return tuple(rulings), None
    return _tested(standards()[asked.standard], reps, faults, rulings)


def _of_one(
    values: Mapping[str, Quantity], faults: Sequence[Fault], asked: Prescription, limits: Limits
) -> Ruling:
    sure = {fault.key for fault in faults if fault.verdict == "fault"}
    if "failed" in sure:
        return Ruling("failed", "was not pressed up again")
    if "aborted" in sure:
        return Ruling("aborted", "turned back far short of the reps beside it")
    needed = RANGE_KEYS if asked.counts == "range" else RANGE_KEYS + LINE_KEYS
    missed = {fault.key: fault for fault in faults if likely_beyond(fault)}
    for key in needed:
        if key in missed:
            kind = fault_kinds()[key]
            criterion = kind.criterion(asked.range_standard)
            wanted = criterion.asked.format(limit=f"{limits[criterion.limit].value:g}°")
            surely = "" if missed[key].verdict == "fault" else "probably "
            return Ruling(
                "not_counted",
                f"{surely}{kind.name.lower()}" + (f" ({wanted} asked)" * bool(wanted)),
            )
    measure_of = judged_by(asked.range_standard)
    for key in needed:
        quantity = values[measure_of[key]]
        if not quantity.known:
            what = "range" if key in RANGE_KEYS else "body line"
            said = f"{what} could not be judged: {quantity.reason}"
            return Ruling("not_counted", said, unseen=True)
    return Ruling("counted")


def _tested(
    test: Standard,
    reps: Sequence[Rep],
    faults: Sequence[Sequence[Fault]],
    rulings: Sequence[Ruling],
) -> tuple[tuple[Ruling, ...], TestResult]:
    out: list[Ruling] = []
    corrections, score = 0, 0
    ended_by: str | None = None
    ended_at: int | None = None
    for i, (rep, found, ruling) in enumerate(zip(reps, faults, rulings, strict=True)):
        if ended_by is not None:
            out.append(Ruling("not_counted", "done after the test had ended"))
            continue
        over = test.time_s is not None and rep.top_s - reps[0].start_s > test.time_s
        wrong = _corrections(test, reps, i, found)
        corrections += bool(wrong)
        if over:
            ended_by, ruling = "time", Ruling("not_counted", "finished after time was up")
        elif test.ends_at_correction is not None and corrections >= test.ends_at_correction:
            ended_by = "corrections"
            nth = {2: "second", 3: "third"}.get(corrections, f"{corrections}th")
            if ruling.attempt == "counted":
                ruling = Ruling("not_counted", f"{nth} correction: the test ends here")
        elif "rested_below" in wrong and test.rest == "top":
            ended_by = "rest"
            if ruling.attempt == "counted":
                ruling = Ruling("not_counted", "rested at the bottom: the test ends here")
        out.append(replace(ruling, corrections=wrong))
        score += ruling.attempt == "counted"
        if ended_by is None and test.most_reps is not None and score >= test.most_reps:
            ended_by = "reps"
        if ended_by is not None:
            ended_at = rep.index
    return tuple(out), TestResult(test, score, ended_by, ended_at)


def _corrections(
    test: Standard, reps: Sequence[Rep], i: int, faults: Sequence[Fault]
) -> tuple[str, ...]:
    """What a judge of this test would correct in one rep."""
    keys = {fault.key for fault in faults if fault.verdict == "fault"}
    wrong = [key for key in (*RANGE_KEYS, *LINE_KEYS) if key in keys and (
        test.line or key in RANGE_KEYS)]  # fmt: skip
    rep = reps[i]
    if test.pace_per_min is not None and i + 1 < len(reps):
        lasts_s, asked_s = reps[i + 1].start_s - rep.start_s, 60.0 / test.pace_per_min
        if abs(lasts_s - asked_s) > _OFF_BEAT * asked_s:
            wrong.append("off_the_beat")
    if test.rest is not None and rep.bottom_pause_s > _REST_S and not rep.failed:
        wrong.append("rested_below")
    return tuple(wrong)
