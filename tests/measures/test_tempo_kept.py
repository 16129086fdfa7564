from __future__ import annotations

import math

import pytest

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.tempo_kept import PHASES, tempo_kept, time_under_tension_s
from formcheck.reps.find import Rep


def test_a_phase_is_told_by_its_median_and_its_middle_half() -> None:
    lasts = [1.8, 1.9, 2.0, 2.4, 6.0]
    values = [{phase: Quantity(s, 0.1) for phase in PHASES} for s in lasts]
    values.append(dict.fromkeys(PHASES, not_measured("hidden")))
    kept = tempo_kept(values)["eccentric_s"]
    assert (kept.done_s, kept.reps) == (2.0, 5)
    assert (kept.from_s, kept.to_s) == (1.9, 2.4)


def test_what_was_never_seen_has_no_tempo() -> None:
    kept = tempo_kept([])["top_pause_s"]
    assert math.isnan(kept.done_s) and kept.reps == 0


def test_a_rest_on_straight_arms_is_no_tension() -> None:
    reps = [Rep(1, 1.0, 2.0, 2.1, 2.5, 3.0, 13.0), Rep(2, 13.0, 14.0, 14.1, 14.5, 15.0, 16.0)]
    assert time_under_tension_s(reps) == pytest.approx(4.0)
