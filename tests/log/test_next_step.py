"""What weeks say about the next step that one set cannot; the rules are common practice."""

from __future__ import annotations

from datetime import UTC, datetime

from formcheck.log.next_step import StepRules, break_words, step_with_log
from tests.log.made_up import entry


def test_one_set_at_the_top_earns_no_step_up_yet() -> None:
    step = step_with_log([entry(0)], entry(3, direction="harder"))
    assert step.direction == "same"
    assert "once more in a row" in step.why[0]
    assert step.rests_on == (entry(3, direction="harder"),)


def test_two_sets_in_a_row_at_the_top_earn_it_and_are_named() -> None:
    before, today = entry(3, direction="harder"), entry(6, direction="harder")
    step = step_with_log([entry(0), before], today)
    assert step.direction == "harder"
    assert step.rests_on == (before, today)
    assert "2026-03-05 and 2026-03-08" in step.why[0]


def test_a_set_that_fell_short_in_between_starts_the_row_again() -> None:
    history = [entry(0, direction="harder"), entry(3, direction="same")]
    assert step_with_log(history, entry(6, direction="harder")).direction == "same"


def test_another_variation_in_between_changes_nothing() -> None:
    history = [entry(0, direction="harder"), entry(3, variation="wall", direction="easier")]
    assert step_with_log(history, entry(6, direction="harder")).direction == "harder"


def test_more_weight_is_another_step_and_starts_a_row_of_its_own() -> None:
    history = [entry(0, direction="harder"), entry(3, direction="harder")]
    today = entry(6, direction="harder", added_load_kg=5.0)
    assert step_with_log(history, today).direction == "same"


def test_a_step_up_that_broke_down_goes_back_to_where_it_was_earned() -> None:
    earned = entry(3, direction="harder", added_load_kg=5.0)
    today = entry(6, direction="easier", added_load_kg=10.0)
    step = step_with_log([entry(0, direction="harder", added_load_kg=5.0), earned], today)
    assert step.direction == "easier"
    assert step.back_to == earned
    assert "floor, 5 kg added" in step.why[0]


def test_a_bad_day_on_a_step_that_was_owned_goes_back_nowhere() -> None:
    history = [
        entry(0, variation="wall", direction="harder"),
        entry(3, direction="harder"),
    ]
    step = step_with_log(history, entry(6, direction="easier"))
    assert (step.direction, step.back_to) == ("easier", None)


def test_sets_before_a_long_break_no_longer_count() -> None:
    history = [entry(0, direction="harder")]
    step = step_with_log(history, entry(21, direction="harder"))
    assert step.direction == "same"
    assert "break of 21 days" in step.why[1]
    assert step_with_log(history, entry(20, direction="harder")).direction == "harder"


def test_after_a_long_break_one_starts_a_step_lower() -> None:
    history = [entry(0), entry(7)]
    assert break_words(history, datetime(2026, 3, 29, 12, tzinfo=UTC)) == ""
    said = break_words(history, datetime(2026, 3, 30, 12, tzinfo=UTC))
    assert said.startswith("21 days since the last set (“floor”, 2026-03-09): start one step lower")
    assert break_words([], datetime(2026, 3, 30, tzinfo=UTC)) == ""


def test_how_many_in_a_row_and_how_long_a_break_can_be_set() -> None:
    today = entry(6, direction="harder")
    assert step_with_log([], today, StepRules(sets_in_a_row=1)).direction == "harder"
    three = StepRules(sets_in_a_row=3, long_break_days=5)
    assert step_with_log([entry(3, direction="harder")], today, three).direction == "same"
    gone = step_with_log([entry(0, direction="harder")], today, StepRules(long_break_days=5))
    assert gone.direction == "same"


def test_sets_filmed_later_do_not_decide_an_earlier_one() -> None:
    later = entry(9, direction="harder")
    assert step_with_log([later], entry(6, direction="harder")).direction == "same"


def test_what_the_set_alone_gave_stays_where_the_log_adds_nothing() -> None:
    assert step_with_log([entry(0)], entry(3, direction="easier")).direction == "easier"
    assert step_with_log([entry(0)], entry(3, direction="same")).direction == "same"
