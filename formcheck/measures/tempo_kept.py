"""The tempo of a set: of each phase what was done over the reps, and how steadily."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from formcheck.maths.quantity import Quantity
from formcheck.reps.find import Rep

PHASES = ("eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s")


@dataclass(frozen=True)
class PhaseKept:
    """Median of one phase over the reps, the middle half of them (s), and how many it was seen in.

    NaN where it was seen in none.
    """

    done_s: float
    from_s: float
    to_s: float
    reps: int


def tempo_kept(values: Sequence[Mapping[str, Quantity]]) -> dict[str, PhaseKept]:
    """By phase, over the attempts given."""
    out = {}
    for phase in PHASES:
        known = [of_rep[phase].value for of_rep in values if of_rep[phase].known]
        middle = np.percentile(known, [50, 25, 75]) if known else np.full(3, np.nan)
        done_s, from_s, to_s = (float(one) for one in middle)
        out[phase] = PhaseKept(done_s, from_s, to_s, len(known))
    return out


def time_under_tension_s(reps: Sequence[Rep]) -> float:
    """Seconds from leaving the top until back, summed: rests on straight arms are none of it."""
    return float(sum(rep.top_s - rep.start_s for rep in reps))
