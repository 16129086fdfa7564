"""Labels held against saved sets: one object that answers every question about them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import pandas as pd

from formcheck.agree.again import change_table, changes_of
from formcheck.agree.compare import (
    Agreement,
    CountAgreement,
    Verdict,
    agreement_table,
    agreements,
    compare,
    count_agreement,
    disagreements,
    verdict_table,
)
from formcheck.agree.labels import COUNTED, Label, labels_from, read_labels
from formcheck.agree.measured import MeasuredSet, measured_set, read_sets, report_folders
from formcheck.agree.preference import Preference
from formcheck.agree.suggest import Suggestion, suggest
from formcheck.agree.sweep import Labelled, Sweep, labelled, sweep
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import Tempo
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limits import default_limits
from formcheck.judged import GivenLimits, Judged, asked_of, limits_of

GivenPath = str | PathLike[str]
GivenSets = GivenPath | Iterable[GivenPath | MeasuredSet] | Mapping[str, Judged]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Labels beside the verdicts on the sets they are about."""

    sets: tuple[MeasuredSet, ...]
    labels: tuple[Label, ...]
    verdicts: tuple[Verdict, ...]

    def __repr__(self) -> str:
        differ = len(self.disagreements())
        return (
            f"<Comparison of {len(self.verdicts)} verdicts on {len(self.sets)} sets: "
            f"{differ} disagreements>"
        )

    def table(self) -> pd.DataFrame:
        """A row a label: what coach and tool said of the rep, and what was measured."""
        return verdict_table(self.verdicts)

    def agreements(self) -> tuple[Agreement, ...]:
        """The tool with each coach and coach with coach, fault by fault."""
        return agreements(self.verdicts)

    def agreement(self) -> pd.DataFrame:
        """The same as a table: precision, recall, F1, kappa, AC1 with their intervals."""
        return agreement_table(self.agreements())

    def counts(self) -> tuple[CountAgreement, ...]:
        """Counted reps a set, by Bland and Altman."""
        return count_agreement(self.labels, self.sets)

    def disagreements(self) -> tuple[Verdict, ...]:
        """Where coach and tool differ, worst first."""
        return disagreements(self.verdicts)

    def faults(self) -> tuple[str, ...]:
        """Keys of the faults that were labelled, in the order of the catalogue."""
        about = {one.label.fault for one in self.verdicts}
        return tuple(key for key in (*fault_kinds(), COUNTED) if key in about)

    def labelled(self, fault: str) -> Labelled:
        """The reps that can be used to choose a limit for this fault."""
        return labelled(self.verdicts, self.sets, fault)

    def sweep(
        self, fault: str, limit: str | None = None, values: Sequence[float] | None = None
    ) -> Sweep:
        """Try 50 values of a limit, or those given. Raises SweepError."""
        return sweep(self.labelled(fault), limit, values)

    def suggest(
        self, fault: str, limit: str | None = None, preference: Preference = "few-false"
    ) -> Suggestion:
        """The limit for what is preferred, or why there is none. Raises SweepError."""
        return suggest(self.labelled(fault), limit, preference)


def open_sets(sets: GivenSets) -> tuple[MeasuredSet, ...]:
    """Saved sets: a report folder, a folder of them, several; or judged sets in memory by name.

    Raises SavedReportError.
    """
    if isinstance(sets, Mapping):
        return tuple(measured_set(one.analysis, name) for name, one in sets.items())
    given = [sets] if isinstance(sets, str | PathLike) else list(sets)
    held = [one for one in given if isinstance(one, MeasuredSet)]
    paths = [Path(one) for one in given if not isinstance(one, MeasuredSet)]
    return (*held, *(read_sets(report_folders(paths)) if paths else ()))


def hold_against(labels: GivenPath | pd.DataFrame | Sequence[Label], sets: GivenSets) -> Comparison:
    """Labels (a file, a table or ``Label`` objects) beside the sets they are about.

    Raises LabelsError and SavedReportError.
    """
    opened = open_sets(sets)
    keys = tuple(fault_kinds())
    if isinstance(labels, pd.DataFrame):
        read = labels_from(labels, keys)
    elif isinstance(labels, str | PathLike):
        read = read_labels(Path(labels), keys)
    else:
        read = tuple(labels)
    return Comparison(opened, read, compare(read, opened))


def judge_again(
    sets: GivenSets,
    limits: GivenLimits | None = None,
    tempo: str | Tempo | None = None,
    standard: str | None = None,
) -> pd.DataFrame:
    """Saved sets judged again, a fraction of a millisecond a rep; nothing is written.

    ``limits`` values by key, a limits file, or the name of a set that ships; ``standard`` a named
    test. A row a set: counted and clean before and after, and the faults called now or no more.
    Raises LimitsError, TempoError and SavedReportError.
    """
    held_to = None if limits is None else limits_of(limits, default_limits())
    asked = asked_of(Prescription(), tempo).tempo
    return change_table(changes_of(open_sets(sets), held_to, asked, standard))
