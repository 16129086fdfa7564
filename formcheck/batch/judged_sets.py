"""What is known of every set of a folder: its own report, read back."""

from __future__ import annotations

import json
import statistics
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from formcheck.batch.records import Result, Standing


@dataclass(frozen=True)
class JudgedSet:
    """One row of the summary: a result, and what its report says (empty where it has none)."""

    result: Result
    person: str
    paired_by: str
    note: str
    report: Mapping[str, Any]

    @property
    def reps(self) -> list[dict[str, Any]]:
        return list(self.report.get("reps", ()))

    @property
    def attempts(self) -> int:
        return int(self.of_set("attempts") or 0)

    def of_set(self, name: str) -> Any:
        return self.report.get("set", {}).get(name)

    def asked(self, name: str) -> Any:
        return self.report.get("prescription", {}).get(name)

    def counts(self, verdict: str = "faults") -> Counter[str]:
        """In how many reps each fault was; ``borderline`` for those too close to call."""
        return Counter(key for rep in self.reps for key in dict.fromkeys(rep[verdict]))

    def median(self, name: str) -> float | None:
        """Over the finished reps on which it was measured."""
        known = [
            rep[name]
            for rep in self.reps
            if rep["attempt"] != "aborted" and rep.get(name) is not None
        ]
        return float(statistics.median(known)) if known else None

    @property
    def furthest_line_deg(self) -> float | None:
        known = [v for rep in self.reps if (v := rep.get("hip_deviation_deg")) is not None]
        return max(known, key=abs) if known else None


def judged_sets(standings: Sequence[Standing], out: Path) -> list[JudgedSet]:
    """A row a result, in order of name."""
    rows = [
        JudgedSet(
            result,
            one.plan.person,
            one.plan.by or "" if len(result.clips) > 1 else "",
            one.record.note,
            _report(out / result.name) if result.status != "failed" else {},
        )
        for one in standings
        for result in one.record.results
    ]
    return sorted(rows, key=lambda row: row.result.name)


def _report(folder: Path) -> dict[str, Any]:
    report: dict[str, Any] = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return report
