from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.analysis import Analysis
from formcheck.report.answer import answer_line, fix_first, fix_line, rep_list, reps_with
from tests.report.conftest import judged, nobody


@pytest.mark.parametrize(
    ("indices", "text"),
    [
        ([4], "rep 4"),
        ([1, 2], "reps 1, 2"),
        ([1, 2, 3, 6], "reps 1–3, 6"),
        ([2, 4, 5, 6, 7, 9], "reps 2, 4–7, 9"),
    ],
)
def test_reps_are_listed_in_runs(indices: list[int], text: str) -> None:
    assert rep_list(indices) == text


def test_a_lost_line_comes_before_a_tempo_missed_more_often(sagging: Analysis) -> None:
    assert len(reps_with(sagging, "rushed_eccentric")) > len(reps_with(sagging, "hip_sag")) > 0
    assert fix_first(sagging) == "hip_sag"


def test_depth_is_fixed_first_where_most_reps_lack_it(short_range: Analysis) -> None:
    assert fix_first(short_range) == "shallow"
    assert fix_line(short_range).startswith("Fix first: not deep enough (reps ")


def test_a_set_without_faults_has_nothing_to_fix() -> None:
    clean = judged("clean_side")
    assert fix_first(clean) is None and fix_line(clean) == "No fault seen"


def test_borderlines_are_nothing_to_fix(sagging: Analysis) -> None:
    near = [
        replace(r, faults=tuple(replace(f, verdict="borderline") for f in r.faults))
        for r in sagging.reps
    ]
    assert fix_first(replace(sagging, reps=tuple(near))) is None


def test_a_clip_without_a_rep_says_so() -> None:
    assert answer_line(nobody()) == "No push-up rep found in this clip"
