"""What is said of a set as a whole."""

from __future__ import annotations

import math

from formcheck.analysis import analyse
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.measures.tempo_kept import PhaseKept
from formcheck.report.answer import answer_line, fix_line
from formcheck.report.set_words import load_text, set_facts, tempo_text, unjudged
from tests.coached import STAYS_DOWN, Coached, rep, reps
from tests.measures.test_sticking import SLOWS
from tests.report.conftest import hold


def test_tempo_is_told_as_asked_done_and_how_steadily() -> None:
    kept = PhaseKept(1.93, 1.81, 2.04, 5)
    assert tempo_text("eccentric_s", 2.0, kept) == "asked 2 s, done 1.9 s (mostly 1.8 to 2.0 s)"
    alike = PhaseKept(1.93, 1.90, 1.97, 5)
    assert tempo_text("eccentric_s", None, alike) == "1.9 s (steady)"
    assert tempo_text("concentric_s", None, kept, fast=True).startswith("asked as fast as possible")
    assert tempo_text("eccentric_s", 2.0, PhaseKept(math.nan, math.nan, math.nan, 0)) == ""


def test_the_load_comes_with_its_doubt_and_in_kilograms_where_the_mass_is_known() -> None:
    tracks = Coached(course=reps(2)).tracks("side")
    plain = load_text(analyse(tracks))
    heavy = load_text(analyse(tracks, person=Person(body_mass_kg=80.0)))
    assert "± 4 % of body mass" in plain and "kg" not in plain
    assert "± 3 kg" in heavy


def test_a_test_and_a_slow_press_are_among_the_facts() -> None:
    tracks = Coached(course=reps(2) + SLOWS).tracks("side")
    asked = Prescription(standard="one-minute", tempo=parse_tempo("2-1-X-1"))
    facts = dict(set_facts(analyse(tracks, asked)))
    assert facts["One-minute push-up test"] == "3 count"
    assert "% of the way up" in facts["Press of rep 3 slowest at"]


def test_of_a_hold_nothing_is_said_of_reps_and_alike_reasons_stand_once() -> None:
    assert not [keys for _, keys in unjudged(hold(20.0)) if "tempo" in keys]
    assert not hold(20.0).notes, "a hold has no load to explain"
    front = analyse(Coached(course=reps(2)).tracks("front"))
    (legs,) = [keys for reason, keys in unjudged(front) if "legs" in reason]
    assert {"hip_sag", "hip_pike", "hips_late"} <= set(legs)


def test_with_pain_nothing_is_to_be_fixed_first() -> None:
    sore = analyse(Coached(course=reps(2, bottom_deg=115.0)).tracks("side"),
                   Prescription(pain="wrist"))  # fmt: skip
    assert fix_line(sore) == "Pain in the wrist was reported: rest comes first"


def test_the_answer_names_a_rep_that_failed_and_calls_what_is_close_unclear() -> None:
    failed = analyse(Coached(course=reps(4) + STAYS_DOWN).tracks("side"))
    assert answer_line(failed) == "4 of 5 counted, 4 clean; rep 5 failed"
    close = analyse(Coached(course=reps(2) + rep(bottom_deg=87.0)).tracks("side"))
    assert answer_line(close) == "3 of 3 counted, 2 clean, 1 unclear"
