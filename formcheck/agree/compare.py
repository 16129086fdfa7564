"""A coach's verdicts beside the tool's, and beside another coach's."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd

from formcheck.agree.bland_altman import BlandAltman, bland_altman
from formcheck.agree.coefficients import (
    UNKNOWN,
    Estimate,
    agreement,
    cohen_kappa,
    estimate,
    f1,
    gwet_ac1,
    precision,
    recall,
    tally,
)
from formcheck.agree.labels import COUNTED, Label, LabelsError, raters
from formcheck.agree.measured import MeasuredSet
from formcheck.analysis import RepResult
from formcheck.faults.catalogue import fault_kinds, hidden_from
from formcheck.maths.arrays import FloatArray
from formcheck.measures.values import rep_values

TOOL = "formcheck"
Told = Literal["yes", "borderline", "no", "not judged", "no such rep"]
COEFFICIENTS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "precision": precision,
    "recall": recall,
    "f1": f1,
    "agreement": agreement,
    "kappa": cohen_kappa,
    "ac1": gwet_ac1,
}


@dataclass(frozen=True)
class Verdict:
    """One label beside what the tool said of the same rep; ``of_set`` is the set's place.

    ``of_rep`` is the rep's place, None where the tool found no such rep. ``value``, ``plus_minus``
    and ``limit`` in ``unit`` (NaN where there is none), ``at_s`` the moment to look at.
    """

    label: Label
    of_set: int
    of_rep: int | None
    rep: int
    tool: Told
    value: float = math.nan
    plus_minus: float = math.nan
    limit: float = math.nan
    unit: str = ""
    at_s: float = math.nan
    view: str = ""

    @property
    def disagrees(self) -> bool:
        """The coach said yes or no and the tool, borderline taken for no, the other."""
        said = self.label.verdict
        if said == "unsure" or self.tool == "not judged":
            return False
        if self.tool == "no such rep":
            return said == "yes"
        return (said == "yes") != (self.tool == "yes")

    @property
    def false_accusation(self) -> bool:
        if self.label.fault == COUNTED:
            return self.disagrees and self.tool != "yes"
        return self.disagrees and self.tool == "yes"

    @property
    def apart(self) -> float:
        """How far the value lies on the tool's side of the limit, in stated ±; 0 if unknown."""
        if not self.plus_minus > 0 or not math.isfinite(self.limit):
            return 0.0
        return abs(self.value - self.limit) / self.plus_minus


@dataclass(frozen=True)
class Agreement:
    """Two raters on one fault. ``counts``: both yes, first only, second only, neither.

    Precision and recall take the second for the reference. ``left_out`` says how many labels
    were no part of it, by reason.
    """

    fault: str
    first: str
    second: str
    sets: int
    counts: tuple[int, int, int, int]
    coefficients: dict[str, Estimate]
    left_out: dict[str, int]

    @property
    def reps(self) -> int:
        return sum(self.counts)


@dataclass(frozen=True)
class CountAgreement:
    """Reps counted of each set by ``first`` and ``second``, and how far apart they lie."""

    first: str
    second: str
    table: pd.DataFrame  # set, first, second
    apart: BlandAltman


def compare(labels: Sequence[Label], sets: Sequence[MeasuredSet]) -> tuple[Verdict, ...]:
    """Every label about one of the sets, beside the tool's verdict under the sets' own limits.

    Labels about sets that were not given are left out. Raises LabelsError when all are.
    """
    place = {one.name: i for i, one in enumerate(sets)}
    judged = {i: sets[i].judged() for i in {place[x.set] for x in labels if x.set in place}}
    if not judged and labels:
        raise LabelsError(
            f"no label is about one of these sets; labels name {_some(x.set for x in labels)}, the "
            f"sets are called {_some(place)}."
        )
    own = {(x.who, x.set, x.fault, x.rep) for x in labels if x.rep is not None}
    out = []
    for label in labels:
        if label.set not in place:
            continue
        of_set = place[label.set]
        results = judged[of_set]
        if label.rep is not None:
            out.append(_verdict(label, label.rep, sets[of_set], of_set, results))
            continue
        for result in results:
            rep = result.rep.index
            if (label.who, label.set, label.fault, rep) not in own:
                out.append(_verdict(label, rep, sets[of_set], of_set, results))
    return tuple(out)


def agreements(verdicts: Sequence[Verdict]) -> tuple[Agreement, ...]:
    """The tool with each coach, then coach with coach, fault by fault."""
    out = []
    people = raters([one.label for one in verdicts])
    faults = sorted({one.label.fault for one in verdicts}, key=_order)
    for fault in faults:
        about = [one for one in verdicts if one.label.fault == fault]
        for who in people:
            mine = [one for one in about if one.label.who == who]
            if mine:
                out.append(_with_tool(fault, who, mine))
    for fault in faults:
        about = [one for one in verdicts if one.label.fault == fault]
        for first, second in combinations(people, 2):
            found = _between(fault, first, second, about)
            if found.reps:
                out.append(found)
    return tuple(out)


def agreement_table(found: Sequence[Agreement]) -> pd.DataFrame:
    """A row a fault and pair of raters; each coefficient with ``_low`` and ``_high``."""
    return pd.DataFrame(
        [
            {
                "fault": one.fault,
                "first": one.first,
                "second": one.second,
                "sets": one.sets,
                "reps": one.reps,
                **dict(zip(("both", "first_only", "second_only", "neither"), one.counts,
                           strict=True)),
                **{
                    f"{name}{end}": getattr(value, field)
                    for name, value in one.coefficients.items()
                    for end, field in (("", "value"), ("_low", "low"), ("_high", "high"))
                },
                **{key.replace(" ", "_"): count for key, count in one.left_out.items()},
            }
            for one in found
        ]
    )  # fmt: skip


def verdict_table(verdicts: Sequence[Verdict]) -> pd.DataFrame:
    """A row a label: what the coach and the tool said of the rep, and what was measured."""
    return pd.DataFrame(
        [
            {
                "set": one.label.set,
                "rep": one.rep,
                "fault": one.label.fault,
                "who": one.label.who,
                "said": one.label.verdict,
                "tool": one.tool,
                "disagrees": one.disagrees,
                "value": one.value,
                "plus_minus": one.plus_minus,
                "limit": one.limit,
                "unit": one.unit,
                "at_s": one.at_s,
                "view": one.view,
            }
            for one in verdicts
        ]
    )


def disagreements(verdicts: Sequence[Verdict]) -> tuple[Verdict, ...]:
    """Those on which coach and tool differ: false accusations first, each by how sure the tool
    was of its side."""
    return tuple(
        sorted(
            (one for one in verdicts if one.disagrees),
            key=lambda one: (not one.false_accusation, -one.apart, one.label.set, one.rep),
        )
    )


def count_agreement(
    labels: Sequence[Label], sets: Sequence[MeasuredSet]
) -> tuple[CountAgreement, ...]:
    """Counted reps of a set, by the tool against each coach and coach against coach.

    A coach's count is their number of ``counted`` yes, reps that the tool did not find among
    them; sets where a rep was left unlabelled or unsure are left out.
    """
    counted: dict[str, dict[str, int]] = {TOOL: {}}
    for one in sets:
        counted[TOOL][one.name] = sum(r.attempt == "counted" for r in one.judged())
    verdicts = compare([x for x in labels if x.fault == COUNTED], sets)
    for who in raters([x.label for x in verdicts]):
        counted[who] = {}
        for i, one in enumerate(sets):
            mine = [x for x in verdicts if x.label.who == who and x.of_set == i]
            labelled = {x.of_rep for x in mine if x.label.verdict != "unsure"}
            if mine and labelled >= set(range(len(one.reps))):
                counted[who][one.name] = sum(x.label.verdict == "yes" for x in mine)
    out = []
    for first, second in combinations(counted, 2):
        both = [name for name in counted[first] if name in counted[second]]
        if both:
            table = pd.DataFrame(
                {"set": both, "first": [counted[first][name] for name in both],
                 "second": [counted[second][name] for name in both]}
            )  # fmt: skip
            out.append(
                CountAgreement(
                    first, second, table,
                    bland_altman(table["first"].to_numpy(float), table["second"].to_numpy(float)),
                )
            )  # fmt: skip
    return tuple(out)


def _verdict(
    label: Label, rep: int, one: MeasuredSet, of_set: int, results: Sequence[RepResult]
) -> Verdict:
    of_rep = next((i for i, result in enumerate(results) if result.rep.index == rep), None)
    if of_rep is None:
        return Verdict(label, of_set, None, rep, "no such rep")
    result = results[of_rep]
    plain = Verdict(label, of_set, of_rep, rep, "no", at_s=result.rep.bottom_s, view=one.views[0])
    if label.fault == COUNTED:
        return replace(plain, tool="yes" if result.attempt == "counted" else "no")
    raised = next((f for f in result.faults if f.key == label.fault), None)
    if raised is not None:
        return replace(
            plain,
            tool="yes" if raised.verdict == "fault" else "borderline",
            value=raised.value,
            plus_minus=raised.uncertainty,
            limit=raised.limit,
            unit=raised.unit,
            at_s=raised.at_s,
            view=raised.view,
        )
    if not is_judged(one, result, label.fault):
        return replace(plain, tool="not judged")
    kind = fault_kinds()[label.fault]
    criterion = kind.criterion(one.prescription.range_standard)
    quantity = result.values[criterion.measure]
    kept = replace(
        plain,
        value=abs(quantity.value) if kind.side == "either" else quantity.value,
        plus_minus=quantity.plus_minus,
        unit=rep_values()[criterion.measure].unit,
        view=quantity.view or one.views[0],
        at_s=plain.at_s if quantity.at_s is None else quantity.at_s,
    )
    # A phase is held to the tempo, hands to the position asked for: no one number to show.
    held_to = None if kind.phase else one.limits.get(criterion.limit)
    return kept if held_to is None else replace(kept, limit=held_to.value)


def is_judged(one: MeasuredSet, result: RepResult, fault: str) -> bool:
    """Whether the tool could say anything about this fault on this rep."""
    kind = fault_kinds()[fault]
    asked = one.prescription
    if all(fault in hidden_from(view) for view in one.views):
        return False
    if result.attempt == "aborted" and fault != "aborted":
        return False
    if (kind.phase and asked.tempo is None) or (kind.side == "outside" and asked.hands is None):
        return False
    quantity = result.values.get(kind.criterion(asked.range_standard).measure)
    return quantity is not None and quantity.known


def _with_tool(fault: str, who: str, mine: Sequence[Verdict]) -> Agreement:
    used = [one for one in mine if one.label.verdict != "unsure" and one.tool in _SAYS]
    return _agreement(
        fault,
        TOOL,
        who,
        [one.of_set for one in used],
        [one.tool == "yes" for one in used],
        [one.label.verdict == "yes" for one in used],
        {
            "unsure": sum(one.label.verdict == "unsure" for one in mine),
            "not judged": sum(one.tool == "not judged" for one in mine),
            "no such rep": sum(one.tool == "no such rep" for one in mine),
            "borderline": sum(one.tool == "borderline" for one in used),
        },
    )


_SAYS = ("yes", "borderline", "no")


def _between(fault: str, first: str, second: str, about: Sequence[Verdict]) -> Agreement:
    said = {
        who: {(one.of_set, one.rep): one.label.verdict for one in about if one.label.who == who}
        for who in (first, second)
    }
    both = [key for key in said[first] if key in said[second]]
    sure = [key for key in both if "unsure" not in (said[first][key], said[second][key])]
    return _agreement(
        fault,
        first,
        second,
        [key[0] for key in sure],
        [said[first][key] == "yes" for key in sure],
        [said[second][key] == "yes" for key in sure],
        {"unsure": len(both) - len(sure)},
    )


def _agreement(
    fault: str,
    first: str,
    second: str,
    of_set: Sequence[int],
    first_said: Sequence[bool],
    second_said: Sequence[bool],
    left_out: dict[str, int],
) -> Agreement:
    numbers = np.unique(np.asarray(of_set, int), return_inverse=True)[1]
    counts = tally(np.asarray(first_said, bool), np.asarray(second_said, bool), numbers)
    total = counts.sum(0) if len(counts) else np.zeros(4)
    return Agreement(
        fault=fault,
        first=first,
        second=second,
        sets=len(counts),
        counts=(int(total[0]), int(total[1]), int(total[2]), int(total[3])),
        coefficients={
            name: estimate(counts, of) if len(counts) else UNKNOWN
            for name, of in COEFFICIENTS.items()
        },
        left_out=left_out,
    )


def _order(fault: str) -> int:
    keys = list(fault_kinds())
    return keys.index(fault) if fault in keys else -1


def _some(names: Iterable[str]) -> str:
    found = list(dict.fromkeys(names))
    return ", ".join(f"“{name}”" for name in found[:5]) + (" and others" if len(found) > 5 else "")
