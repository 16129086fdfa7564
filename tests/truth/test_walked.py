"""Clips that show how the person comes in and goes, from rendered sets with their exact truth.

Who kneels down with the hands already planted and lifts the knees off the floor is not in the set
yet; taken for a part of it, that would bend every angle and lengthen the first and the last rep.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from statistics import mean

import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.pose.store import read_track
from tests.truth import scoring
from tests.truth.truth import TruthSet, read_truth

WALKED = Path(__file__).parents[1] / "data" / "walked"
NAMES = ("stands_first_side", "raised_hands_side", "kneels_first_side", "stands_first_front")
SIDE_NAMES = [name for name in NAMES if name.endswith("side")]


@cache
def judged(name: str) -> tuple[Analysis, TruthSet]:
    track = read_track(WALKED / f"{name}.parquet")
    return analyse([track]), read_truth(WALKED / f"{name}.truth.json")


@pytest.mark.parametrize("name", NAMES)
def test_coming_and_going_add_no_attempt_and_hide_none(name: str) -> None:
    analysis, truth = judged(name)
    assert len(analysis.reps) == len(truth.reps)
    assert not [fault for fault in analysis.faults if fault.key in ("aborted", "failed")]


@pytest.mark.parametrize("name", NAMES)
def test_the_first_rep_starts_when_the_elbows_bend_not_when_the_hands_are_planted(
    name: str,
) -> None:
    analysis, truth = judged(name)
    assert analysis.reps[0].rep.start_s == pytest.approx(truth.reps[0].start_s, abs=0.3)


@pytest.mark.parametrize("name", SIDE_NAMES)
@pytest.mark.parametrize("quantity", ["elbow_bottom_deg", "elbow_top_deg", "hip_deviation_deg"])
def test_angles_are_those_of_the_set_alone(name: str, quantity: str) -> None:
    analysis, truth = judged(name)
    errors, half_widths = [], []
    for rep, result in scoring.matched_results(analysis, truth):
        value = result.values[quantity]
        errors.append(value.value - rep.values[quantity])
        half_widths.append(value.plus_minus)
    assert abs(mean(errors)) <= mean(half_widths)


def test_two_clips_of_a_set_are_joined_however_differently_they_show_getting_down() -> None:
    looks = [read_track(WALKED / f"pair_{view}.parquet") for view in ("side", "front")]
    side, front = (read_truth(WALKED / f"pair_{view}.truth.json") for view in ("side", "front"))
    analysis = analyse(looks)
    later_s = front.clip_start_in_set_s - side.clip_start_in_set_s
    assert analysis.looks[1].offset_s == pytest.approx(later_s, abs=0.05)
    assert len(analysis.reps) == len(side.reps)
