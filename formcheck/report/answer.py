"""The answer in one line: what counted, what was clean, and the one thing to fix first."""

from __future__ import annotations

from collections import Counter

from formcheck.advice.decide import only_lowered
from formcheck.analysis import Analysis
from formcheck.faults.catalogue import fault_kinds
from formcheck.report.words import plus_minus
from formcheck.reps.find import rep_list

FAILED = "failed"  # the answer has said it, and it is no thing to work on


def fix_first(analysis: Analysis, besides: str = "") -> str | None:
    """Key of the fault that costs most: how much it spoils times how many reps have it; of those
    ``besides`` one, where that is given."""
    reps = Counter(
        key
        for result in analysis.reps
        for key in {f.key for f in result.faults if f.verdict == "fault"} - {besides}
    )
    if not reps:
        return None
    cost = {key: fault_kinds()[key].cost for key in reps}
    return max(sorted(reps), key=lambda key: (cost[key] * reps[key], cost[key]))


def answer_line(analysis: Analysis) -> str:
    """``4 of 6 counted, 2 clean, 1 unclear; rep 6 failed``; or how long a support was held, or that
    nothing was found."""
    summary = analysis.summary
    hold = analysis.hold
    if analysis.empty:
        seen = any(view.track.frames_with_pose for view in analysis.looks)
        return "No push-up rep found in this clip" if seen else "Nobody seen in this clip"
    if summary.attempts == 0 and hold is not None:
        broke_at_s = analysis.hold_verdict.broke_at_s
        broke = "" if broke_at_s is None else f", line lost after {broke_at_s - hold.start_s:.0f} s"
        return f"Support hold, {hold.held_s:.0f} s{broke}"
    if negatives(analysis):
        return f"{summary.attempts} reps lowered, none pressed up"
    said = (
        f"{summary.counted} of {summary.attempts} counted, {summary.clean - summary.unclear} clean"
    )
    if summary.unclear:
        said += f", {summary.unclear} unclear"
    if summary.unjudged:
        said += f", {len(summary.unjudged)} not judged"
    failed = [result.rep.index for result in analysis.reps if result.attempt == "failed"]
    return f"{said}; {rep_list(failed)} failed" if failed else said


def _probably_missed(analysis: Analysis) -> list[int]:
    """Reps that do not count though nothing was called: by the odds alone. A named test has its
    own reasons."""
    if analysis.test is not None:
        return []
    uncounted = [r.rep.index for r in analysis.reps if r.attempt == "not_counted"]
    return [index for index in uncounted if index not in analysis.summary.unjudged]


def negatives(analysis: Analysis) -> bool:
    """Whether the set was lowered only."""
    return only_lowered(analysis.faults, analysis.summary.attempts, analysis.test)


def fix_line(analysis: Analysis) -> str:
    """``Fix first: hips sag (reps 5, 6)``, or that nothing needs fixing, or what to film."""
    key = fix_first(analysis, besides=FAILED)
    hold = analysis.hold
    if analysis.empty:
        return (
            "Nothing to count or measure. Film the whole set from before the first rep until "
            "after the last, whole body in the picture, one person"
        )
    if not analysis.reps and hold is not None:
        if not hold.line_deg.known:
            return "The body line does not show in this view"
        line = plus_minus(hold.line_deg.value, hold.line_deg.plus_minus, "deg")
        return f"Body line while held: {line} (+ sags, − piked)"
    if pain := analysis.prescription.pain:
        place = "" if pain == "other" else f" in the {pain}"
        return f"Pain{place} was reported: rest comes first"
    if key is None and (missed := _probably_missed(analysis)):
        off = "" if analysis.prescription.counts == "range" else " or off the line"
        return f"Look first at {rep_list(missed)}: probably short of full range{off}"
    if key is None:
        which = "these views" if len(analysis.looks) > 1 else "this view"
        failed = reps_with(analysis, FAILED) and not negatives(analysis)
        other = "other " if failed else ""
        return f"No {other}fault seen in what {which} can judge"
    reps = reps_with(analysis, key)
    return f"Fix first: {fault_kinds()[key].name.lower()} ({rep_list(reps)})"


def reps_with(analysis: Analysis, key: str, verdict: str = "fault") -> list[int]:
    """Indices of the reps that carry this fault."""
    return [
        result.rep.index
        for result in analysis.reps
        if any(f.key == key and f.verdict == verdict for f in result.faults)
    ]
