"""Two clips of one set."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from formcheck.pose.store import read_track
from formcheck.reps.look import Look
from formcheck.reps.pairing import Pairing, pair_looks
from tests.filmed import look_of
from tests.pinhole import Camera, PushUpSet
from tests.truth.truth import read_truth

DATA = Path(__file__).parents[1] / "data"
BESIDE = Camera(yaw_deg=0.0, aim=(-1.1, 0.5), distance=6.5)
BEFORE = Camera()
# As people do it: no two reps last alike (from memory: some percent from rep to rep).
HUMAN = PushUpSet(
    bottoms_deg=(80.0, 84.0, 78.0, 82.0, 86.0), rep_seconds=(1.0, 1.06, 0.97, 1.04, 1.12)
)


@lru_cache
def saved(name: str) -> Look:
    return look_of(read_track(DATA / f"{name}.parquet"))


def pair(filmed: PushUpSet, beside: dict[str, Any], before: dict[str, Any]) -> Pairing:
    return pair_looks(
        look_of(filmed.film(BESIDE, noise_px=0.7, **beside)),
        look_of(filmed.film(BEFORE, noise_px=0.7, seed=1, **before)),
    )


def test_the_rendered_pair_is_found_to_a_fraction_of_a_frame() -> None:
    side, front = (read_truth(DATA / f"flared_pair_{v}.truth.json") for v in ("side", "front"))
    pairing = pair_looks(saved("flared_pair_side"), saved("flared_pair_front"))
    assert pairing.same_set, pairing.evidence
    started_later_s = front.clip_start_in_set_s - side.clip_start_in_set_s
    assert pairing.offset_s == pytest.approx(started_later_s, abs=0.05)
    assert pairing.matches == tuple((i, i) for i in range(5))


def test_the_order_of_the_clips_only_turns_the_offset_round() -> None:
    side, front = saved("flared_pair_side"), saved("flared_pair_front")
    there, back = pair_looks(side, front), pair_looks(front, side)
    assert back.same_set
    assert back.offset_s == pytest.approx(-there.offset_s, abs=0.05)


@pytest.mark.parametrize(
    ("fps", "later_s"), [(24.0, 1.3), (25.0, 0.0), (30.0, 0.83), (60.0, 0.83), (60.0, 1.3)]
)
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


# Every side clip with every front clip, but the pair, and but the two sets done at one exact
# tempo and depth, which motion cannot tell apart (see the test below).
FRONTS = ("clean_front", "close_front", "wide_front", "flared_pair_front")
SIDES = (
    "aborted_side", "decline_side", "flared_pair_side", "handheld_side", "hip_sag_side",
    "incline_side", "knees_side", "partial_side", "pike_side", "portrait60", "soft_lockout_side",
    "too_fast_side",
)  # fmt: skip
UNRELATED = [
    (side, front)
    for side in SIDES
    for front in FRONTS
    if (side, front) != ("flared_pair_side", "flared_pair_front")
]


@pytest.mark.parametrize(("side", "front"), UNRELATED)
def test_clips_of_different_sets_are_refused_with_evidence(side: str, front: str) -> None:
    pairing = pair_looks(saved(side), saved(front))
    assert not pairing.same_set
    assert pairing.evidence


def test_clockwork_sets_at_one_tempo_are_joined_but_said_to_be_less_sure() -> None:
    unrelated = pair_looks(saved("clean_side"), saved("clean_front"))
    related = pair(HUMAN, {}, {"started_s": 0.8})
    assert unrelated.sure < related.sure
    assert any("another set at this tempo" in sentence for sentence in unrelated.evidence)


def test_another_set_by_the_same_person_at_the_same_tempo_is_refused() -> None:
    other = PushUpSet(bottoms_deg=HUMAN.bottoms_deg, rep_seconds=(1.08, 0.96, 1.05, 0.98, 1.0))
    pairing = pair_looks(look_of(HUMAN.film(BESIDE)), look_of(other.film(BEFORE)))
    assert not pairing.same_set, pairing


def test_a_clip_without_reps_is_refused() -> None:
    nothing = PushUpSet(bottoms_deg=(165.0, 165.0))
    pairing = pair_looks(look_of(HUMAN.film(BESIDE)), look_of(nothing.film(BEFORE)))
    assert not pairing.same_set
    assert "second clip shows no rep" in pairing.evidence[0]
