"""Who in a group needs a word, who did well, and what many have in common.

A word is asked for where a form fault runs through a set, where the form broke early, or where
less was done than asked. It is a list to look at clips by, no ranking of people.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from formcheck.batch.judged_sets import JudgedSet
from formcheck.faults.catalogue import fault_kinds
from formcheck.reps.find import rep_list

# What a coach would speak up for; assumed, and about reps that were called, not near misses.
_RUNS_THROUGH = 0.5  # of the reps have the fault
_LEAST_REPS = 3  # fewer say nothing about a set
_EARLY = 0.5  # of the set was left when form first broke
_COMMON = 1 / 3  # of the people who could be judged for it
_LEAST_PEOPLE = 3  # fewer are no group


@dataclass(frozen=True)
class Word:
    """What to talk about with whom: ``about`` the set, in one line; ``weight`` to sort by."""

    person: str
    about: JudgedSet
    text: str
    weight: float


@dataclass(frozen=True)
class Common:
    """A fault that many of a group have: so many ``people`` of those ``judged`` for it."""

    key: str
    people: int
    judged: int
    reps: int
    of_reps: int


def words_due(sets: Sequence[JudgedSet]) -> list[Word]:
    """The sets that need a word, the most pressing first; one line each."""
    out = []
    for one in sets:
        said, weight = _said(one)
        if said:
            text = "; ".join(said)
            out.append(Word(one.person, one, text[:1].upper() + text[1:], weight))
    return sorted(out, key=lambda word: (-word.weight, word.about.result.name))


def _said(one: JudgedSet) -> tuple[list[str], float]:
    said: list[str] = []
    weight = 0.0
    finished = [rep for rep in one.reps if rep["attempt"] not in ("aborted", "failed")]
    counts = Counter(key for rep in finished for key in dict.fromkeys(rep["faults"]))
    if len(finished) >= _LEAST_REPS:
        for key, kind in fault_kinds().items():
            of_form = kind.phase is None  # not against the tempo
            if of_form and counts[key] >= _RUNS_THROUGH * len(finished):
                said.append(f"{kind.name.lower()} in {counts[key]} of {len(finished)} reps")
                weight += counts[key] / len(finished)
        short = one.attempts - int(one.of_set("counted") or 0)
        if not said and short > _RUNS_THROUGH * one.attempts:
            seen = _judged_for(one, "shallow")
            why = "do not count" if seen else "could not be judged; see how to film it"
            said.append(f"{short} of {one.attempts} attempts {why}")
            weight += short / one.attempts
        broke = one.of_set("first_breakdown_rep")
        if not said and broke is not None and broke - 1 < _EARLY * len(one.reps) and broke > 1:
            said.append(f"form first breaks in rep {broke} of {len(one.reps)}")
            weight += 0.5
    failed = [int(rep["index"]) for rep in one.reps if rep["attempt"] == "failed"]
    if failed:
        said.insert(0, f"{rep_list(failed)} failed")
        weight += 0.5
    target, clean = one.asked("target_reps"), one.of_set("clean")
    if target is not None and clean is not None and clean < target:
        said.append(f"{clean} clean of {target} asked")
        weight += 1 - clean / target
    return said, weight


def did_well(sets: Sequence[JudgedSet]) -> list[JudgedSet]:
    """Sets of some length in which every attempt counted and was clean for sure, target met."""
    return [
        one
        for one in sets
        if one.attempts >= _LEAST_REPS
        and one.of_set("clean") == one.attempts
        and not one.of_set("unclear")
        and one.attempts >= (one.asked("target_reps") or 0)
    ]


def common_faults(sets: Sequence[JudgedSet]) -> list[Common]:
    """Faults that at least a third of the people who were judged for them have."""
    of_person: Mapping[str, list[JudgedSet]] = _by_person(sets)
    keys = {key for one in sets for key in one.counts()}
    out = []
    for key in sorted(keys):
        judged = {
            person: [one for one in own if _judged_for(one, key)]
            for person, own in of_person.items()
        }
        judged = {person: own for person, own in judged.items() if own}
        have = [person for person, own in judged.items() if any(one.counts()[key] for one in own)]
        seen = [one for own in judged.values() for one in own]
        if len(judged) >= _LEAST_PEOPLE and len(have) >= max(2.0, _COMMON * len(judged)):
            reps = sum(one.counts()[key] for one in seen)
            out.append(Common(key, len(have), len(judged), reps, sum(one.attempts for one in seen)))
    return sorted(out, key=lambda c: (-c.people / c.judged, -c.reps, c.key))


def people_in(sets: Sequence[JudgedSet]) -> list[str]:
    """Everybody of whom there is a set, by name; who is not named is somebody with each set."""
    return sorted(_by_person(sets))


def _by_person(sets: Sequence[JudgedSet]) -> dict[str, list[JudgedSet]]:
    out: dict[str, list[JudgedSet]] = defaultdict(list)
    for one in sets:
        if one.result.status == "judged":
            out[one.person or one.result.name].append(one)
    return out


def _judged_for(one: JudgedSet, key: str) -> bool:
    """Whether the set was long and clear enough to show this fault."""
    unseen = {
        entry["key"]
        for entry in one.report.get("not_judged", ())
        if not entry["reason"].startswith("rep ")  # some reps only
    }
    return one.attempts > 0 and key not in unseen
