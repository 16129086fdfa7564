from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.faults.hold import HoldVerdict
from formcheck.faults.limits import default_limits
from formcheck.report.answer import (
    answer_line,
    fix_first,
    fix_line,
    reps_with,
)
from formcheck.reps.find import rep_list
from tests.coached import STAYS_DOWN, Coached, OnlyLowered, reps
from tests.report.conftest import hold, judged, nobody


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
    assert fix_line(short_range).startswith("Fix first: too shallow (reps ")


def test_what_goes_with_a_failed_rep_is_to_be_fixed_and_not_its_failing() -> None:
    failed = analyse(Coached(course=reps(3) + STAYS_DOWN).tracks("side"))
    assert answer_line(failed).endswith("rep 4 failed")
    assert fix_first(failed) == "failed"
    assert fix_line(failed) == "No other fault seen in what this view can judge"


def test_a_set_without_faults_has_nothing_to_fix() -> None:
    clean = judged("clean_side")
    assert fix_first(clean) is None and fix_line(clean).startswith("No fault seen")


def test_borderlines_are_nothing_to_fix(sagging: Analysis) -> None:
    near = [
        replace(r, faults=tuple(replace(f, verdict="borderline") for f in r.faults))
        for r in sagging.reps
    ]
    assert fix_first(replace(sagging, reps=tuple(near))) is None


def test_reps_that_probably_missed_what_counts_are_not_passed_over() -> None:
    """A body whose elbows are read 4 degrees too straight, and asked for a limit just below."""
    (side,) = Coached(course=reps(3, bottom_deg=86.0)).tracks("side")
    near = replace(default_limits()["shallow"], value=87.0)
    analysis = analyse([side], limits={**default_limits(), "shallow": near})
    assert answer_line(analysis) == "0 of 3 counted, 0 clean"
    assert {fault.verdict for fault in analysis.faults} == {"borderline"}
    assert fix_line(analysis) == "Look first at reps 1–3: probably short of full range"


def test_reps_that_were_only_lowered_are_not_called_failed() -> None:
    moves = [(4.0, 80.0), (1.0, 80.0), (2.2, 170.0), (1.4, 170.0)]
    (side,) = OnlyLowered(course=moves * 4).tracks("side")
    analysis = analyse([side])
    assert answer_line(analysis) == "4 reps lowered, none pressed up"
    assert fix_line(analysis).startswith("No fault seen")
    two = analyse(OnlyLowered(course=moves * 2).tracks("side"))
    assert answer_line(two) == "0 of 2 counted, 0 clean; reps 1, 2 failed"


def test_a_clip_without_a_rep_says_so() -> None:
    assert answer_line(nobody()) == "Nobody seen in this clip"
    assert answer_line(hold(2.0)) == "No push-up rep found in this clip"
    for empty in (nobody(), hold(2.0)):
        assert "Film the whole set" in fix_line(empty)
        assert [entry.key for entry in empty.not_judged] == ["reps"] and not empty.notes


def test_a_hold_says_how_long_and_how_straight() -> None:
    held = hold(12.0)
    assert answer_line(held) == "Support hold, 12 s"
    assert fix_line(held).startswith("Body line while held: ")
    support = held.hold
    assert support is not None
    measured = replace(held.measured, hold=replace(support, start_s=2.0))
    broken = replace(held, measured=measured, hold_verdict=HoldVerdict(broke_at_s=9.0))
    assert answer_line(broken) == "Support hold, 12 s, line lost after 7 s"
