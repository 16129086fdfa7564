"""What counts, and what a judge of a named test would note rep by rep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pytest

from formcheck.asked.prescription import Prescription
from formcheck.asked.standards import standards
from formcheck.faults.counting import Ruling, TestResult, rule
from formcheck.faults.limits import default_limits
from formcheck.faults.rules import rep_faults
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from tests.faults.test_rules import GOOD

SHALLOW = {"elbow_bottom_deg": Quantity(110.0, 4.0)}
SAGGING = {"hip_deviation_deg": Quantity(25.0, 3.0)}
PROBABLY_SHALLOW = {"elbow_bottom_deg": Quantity(93.0, 5.0)}
ALL_KEYS = {
    "pressed_up_percent": Quantity(100.0, 8.0), "shoulder_height_bottom": Quantity(0.15, 0.02),
}  # fmt: skip


def ruled(
    changed: Sequence[Mapping[str, Quantity]],
    asked: Prescription,
    every_s: float | Sequence[float] = 3.0,
    bottom_pause_s: float = 0.5,
) -> tuple[tuple[Ruling, ...], TestResult | None]:
    gaps = [every_s] * len(changed) if isinstance(every_s, float | int) else list(every_s)
    reps, start_s = [], 1.0
    for i, gap_s in enumerate(gaps):
        down_s, turn_s = start_s + 0.8, start_s + 0.8 + bottom_pause_s
        reps.append(
            Rep(i + 1, start_s, down_s, down_s, turn_s, turn_s + 0.8, start_s + gap_s,
                last=i + 1 == len(changed))
        )  # fmt: skip
        start_s += gap_s
    values = [{**GOOD, **ALL_KEYS, **one} for one in changed]
    faults = [
        rep_faults(rep, of_rep, asked, default_limits(), "side")
        for rep, of_rep in zip(reps, values, strict=True)
    ]
    return rule(reps, values, faults, asked, default_limits())


def attempts(changed: Sequence[Mapping[str, Quantity]], asked: Prescription) -> list[str]:
    return [ruling.attempt for ruling in ruled(changed, asked)[0]]


def test_range_alone_counts_unless_the_line_is_asked_for() -> None:
    reps = [{}, SHALLOW, SAGGING]
    assert attempts(reps, Prescription()) == ["counted", "not_counted", "counted"]
    by_line = Prescription(counts="range-and-line")
    assert attempts(reps, by_line) == ["counted", "not_counted", "not_counted"]
    why = ruled(reps, by_line)[0][2].why
    assert why is not None and "hips sag" in why


def test_a_line_that_is_not_seen_does_not_count_where_it_is_asked_for() -> None:
    unseen = [{"hip_deviation_deg": not_measured("the legs are hidden")}]
    assert attempts(unseen, Prescription()) == ["counted"]
    (ruling,), _ = ruled(unseen, Prescription(counts="range-and-line"))
    assert ruling.attempt == "not_counted" and "legs are hidden" in (ruling.why or "")


def test_what_was_more_likely_missed_does_not_count_and_says_so() -> None:
    (ruling,), _ = ruled([PROBABLY_SHALLOW], Prescription())
    assert ruling.attempt == "not_counted" and (ruling.why or "").startswith("probably ")


def test_failed_and_broken_off_attempts_are_named() -> None:
    failed = {"pressed_up_percent": Quantity(40.0, 8.0)}
    aborted = {"bend_share_percent": Quantity(40.0, 5.0)}
    assert attempts([failed, aborted, {}], Prescription()) == ["failed", "aborted", "counted"]


# --- named tests


def test_every_named_test_says_what_it_asks_and_who_asks_it() -> None:
    for key, test in standards().items():
        asked = Prescription(standard=key)
        assert asked.range_standard == test.range
        assert asked.counts == ("range-and-line" if test.line else "range")
        assert test.source and (test.year is None or 1980 < test.year < 2030)
    with pytest.raises(ValueError, match="ninety-degree"):
        Prescription(standard="knee-high")


def test_the_ninety_degree_test_ends_with_the_second_correction() -> None:
    """90-degree push-up of a school fitness battery: stopped at the second form correction."""
    asked = Prescription(standard="ninety-degree")
    rulings, result = ruled([{}, {}, SHALLOW, {}, SAGGING, {}, {}], asked)
    assert [r.attempt for r in rulings] == [
        "counted", "counted", "not_counted", "counted", *["not_counted"] * 3,
    ]  # fmt: skip
    assert rulings[2].corrections == ("shallow",) and rulings[4].corrections == ("hip_sag",)
    assert result is not None and (result.score, result.ended_at_rep) == (3, 5)
    assert result.ended_by == "corrections"
    assert "after the test had ended" in (rulings[5].why or "")


def test_a_cadence_of_twenty_a_minute_is_a_rep_every_three_seconds() -> None:
    """“20 90 deg push-ups per minute (1 … every 3 seconds)”, the same test."""
    asked = Prescription(standard="ninety-degree")
    _, steady = ruled([{}] * 6, asked, every_s=3.1)
    assert steady is not None and (steady.score, steady.ended_by) == (6, None)
    rulings, slow = ruled([{}] * 6, asked, every_s=[3.0, 3.0, 6.0, 3.0, 6.0, 3.0])
    assert rulings[2].corrections == ("off_the_beat",)
    assert slow is not None and (slow.ended_by, slow.ended_at_rep) == ("corrections", 5)


def test_a_test_of_two_minutes_ends_after_two_minutes() -> None:
    """FM 7-22 (2012): as many as you can in two minutes, rests only in the up position."""
    asked = Prescription(standard="two-minutes-2012")
    rulings, result = ruled([{}] * 50, asked)
    assert result is not None and result.ended_by == "time"
    assert result.score == 40 and rulings[40].why == "finished after time was up"


def test_a_rest_at_the_bottom_ends_a_test_that_allows_rests_at_the_top_only() -> None:
    asked = Prescription(standard="one-minute")
    _, result = ruled([{}] * 3, asked, every_s=6.0, bottom_pause_s=3.0)
    assert result is not None and (result.score, result.ended_by) == (0, "rest")
    _, rested_above = ruled([{}] * 3, asked, every_s=12.0)
    assert rested_above is not None and rested_above.ended_by is None


def test_no_test_no_result() -> None:
    rulings, result = ruled([{}, SHALLOW], Prescription())
    assert result is None and all(r.corrections == () for r in rulings)
    assert replace(Prescription(), target_reps=3).standard is None
