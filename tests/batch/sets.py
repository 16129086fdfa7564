"""Judged sets made by hand: what a report says, no more than a summary reads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from formcheck.batch.judged_sets import JudgedSet
from formcheck.batch.records import Result, Status


def made_set(
    name: str,
    *reps: Sequence[str],
    attempts: Sequence[str] = (),
    status: Status = "judged",
    target: int | None = None,
    not_judged: Sequence[tuple[str, str]] = (),
    **of_set: Any,
) -> JudgedSet:
    """A set of a person, ``PERSON/SET``, with the faults of each rep."""
    came = list(attempts) or ["counted"] * len(reps)
    rows = [
        {"index": n + 1, "attempt": attempt, "faults": list(faults), "borderline": []}
        for n, (faults, attempt) in enumerate(zip(reps, came, strict=True))
    ]
    counted = sum(attempt == "counted" for attempt in came)
    clean = sum(a == "counted" and not f for f, a in zip(reps, came, strict=True))
    report = {
        "clips": [{"view": "side"}],
        "prescription": {"target_reps": target},
        "reps": rows,
        "set": {"attempts": len(rows), "counted": counted, "clean": clean,
                "first_breakdown_rep": None, **of_set},
        "not_judged": [{"key": key, "reason": reason} for key, reason in not_judged],
        "next_step": {"direction": "same", "variation": "push-up"},
        "variation": {"support_hold": None},
    }  # fmt: skip
    first = next((key for faults in reps for key in faults), None)
    person, _, _ = name.rpartition("/")
    result = Result(name, (f"{name}.mp4",), status, "" if status == "judged" else "dark", "", first)
    return JudgedSet(result, person, "", "", report if status != "failed" else {})
