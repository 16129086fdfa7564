"""What is said of a set as a whole."""

from __future__ import annotations

import math

from formcheck.analysis import analyse
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.measures.tempo_kept import PhaseKept
from formcheck.report.answer import answer_line
from formcheck.report.set_words import load_text, set_facts, tempo_text
from tests.coached import STAYS_DOWN, Coached, rep, reps
from tests.measures.test_sticking import SLOWS


def test_tempo_is_told_as_asked_done_and_how_steadily() -> None:
    kept = PhaseKept(1.93, 1.81, 2.04, 5)
    assert tempo_text("eccentric_s", 2.0, kept) == "asked 2 s, done 1.9 s (1.8 to 2.0)"
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


def test_the_answer_names_a_rep_that_failed_and_calls_what_is_close_unclear() -> None:
    failed = analyse(Coached(course=reps(4) + STAYS_DOWN).tracks("side"))
    assert answer_line(failed) == "4 of 5 counted, 4 clean; rep 5 failed"
    close = analyse(Coached(course=reps(2) + rep(bottom_deg=88.5)).tracks("side"))
    assert answer_line(close) == "3 of 3 counted, 2 clean, 1 unclear"
