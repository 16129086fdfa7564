"""Suggest a limit from labelled sets for what the user prefers, or say what is missing for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from formcheck.agree.codes import BORDERLINE, FAULT, sweep_codes
from formcheck.agree.coefficients import (
    LEAST_SETS,
    UNKNOWN,
    Estimate,
    estimate,
    f1,
    precision,
    recall,
)
from formcheck.agree.labels import COUNTED
from formcheck.agree.own_limit import Evidence, evidence, own_limit
from formcheck.agree.preference import Preference
from formcheck.agree.sweep import (
    Labelled,
    SweepError,
    codes_along,
    counts_of,
    limit_of,
    sensible,
    where_it_matters,
)
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limits import Limit
from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import not_measured
from formcheck.report.words import unit_name

_FINEST = 401  # over all its range and beyond, to read values from
_FAR = 0.75  # of a limit's range, on either side
_FINE = 101  # of the curve that a suggestion is read from
LEAST_REPS = (
    10  # that have the fault, and that have not: ten cases a number fitted, common practice
)
WIDEST = 2.0  # a suggestion less certain than this many times the measurement's own ± is none
PRECISE = 0.95  # of the accusations right, where few false ones are preferred; the stated ± is 95 %
_FOLDS = 10
_DRAWS = 200
_MOST_LOOKED_AT, _MOST_NAMED = 1000, 8


@dataclass(frozen=True)
class Suggestion:
    """A limit for one fault, or ``refused``: why there is none and what would help.

    ``coach`` the limit the coach holds, ``limit`` the suggested one, rounded to ``step``;
    ``precision`` and ``recall`` of the suggested limit on sets it was not chosen on.
    ``half_width`` the measurement's own ±. ``label_next`` reps (set, rep) that would tell most.
    """

    fault: str
    key: str
    in_force: float
    unit: str
    preference: Preference
    labelled: tuple[int, int, int]  # with the fault, without, sets
    refused: str = ""
    coach: Estimate = UNKNOWN
    limit: Estimate = UNKNOWN
    precision: Estimate = UNKNOWN
    recall: Estimate = UNKNOWN
    half_width: float = math.nan
    remarks: tuple[str, ...] = ()
    label_next: tuple[tuple[str, int], ...] = ()


def suggest(
    chosen: Labelled, limit: str | None = None, preference: Preference = "few-false"
) -> Suggestion:
    """The limit for what is preferred, or why there is none.

    ``few-false``: the limit the coach holds, or a milder one where accusations would not be right
    19 times in 20. ``balanced``: the best F1. ``find-all``: the mildest that finds 19 in 20.
    Raises SweepError like ``sweep``.
    """
    if chosen.fault == COUNTED:
        raise SweepError(
            "a limit is suggested for one fault; for counted reps try shallow and soft_lockout."
        )
    key, held_to = limit_of(chosen, limit)
    yes = int(chosen.there.sum())
    bare = Suggestion(
        fault=chosen.fault,
        key=key,
        in_force=held_to.value,
        unit=held_to.unit,
        preference=preference,
        labelled=(yes, len(chosen.there) - yes, len(np.unique(chosen.of_set))),
    )
    if refused := _too_few(chosen):
        return replace(bare, refused=refused)
    found = _Found.of(chosen, key, held_to)
    values = found.values
    coach = found.coach()
    bare = replace(bare, coach=coach, half_width=found.evidence.half_width)
    bare = replace(bare, label_next=_label_next(chosen, key, values, coach))
    if refused := _too_wide(coach, bare, found):
        return replace(bare, refused=refused)
    everything = np.arange(len(found.counts))
    place = found.choose(everything, preference)
    step = _step(bare.half_width)
    at_coach = place == found.place_of(coach.value)
    limit_found = coach if preference == "few-false" and at_coach else found.spread(preference)
    rounded = Estimate(round(float(values[place]) / step) * step, limit_found.low, limit_found.high)
    held_out = found.held_out(preference)
    return replace(
        bare,
        limit=rounded,
        precision=estimate(held_out, precision),
        recall=estimate(held_out, recall),
        remarks=_remarks(rounded.value, bare, at_coach or preference != "few-false"),
    )


@dataclass(frozen=True)
class _Found:
    """What the labels say along the ``values`` of a limit, strictest first.

    ``sign`` +1 where a larger value is milder; ``evidence`` runs along ``sign * values``.
    """

    values: FloatArray
    sign: float
    counts: FloatArray
    evidence: Evidence

    @staticmethod
    def of(chosen: Labelled, key: str, held_to: Limit) -> _Found:
        codes, values = codes_along(chosen, key, where_it_matters(chosen, key, held_to, _FINE))
        sign = 1.0 if values[-1] > values[0] else -1.0
        measured, half_width = _read_back(chosen, key, held_to)
        told = evidence(measured * sign, half_width, chosen.there, chosen.of_set, sign * values)
        return _Found(values, sign, counts_of(codes, chosen), told)

    def coach(self, chosen: npt.NDArray[np.int_] | None = None) -> Estimate:
        """The limit the coach holds, by some of the sets."""
        along = own_limit(self.evidence, chosen)
        if self.sign > 0:
            return along
        return Estimate(-along.value, -along.high, -along.low)

    def place_of(self, value: float) -> int:
        return int(np.argmin(np.abs(self.values - value)))

    def choose(self, chosen: npt.NDArray[np.int_], preference: Preference) -> int:
        """The place of the preferred limit, by some of the sets."""
        total = self.counts[chosen].sum(axis=0)
        if preference == "balanced":
            best = f1(total)
            return int(np.nanargmax(best)) if np.isfinite(best).any() else 0
        if preference == "find-all":
            enough = np.flatnonzero(recall(total) >= PRECISE)
            return int(enough[-1]) if len(enough) else 0
        start = self.place_of(self.coach(chosen).value)
        right = precision(total)[start:]
        if not np.isfinite(right[0]) or right[0] >= PRECISE:
            return start
        enough = np.flatnonzero(right >= PRECISE)
        return start + (int(enough[0]) if len(enough) else 0)

    def spread(self, preference: Preference) -> Estimate:
        """The choice and where it falls when sets are drawn again."""
        sets = len(self.counts)
        rng = np.random.default_rng(0)
        drawn = [
            self.values[self.choose(rng.integers(0, sets, sets), preference)] for _ in range(_DRAWS)
        ]
        low, high = np.quantile(drawn, (0.025, 0.975))
        return Estimate(
            float(self.values[self.choose(np.arange(sets), preference)]), float(low), float(high)
        )

    def held_out(self, preference: Preference) -> FloatArray:
        """Tallies (S, 4) of each set under the limit that the other sets' labels would choose."""
        sets = len(self.counts)
        order = np.random.default_rng(0).permutation(sets)
        out = np.empty((sets, 4))
        for fold in np.array_split(order, min(_FOLDS, sets)):
            rest = np.setdiff1d(order, fold)
            out[fold] = self.counts[fold, self.choose(rest, preference)]
        return out


def _by_its_own_value(chosen: Labelled) -> Labelled:
    """The same reps without the value that settles a doubt: its ± is another's, and a narrower."""
    kind = fault_kinds()[chosen.fault]
    if kind.surer_by is None:
        return chosen
    unknown = {kind.surer_by: not_measured("left aside")}
    return replace(
        chosen,
        sets=[
            replace(one, values=tuple({**values, **unknown} for values in one.values))
            for one in chosen.sets
        ],
    )


def _read_back(chosen: Labelled, key: str, held_to: Limit) -> tuple[FloatArray, FloatArray]:
    """Value and ± of each rep in the limit's own unit, from where its verdict changes.

    This holds for whatever the rules make of a value. The limit is moved far beyond what makes
    sense, so that reps far from it have their value too.
    """
    low, high = sensible(held_to)
    room = _FAR * (high - low)
    alone = _by_its_own_value(chosen)
    codes, along = codes_along(alone, key, np.linspace(low - room, high + room, _FINEST))
    step = along[1] - along[0]
    noticed, accused = (codes >= BORDERLINE).sum(axis=1), (codes == FAULT).sum(axis=1)
    measured = along[0] + (noticed - 0.5) * step
    # At least half a step; as usual where an end of the band lies out of reach.
    seen = (accused > 0) & (noticed < len(along))
    half_width = np.maximum((noticed - accused) * abs(step), abs(step) / 2)
    usual = float(np.median(half_width[seen])) if seen.any() else abs(step)
    return measured, np.where(seen, half_width, usual)


def _too_few(chosen: Labelled) -> str:
    """What is missing before a limit can be told from labels; empty if nothing."""
    missing = []
    for wanted, what in ((True, "have it"), (False, "do not")):
        picked = chosen.there == wanted
        reps, sets = int(picked.sum()), len(np.unique(chosen.of_set[picked]))
        if reps < LEAST_REPS or sets < LEAST_SETS:
            more = []
            if reps < LEAST_REPS:
                more.append(f"{_some(LEAST_REPS - reps, 'rep')} that {what}")
            if sets < LEAST_SETS:
                more.append(f"{_some(LEAST_SETS - sets, 'set')} with reps that {what}")
            missing.append(" and ".join(more))
    if not missing:
        return ""
    return (
        f"too few labels for {chosen.fault}: label {', '.join(missing)} (at least {LEAST_REPS} "
        f"of each, from {LEAST_SETS} sets)."
    )


def _some(count: int, what: str) -> str:
    return f"{count} more {what}{'s' if count > 1 else ''}"


def _too_wide(coach: Estimate, bare: Suggestion, found: _Found) -> str:
    """Whether the verdicts leave too much room, and how many more would settle it."""
    half = (coach.high - coach.low) / 2
    bearable = WIDEST * bare.half_width
    if half <= bearable:
        return ""
    # An interval narrows with the square root of the labels that bear on it.
    more = math.ceil((bare.labelled[0] + bare.labelled[1]) * ((half / bearable) ** 2 - 1))
    return (
        f"the verdicts on {bare.fault} fit any limit from {coach.low:.3g} to {coach.high:.3g} "
        f"{unit_name(bare.unit)}; label about {more} more reps whose value lies between those."
    )


def _label_next(
    chosen: Labelled, key: str, values: FloatArray, coach: Estimate
) -> tuple[tuple[str, int], ...]:
    """Unlabelled reps that lie nearest the coach's limit, where a verdict tells most."""
    rows = [
        (i, j)
        for i, one in enumerate(chosen.sets)
        for j in range(len(one.reps))
        if (i, j) not in set(chosen.rows)
    ][:_MOST_LOOKED_AT]
    if not rows:
        return ()
    within = np.linspace(coach.low, coach.high, 9)
    if values[0] > values[-1]:
        within = within[::-1]
    codes = sweep_codes(chosen.sets, rows, chosen.fault, key, within)
    noticed = (codes >= BORDERLINE).sum(axis=1)
    inside = np.flatnonzero((noticed > 0) & (noticed < len(within)))
    nearest = sorted(inside, key=lambda row: abs(noticed[row] - len(within) / 2))[:_MOST_NAMED]
    return tuple(
        (chosen.sets[rows[k][0]].name, chosen.sets[rows[k][0]].reps[rows[k][1]].index)
        for k in nearest
    )


def _remarks(value: float, bare: Suggestion, as_the_coach: bool) -> tuple[str, ...]:
    out = []
    if abs(value - bare.in_force) < bare.half_width:
        out.append(
            f"{value:g} and the {bare.in_force:g} in force lie closer together than the ± of "
            f"{bare.half_width:.2g} {unit_name(bare.unit)} of the measurement: on a "
            "single rep they cannot be told apart."
        )
    if not as_the_coach:
        out.append(
            f"milder than the {bare.coach.value:.3g} {unit_name(bare.unit)} that the verdicts "
            "fit, since there more than one accusation in twenty would be false."
        )
    return tuple(out)


def _step(half_width: float) -> float:
    """A round number no coarser than a quarter of the measurement's own ±."""
    power = 10.0 ** math.floor(math.log10(half_width / 4))
    return next((step * power for step in (5.0, 2.0, 1.0) if step * power <= half_width / 4), power)
