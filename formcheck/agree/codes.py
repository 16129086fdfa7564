"""Every verdict under every value of a limit, by asking the rules themselves.

A verdict only gets milder as a limit is relaxed. So the place where it changes is found by
halving: a handful of judgements a rep instead of one for every value, and never another answer
than the rules would give.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial

import numpy as np
import numpy.typing as npt

from formcheck.agree.labels import COUNTED
from formcheck.agree.measured import MeasuredSet
from formcheck.analysis import RepResult, judge_rep, rep_verdicts
from formcheck.faults.limits import Limits, with_values
from formcheck.faults.rules import Fault
from formcheck.maths.arrays import FloatArray

Codes = npt.NDArray[np.int8]
CLEAR, BORDERLINE, FAULT = 0, 1, 2
Rows = Sequence[tuple[int, int]]  # place of the set, place of the rep in it


def verdict_code(faults: Iterable[Fault], key: str) -> int:
    """CLEAR, BORDERLINE or FAULT."""
    found = [one.verdict for one in faults if one.key == key]
    return CLEAR if not found else FAULT if "fault" in found else BORDERLINE


def counted_code(result: RepResult) -> int:
    """CLEAR where the rep counts, FAULT where it does not."""
    return CLEAR if result.attempt == "counted" else FAULT


def sweep_codes(
    sets: Sequence[MeasuredSet],
    rows: Rows,
    fault: str,
    limit: str,
    values: FloatArray,
    others: Mapping[str, float] | None = None,
) -> Codes:
    """Verdicts (K, G) on the reps of ``rows`` (K) as ``limit`` takes each of ``values`` (G,),
    which run one way. ``others`` are limits that differ from each set's own throughout."""
    out = np.empty((len(rows), len(values)), np.int8)
    held_to: dict[int, list[Limits]] = {}
    for row, (of_set, of_rep) in enumerate(rows):
        one = sets[of_set]
        if of_set not in held_to:
            held_to[of_set] = [
                with_values(one.limits, {**(others or {}), limit: value}) for value in values
            ]
        judge = partial(_code, one, of_rep, fault, held_to[of_set])
        out[row, 0], out[row, -1] = judge(0), judge(len(values) - 1)
        _fill(out[row], judge, 0, len(values) - 1)
    return out


def _code(one: MeasuredSet, rep: int, fault: str, limits: Sequence[Limits], place: int) -> int:
    what = (one.reps[rep], one.values[rep], one.prescription, limits[place], one.views)
    if fault == COUNTED:
        return counted_code(judge_rep(*what))
    return verdict_code(rep_verdicts(*what, only=fault), fault)


def _fill(codes: Codes, judge: Callable[[int], int], first: int, last: int) -> None:
    """Fill in between two places that are known."""
    if codes[first] == codes[last]:
        codes[first:last] = codes[first]
    elif last - first > 1:
        middle = (first + last) // 2
        codes[middle] = judge(middle)
        _fill(codes, judge, first, middle)
        _fill(codes, judge, middle, last)
