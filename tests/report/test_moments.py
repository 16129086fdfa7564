from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.analysis import Analysis
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.catalogue import fault_kinds
from formcheck.report.moments import (
    PHASE_KEYS,
    asked_s,
    called_at_s,
    moment,
    phase_words,
    phases_of,
)
from formcheck.reps.find import Rep


def test_an_instant_is_found_in_its_rep_and_phase(sagging: Analysis) -> None:
    rep = sagging.reps[2].rep
    now = moment(sagging.reps, rep.bottom_end_s + 0.1)
    assert now is not None
    assert (now.result.rep.index, now.phase) == (3, 2)
    assert now.elapsed_s == pytest.approx(0.1)


def test_before_the_first_rep_there_is_no_phase(sagging: Analysis) -> None:
    assert moment(sagging.reps, sagging.reps[0].rep.start_s - 0.01) is None
    assert moment(sagging.reps, sagging.reps[-1].rep.end_s) is None


def test_a_timed_phase_is_called_when_it_is_over(sagging: Analysis) -> None:
    for result in sagging.reps:
        for fault in result.faults:
            at_s = called_at_s(fault, result.rep)
            if fault.key == "rushed_eccentric":
                assert at_s == result.rep.bottom_start_s
            if fault_kinds()[fault.key].phase is None:
                assert at_s == fault.at_s


def test_a_rep_that_failed_has_no_pause_at_the_top() -> None:
    whole = Rep(1, 1.0, 2.0, 2.1, 2.5, 3.0, 4.0)
    sank = replace(whole, end_s=8.0, failed=True)
    stayed = Rep(1, 1.0, 2.0, 2.1, 8.0, 8.0, 8.0, failed=True)
    assert [key for key, _, _ in phases_of(whole)] == list(PHASE_KEYS)
    assert phases_of(sank)[-1] == ("concentric", 2.5, 3.0)
    assert phases_of(stayed) == (("eccentric", 1.0, 2.0),)
    assert [phase_words(sank, place) for place in (2, 3)] == ["Press", "Failed"]
    assert phase_words(stayed, 1) == "Failed" and phase_words(whole, 3) == "Top pause"


def test_as_fast_as_possible_asks_for_no_seconds() -> None:
    assert asked_s(parse_tempo("2-1-X-1")) == (2.0, 1.0, None, 1.0)
    assert asked_s(None) == (None, None, None, None)
