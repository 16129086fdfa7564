from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.analysis import Analysis
from formcheck.maths.quantity import not_measured
from formcheck.report.page.marks import marks
from formcheck.report.targets import targets_of


def test_a_short_rep_shows_the_gap_down_to_the_depth_rail(short_range: Analysis) -> None:
    targets = targets_of(short_range)
    for mark, result in zip(marks(short_range, targets), short_range.reps, strict=True):
        assert mark.bar is not None
        depth_rail = mark.rails[1]
        if result.attempt == "counted":
            assert mark.gaps == () and mark.standing in ("clean", "faulty")
        else:
            (gap,) = mark.gaps
            assert mark.standing == "not_counted"
            assert gap.y == pytest.approx(mark.bar.y + mark.bar.height)
            assert gap.y + gap.height == pytest.approx(depth_rail, abs=3.0)


def test_a_deeper_rep_hangs_lower(short_range: Analysis) -> None:
    drawn = marks(short_range, targets_of(short_range))
    pairs = [
        (result.values["elbow_bottom_deg"].value, mark.bar.y + mark.bar.height)
        for result, mark in zip(short_range.reps, drawn, strict=True)
        if mark.bar is not None
    ]
    assert len(pairs) == 6
    lows = [low for _, low in sorted(pairs)]
    assert lows == sorted(lows, reverse=True)


def test_a_sagging_body_bends_the_line_down_and_turns_it_hot(sagging: Analysis) -> None:
    drawn = marks(sagging, targets_of(sagging))
    assert drawn[0].line_kind == "level" and drawn[-1].line_kind == "hot"
    hip_y = [float(mark.line.split("L")[1].split()[1]) for mark in drawn]
    assert hip_y[-1] > hip_y[0] + 5


def test_an_attempt_broken_off_stands_apart(broken_off: Analysis) -> None:
    drawn = marks(broken_off, targets_of(broken_off))
    assert drawn[3].standing == "aborted"
    assert drawn[3].gaps and drawn[3].gaps[0].height > drawn[0].bar.height / 4  # type: ignore[union-attr]


def test_a_missed_tempo_marks_the_phase_that_missed_it(sagging: Analysis) -> None:
    drawn = marks(sagging, targets_of(sagging))
    assert all(mark.phases[0].kind == "eccentric hot" for mark in drawn)
    assert all("hot" not in mark.phases[2].kind for mark in drawn)


def test_the_label_says_what_the_drawing_shows(short_range: Analysis) -> None:
    label = marks(short_range, targets_of(short_range))[4].label
    assert label.startswith("Rep 5, not counted: ")
    assert "Too shallow, 1" in label and "° ± " in label


def test_what_was_not_measured_is_not_drawn(sagging: Analysis) -> None:
    first = sagging.reps[0]
    blank = {name: not_measured("hidden") for name in first.values}
    mark = marks(replace(sagging, reps=(replace(first, values=blank),)), targets_of(sagging))[0]
    assert mark.bar is None and mark.line == "" and mark.line_kind == "unknown"
