"""Two clips of one set, and of different ones: saved pose tracks of rendered clips."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

from formcheck.pose.store import read_track
from formcheck.reps.look import Look
from formcheck.reps.pairing import pair_looks
from tests.filmed import look_of
from tests.reps.test_pairing import HUMAN, pair
from tests.truth.truth import read_truth

pytestmark = pytest.mark.slow

DATA = Path(__file__).parents[1] / "data"


@lru_cache
def saved(name: str) -> Look:
    return look_of(read_track(DATA / f"{name}.parquet"))


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
