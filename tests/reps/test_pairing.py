"""Two clips of one set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from formcheck.reps.pairing import Pairing, pair_looks
from tests.filmed import look_of
from tests.pinhole import Camera, PushUpSet

BESIDE = Camera(yaw_deg=0.0, aim=(-1.1, 0.5), distance=6.5)
BEFORE = Camera()
# As people do it: no two reps last alike (from memory: some percent from rep to rep).
HUMAN = PushUpSet(
    bottoms_deg=(80.0, 84.0, 78.0, 82.0, 86.0), rep_seconds=(1.0, 1.06, 0.97, 1.04, 1.12)
)


def pair(filmed: PushUpSet, beside: dict[str, Any], before: dict[str, Any]) -> Pairing:
    return pair_looks(
        look_of(filmed.film(BESIDE, noise_px=0.7, **beside)),
        look_of(filmed.film(BEFORE, noise_px=0.7, seed=1, **before)),
    )


@pytest.mark.parametrize(("fps", "later_s"), [(24.0, 1.3), (25.0, 0.83), (30.0, 0.0), (60.0, 0.83)])
def test_frame_rates_and_starts_may_differ(fps: float, later_s: float) -> None:
    pairing = pair(HUMAN, {"fps": 30.0}, {"fps": fps, "started_s": later_s})
    assert pairing.same_set, pairing.evidence
    assert pairing.offset_s == pytest.approx(later_s, abs=0.05)
    assert len(pairing.matches) == 5


@pytest.mark.parametrize(
    ("beside", "before", "shared"),
    [
        ({}, {"started_s": 4.8}, ((1, 0), (2, 1), (3, 2), (4, 3))),
        ({"started_s": 4.8}, {}, ((0, 1), (1, 2), (2, 3), (3, 4))),
        ({}, {"started_s": 4.8, "stopped_s": 15.6}, ((1, 0), (2, 1), (3, 2))),
        ({"started_s": 4.8}, {"stopped_s": 15.6}, ((0, 1), (1, 2), (2, 3))),
    ],
)
def test_a_clip_that_misses_reps_is_matched_to_the_right_ones(
    beside: dict[str, float], before: dict[str, float], shared: Sequence[tuple[int, int]]
) -> None:
    pairing = pair(HUMAN, beside, before)
    assert pairing.same_set, pairing.evidence
    assert pairing.matches == shared
    expected_s = before.get("started_s", 0.0) - beside.get("started_s", 0.0)
    assert pairing.offset_s == pytest.approx(expected_s, abs=0.05)


def test_arms_that_bend_while_somebody_gets_down_speak_against_nothing() -> None:
    """One view takes kneeling over the hands for the position, the other does not."""
    beside, before = (look_of(HUMAN.film(camera, noise_px=0.7)) for camera in (BESIDE, BEFORE))
    signals = beside.signals
    first_s = beside.reps[0].start_s
    kneels = (signals.t_s < first_s - 0.2) & (signals.t_s > first_s - 1.5)
    assert kneels.sum() > signals.rate_hz
    bent = np.where(kneels, 110.0, before.signals.elbow_deg)
    gets_down = replace(before, signals=replace(before.signals, elbow_deg=bent))
    assert not pair_looks(beside, gets_down).same_set
    not_there = replace(signals, in_position=signals.in_position & ~kneels)
    assert pair_looks(replace(beside, signals=not_there), gets_down).same_set


def test_another_set_by_the_same_person_at_the_same_tempo_is_refused() -> None:
    other = PushUpSet(bottoms_deg=HUMAN.bottoms_deg, rep_seconds=(1.08, 0.96, 1.05, 0.98, 1.0))
    pairing = pair_looks(look_of(HUMAN.film(BESIDE, noise_px=0.7)), look_of(other.film(BEFORE)))
    assert not pairing.same_set, pairing


def test_a_clip_without_reps_is_refused() -> None:
    nothing = PushUpSet(bottoms_deg=(165.0, 165.0))
    pairing = pair_looks(look_of(HUMAN.film(BESIDE, noise_px=0.7)), look_of(nothing.film(BEFORE)))
    assert not pairing.same_set
    assert "second clip shows no rep" in pairing.evidence[0]
