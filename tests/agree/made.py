"""Made-up sets whose values and errors are known, for tests of agreement and of limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from formcheck.agree.labels import Label
from formcheck.agree.measured import MeasuredSet
from formcheck.asked.prescription import Prescription
from formcheck.faults.limits import Limits, default_limits
from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity
from formcheck.measures.values import rep_values
from formcheck.reps.find import Rep

CLEAN: Mapping[str, float] = {
    "elbow_bottom_deg": 80.0,
    "elbow_top_deg": 172.0,
    "hip_deviation_deg": 0.0,
    "hip_deviation_change_deg": 0.0,
    "elbow_flare_deg": 40.0,
    "eccentric_s": 2.0,
    "bottom_pause_s": 1.0,
    "concentric_s": 0.8,
    "top_pause_s": 1.0,
    "bend_share_percent": 100.0,
    "head_angle_deg": 5.0,
    "hips_lag_s": 0.0,
}


def made_set(
    name: str,
    reps: Sequence[Mapping[str, float]],
    plus_minus: float = 3.0,
    limits: Limits | None = None,
    asked: Prescription | None = None,
) -> MeasuredSet:
    """A set filmed from the side; each of ``reps`` says what differs from a clean one."""
    values = []
    for rep in reps:
        known = {**CLEAN, **rep}
        values.append(
            {
                key: Quantity(known[key], plus_minus)
                if key in known
                else Quantity(np.nan, np.nan, "not seen")
                for key in rep_values()
            }
        )
    return MeasuredSet(
        name=name,
        reps=tuple(
            Rep(i + 1, 4.0 * i, 4.0 * i + 1, 4.0 * i + 1.2, 4.0 * i + 1.4, 4.0 * i + 2, 4.0 * i + 4)
            for i in range(len(reps))
        ),
        values=tuple(values),
        views=("side",),
        prescription=asked or Prescription(),
        limits=limits or default_limits(),
    )


def with_errors(
    rng: np.random.Generator,
    true: Sequence[FloatArray],
    measure: str,
    plus_minus: float,
    shared: float = 0.5,
) -> list[MeasuredSet]:
    """Sets of which ``measure`` is truth plus an error of the stated ±, its ``shared`` part of the
    variance the same in all reps of a set."""
    sigma = plus_minus / 1.96
    sets = []
    for i, values in enumerate(true):
        error = rng.normal(0, sigma * np.sqrt(shared)) + rng.normal(
            0, sigma * np.sqrt(1 - shared), len(values)
        )
        sets.append(made_set(f"set_{i}", [{measure: float(v)} for v in values + error], plus_minus))
    return sets


def labels_at(
    true: Sequence[FloatArray], limit: float, fault: str, who: str = "AB", below: bool = False
) -> list[Label]:
    """What a coach says who sees the truth and holds this limit."""
    return [
        Label(f"set_{i}", j + 1, fault, "yes" if (value > limit) != below else "no", who)
        for i, values in enumerate(true)
        for j, value in enumerate(values)
    ]
