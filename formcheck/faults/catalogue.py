"""The catalogue of faults: all that is known of each, as data.

What ships stands in ``catalogue.toml``. ``add_fault`` adds one from outside, and from then on it
is judged, weighed in the advice, called in the clip and explained on the page like the others.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from formcheck.asked.standards import RangeStandard
from formcheck.faults.limits import Limit, add_limit, default_limits, drop_limit
from formcheck.measures.values import rep_values
from formcheck.outside import load_outside
from formcheck.signals.view import ViewKind

Side = Literal["above", "below", "either", "outside"]
Moment = Literal["start", "bottom_start", "bottom", "bottom_end", "rise", "top", "end"]
PhaseKey = Literal["eccentric", "bottom_pause", "concentric", "top_pause"]
Weight = Literal["range", "line", "attention"]


@dataclass(frozen=True)
class Criterion:
    """What a fault is judged by: a measured value, the key of its limit, and what that asks."""

    measure: str
    limit: str
    asked: str = ""


@dataclass(frozen=True)
class FaultKind:
    """One entry of the catalogue; what each field means is said at the head of catalogue.toml."""

    key: str
    name: str
    judged: str
    measure: str
    side: Side
    at: Moment
    weighs: Weight
    what: str
    why: str
    cue: str
    drill: str
    sign: str
    meant: str = ""
    drill_late: str = ""
    end_late: str = ""
    limit: str = ""
    asked: str = ""
    standards: Mapping[RangeStandard, Criterion] = field(default_factory=dict)
    surer_by: str | None = None
    phase: PhaseKey | None = None
    part: Literal["arm", "line"] | None = None
    too_heavy: bool = False
    alone: bool = False
    needed: bool = False
    cost: int = 1

    def criterion(self, standard: RangeStandard) -> Criterion:
        """What it is judged by under a range standard."""
        own = Criterion(self.measure, self.limit or self.key, self.asked)
        return self.standards.get(standard, own)

    def remedy(self, late: bool, end_said: bool = False) -> str:
        """What to do about it: ``late`` where only the later reps have it, ``end_said`` where the
        trainee has been told already when to end the set."""
        if not late or not self.drill_late:
            return self.drill
        if end_said:
            return self.drill_late
        return f"{self.end_late}, and add {self.drill_late[0].lower()}{self.drill_late[1:]}"

    @property
    def hidden(self) -> Mapping[ViewKind, str]:
        """By view: why it cannot be judged there, and how to film so that it can."""
        return rep_values()[self.measure].hidden

    @property
    def film(self) -> Literal["side", "front"] | None:
        """The view that shows it best; None where every view shows it alike."""
        return rep_values()[self.measure].film


_added: dict[str, FaultKind] = {}


def fault_kinds() -> Mapping[str, FaultKind]:
    """The catalogue: every fault by its key, in the order they are judged."""
    load_outside()
    return MappingProxyType({**_shipped(), **_added})


def add_fault(kind: FaultKind, limit: Limit | None = None) -> None:
    """Judge one more fault in every set from now on.

    ``limit`` joins the default limits under the fault's key, unless it is held to one that is
    there already. The value it is judged by must be measured: see ``measures.values.add_value``.
    Raises ValueError for a key that is taken or a value or limit that does not exist.
    """
    if kind.key in fault_kinds():
        raise ValueError(f"“{kind.key}” is in the catalogue already")
    if kind.measure not in rep_values():
        raise ValueError(f"“{kind.measure}”, by which “{kind.key}” is judged, is not measured")
    if limit is not None:
        add_limit(kind.key, limit)
    elif (kind.limit or kind.key) not in default_limits():
        raise ValueError(f"“{kind.key}” comes without a limit")
    _added[kind.key] = kind


def drop_fault(key: str) -> None:
    """Judge an added fault no more."""
    del _added[key]
    drop_limit(key)


def hidden_from(view: ViewKind) -> dict[str, str]:
    """Faults that a view cannot judge: key → why not, and how to film so that it can."""
    return {key: kind.hidden[view] for key, kind in fault_kinds().items() if view in kind.hidden}


def keys_weighing(*weights: Weight) -> frozenset[str]:
    """Keys of the faults with these weights in the advice."""
    return frozenset(key for key, kind in fault_kinds().items() if kind.weighs in weights)


@cache
def _shipped() -> Mapping[str, FaultKind]:
    text = files("formcheck.faults").joinpath("catalogue.toml").read_text(encoding="utf-8")
    return {key: _kind(key, row) for key, row in tomllib.loads(text).items()}


def _kind(key: str, row: dict[str, Any]) -> FaultKind:
    standards = {name: Criterion(**one) for name, one in row.pop("standards", {}).items()}
    return FaultKind(key=key, standards=standards, **row)
