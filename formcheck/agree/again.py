"""Saved sets judged again under other limits or another prescription, and what that changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from formcheck.agree.measured import MeasuredSet
from formcheck.analysis import RepResult
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import Tempo
from formcheck.faults.limits import Limits


@dataclass(frozen=True)
class Change:
    """One set before and after. ``gained`` and ``lost``: (rep, fault key) called now or no more."""

    name: str
    attempts: int
    counted: tuple[int, int]
    clean: tuple[int, int]
    gained: tuple[tuple[int, str], ...]
    lost: tuple[tuple[int, str], ...]

    @property
    def any(self) -> bool:
        """Whether anything of the verdict changed."""
        same = self.counted[0] == self.counted[1] and self.clean[0] == self.clean[1]
        return not same or bool(self.gained or self.lost)


def asked_again(one: MeasuredSet, tempo: Tempo | None, standard: str | None) -> Prescription:
    """A set's own prescription with another tempo or test standard, where given."""
    asked = one.prescription if tempo is None else replace(one.prescription, tempo=tempo)
    return asked if standard is None else replace(asked, standard=standard)


def changes_of(
    sets: Sequence[MeasuredSet],
    limits: Limits | None = None,
    tempo: Tempo | None = None,
    standard: str | None = None,
) -> tuple[Change, ...]:
    """What other limits, another tempo or a test standard would change, set by set.

    A fraction of a millisecond a rep; nothing is measured again and nothing is written.
    """
    return tuple(
        _change(one, one.judged(), one.judged(limits, asked_again(one, tempo, standard)))
        for one in sets
    )


def change_table(changes: Sequence[Change]) -> pd.DataFrame:
    """A row a set: attempts, counted and clean before and after, faults called now or no more."""
    return pd.DataFrame(
        [
            {
                "set": one.name,
                "attempts": one.attempts,
                "counted_before": one.counted[0],
                "counted": one.counted[1],
                "clean_before": one.clean[0],
                "clean": one.clean[1],
                "gained": _words(one.gained),
                "lost": _words(one.lost),
            }
            for one in changes
        ],
        columns=[
            "set", "attempts", "counted_before", "counted", "clean_before", "clean", "gained",
            "lost",
        ],
    )  # fmt: skip


def _change(one: MeasuredSet, before: Sequence[RepResult], after: Sequence[RepResult]) -> Change:
    was, now = _called(before), _called(after)
    return Change(
        name=one.name,
        attempts=len(after),
        counted=(_counted(before), _counted(after)),
        clean=(_clean(before), _clean(after)),
        gained=tuple(sorted(now - was)),
        lost=tuple(sorted(was - now)),
    )


def _called(results: Sequence[RepResult]) -> set[tuple[int, str]]:
    return {(f.rep, f.key) for r in results for f in r.faults if f.verdict == "fault"}


def _counted(results: Sequence[RepResult]) -> int:
    return sum(r.attempt == "counted" for r in results)


def _clean(results: Sequence[RepResult]) -> int:
    return sum(
        r.attempt == "counted" and not any(f.verdict == "fault" for f in r.faults) for r in results
    )


def _words(found: Sequence[tuple[int, str]]) -> str:
    keys = dict.fromkeys(key for _, key in found)
    return "; ".join(
        f"{key} in {', '.join(str(rep) for rep, one in found if one == key)}" for key in keys
    )
