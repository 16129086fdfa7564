"""Try values of a limit over labelled sets: what would be accused, and how much of it rightly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from formcheck.agree.codes import CLEAR, FAULT, Codes, sweep_codes
from formcheck.agree.coefficients import f1, precision, recall
from formcheck.agree.compare import Verdict
from formcheck.agree.labels import COUNTED
from formcheck.agree.measured import MeasuredSet
from formcheck.errors import FormcheckError
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limits import Limit
from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.plain import plain

PLACES = 50  # values of a limit that are tried unless told
_COARSE = 41  # values over a limit's whole range, to find where it matters
_ROOM = 10.0  # tried above a limit that has no highest value


class SweepError(FormcheckError):
    """A limit that these labels say nothing about."""


@dataclass(frozen=True)
class Labelled:
    """Reps with a coach's yes or no, one fault: place of set and rep, and whether it is there."""

    fault: str
    sets: Sequence[MeasuredSet]
    rows: tuple[tuple[int, int], ...]
    there: BoolArray

    @property
    def of_set(self) -> npt.NDArray[np.int_]:
        """Number of the labelled set of each row, from 0."""
        places = [of_set for of_set, _ in self.rows]
        return np.asarray(np.unique(places, return_inverse=True)[1], int)


@dataclass(frozen=True)
class Sweep:
    """Verdicts under each value of one limit against a coach's. ``values`` run from the strictest
    to the mildest; ``counts`` (S, G, 4) of both yes, tool only, coach only, neither, by set."""

    fault: str
    key: str
    limit: Limit
    values: FloatArray
    counts: FloatArray

    def table(self) -> pd.DataFrame:
        """A row a value, strictest first: accusations, how many were right, what was found."""
        return _scores(self.values, self.counts)


def labelled(verdicts: Sequence[Verdict], sets: Sequence[MeasuredSet], fault: str) -> Labelled:
    """The reps on which the coaches' majority says yes or no and the tool can say something."""
    votes: dict[tuple[int, int], int] = {}
    for one in verdicts:
        usable = one.label.fault == fault and one.of_rep is not None and one.tool != "not judged"
        if usable and one.label.verdict != "unsure":
            vote = 1 if one.label.verdict == "yes" else -1
            place = (one.of_set, one.of_rep or 0)
            votes[place] = votes.get(place, 0) + vote
    settled = {place: vote > 0 for place, vote in sorted(votes.items()) if vote}
    there = np.array(list(settled.values()), bool)
    return Labelled(fault, sets, tuple(settled), ~there if fault == COUNTED else there)


def limit_key(fault: str, one: MeasuredSet) -> str:
    """The limit that a fault is judged by under a set's prescription. Raises SweepError."""
    if fault == COUNTED:
        return limit_key("shallow", one)
    kind = fault_kinds()[fault]
    key = kind.criterion(one.prescription.range_standard).limit
    if key in one.limits:
        return key
    if kind.phase is not None:
        return "tempo_tolerance"
    raise SweepError(f"{fault} is judged by the position asked for; there is no limit to try.")


def sweep(
    chosen: Labelled, limit: str | None = None, values: Sequence[float] | None = None
) -> Sweep:
    """Judge the labelled reps under each of ``values`` of a limit, 50 where it matters unless told.

    Raises SweepError for no labels, or a limit that does not move the fault.
    """
    key, held_to = limit_of(chosen, limit)
    along = where_it_matters(chosen, key, held_to, PLACES) if values is None else values
    codes, order = codes_along(chosen, key, np.asarray(along, float))
    return Sweep(chosen.fault, key, held_to, order, counts_of(codes, chosen))


def sweep_two(
    chosen: Labelled,
    first: tuple[str, Sequence[float]],
    second: tuple[str, Sequence[float]],
) -> pd.DataFrame:
    """Two limits together: a row a pair of values, with what ``Sweep.table`` says of one."""
    tables = []
    for value in second[1]:
        codes = sweep_codes(
            chosen.sets, chosen.rows, chosen.fault, first[0], np.asarray(first[1], float),
            {second[0]: value},
        )  # fmt: skip
        table = _scores(np.asarray(first[1], float), counts_of(codes, chosen))
        tables.append(table.rename(columns={"limit": first[0]}))
        tables[-1].insert(1, second[0], value)
    return pd.concat(tables, ignore_index=True)


def limit_of(chosen: Labelled, limit: str | None) -> tuple[str, Limit]:
    """The limit that is tried, by its key. Raises SweepError."""
    if not chosen.rows:
        raise SweepError(f"no rep that could be judged is labelled for {chosen.fault}.")
    one = chosen.sets[chosen.rows[0][0]]
    key = limit or limit_key(chosen.fault, one)
    if key not in one.limits:
        raise SweepError(f"“{plain(key, 80)}” is no limit; there are {', '.join(one.limits)}.")
    return key, one.limits[key]


def sensible(limit: Limit) -> tuple[float, float]:
    """Between what a limit makes sense, finite where it has no bounds of its own."""
    room = max(abs(limit.value), 1.0) if math.isfinite(limit.value) else _ROOM
    low = limit.lowest if math.isfinite(limit.lowest) else limit.value - room
    return low, limit.highest if math.isfinite(limit.highest) else low + 2 * room


def where_it_matters(chosen: Labelled, key: str, held_to: Limit, places: int) -> FloatArray:
    """The stretch of a limit's values that the labelled reps lie in, evenly divided."""
    codes, values = codes_along(chosen, key, np.linspace(*sensible(held_to), _COARSE))
    moves = np.flatnonzero((np.diff(codes, axis=1) != 0).any(axis=0))
    if not len(moves):
        raise SweepError(
            f"no verdict on {chosen.fault} changes with the limit {key} on these reps."
        )
    # A rep beyond either end of the range may lie anywhere there: the range is open on that side.
    first = 0 if (codes[:, 0] == CLEAR).any() else max(moves[0] - 1, 0)
    last = -1 if (codes[:, -1] != CLEAR).any() else min(moves[-1] + 2, len(values) - 1)
    return np.linspace(values[first], values[last], places)


def codes_along(chosen: Labelled, key: str, values: FloatArray) -> tuple[Codes, FloatArray]:
    """Verdicts along the values, and these, from the strictest to the mildest."""
    codes = sweep_codes(chosen.sets, chosen.rows, chosen.fault, key, values)
    if codes[:, 0].sum() < codes[:, -1].sum():
        return codes[:, ::-1], values[::-1]
    return codes, values


def counts_of(codes: Codes, chosen: Labelled) -> FloatArray:
    """Tallies (S, G, 4) of accusations against the coach's verdicts, by set."""
    accused, there = codes == FAULT, chosen.there[:, None]
    cells = np.stack(
        [accused & there, accused & ~there, ~accused & there, ~accused & ~there], axis=-1
    )
    of_set = chosen.of_set
    out = np.zeros((int(of_set.max()) + 1, codes.shape[1], 4))
    np.add.at(out, of_set, cells.astype(float))
    return out


def _scores(values: FloatArray, counts: FloatArray) -> pd.DataFrame:
    total = counts.sum(axis=0)
    return pd.DataFrame(
        {
            "limit": values,
            "accused": (total[:, 0] + total[:, 1]).astype(int),
            "false": total[:, 1].astype(int),
            "missed": total[:, 2].astype(int),
            "precision": precision(total),
            "recall": recall(total),
            "f1": f1(total),
        }
    )
