"""What is a change, and what is only its error."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import theilslopes

from formcheck.log.change import (
    FOLLOWED,
    LEAST_DAYS,
    LOAD_IN_KG,
    change_of,
    changes,
    days_of,
    followed_in,
    least_significant_change,
    median_slope,
    sentence,
    since,
)
from formcheck.log.entry import SetEntry
from tests.log.made_up import entry

DEPTH = FOLLOWED[1]


def no_mass(_: SetEntry) -> float | None:
    return None


def course(values: list[float], every_days: float = 2.0) -> list[SetEntry]:
    return [entry(every_days * n, elbow_bottom_deg=value) for n, value in enumerate(values)]


def depth(entries: list[SetEntry]) -> tuple[str, str]:
    found = next(c for c in changes(entries, no_mass) if c.followed is DEPTH)
    return found.verdict, sentence(found).replace("\u00a0", " ")


def noisy_log(seed: int, sets: int, scatter: float = 1.0) -> list[SetEntry]:
    """A log in which nothing changes: every quantity with the error it states, times scatter."""
    draw = random.Random(seed)
    out = []
    for n in range(sets):
        base = entry(3.0 * n + draw.choice([0, 1]))
        noise = {
            one.name: getattr(base, one.name)
            + scatter * draw.gauss(0.0, getattr(base, f"{one.name}_plus_minus") / 1.96)
            for one in FOLLOWED[1:]
        }
        out.append(replace(base, clean=max(0, min(8, round(draw.gauss(6.0, 1.0)))), **noise))
    return out


@pytest.mark.parametrize("scatter", [1.0, 2.5])
def test_at_most_five_of_a_hundred_logs_without_change_are_called_a_change(scatter: float) -> None:
    # The project's own bar: 200 simulated logs, at most 5 in 100, also where bodies vary from day
    # to day by far more than the measuring error that is stated.
    logs = [noisy_log(seed, random.Random(seed).choice([6, 8, 12, 20, 30]), scatter)
            for seed in range(200)]  # fmt: skip
    called = [any(change.verdict == "real" for change in changes(log, no_mass)) for log in logs]
    assert sum(called) <= 10
    assert len(called) == 200


def test_a_change_larger_than_its_error_is_called_real_and_told_in_plain_words() -> None:
    draw = random.Random(1)
    deeper = course([95.0 - 1.5 * n + draw.gauss(0, 2.0) for n in range(12)])
    verdict, said = depth(deeper)
    assert verdict == "real"
    assert said.startswith("deeper by 1")
    assert "° ± " in said


def test_a_change_within_its_error_is_called_that() -> None:
    wave = [1.0, -1.0, 0.5, -0.5]
    verdict, said = depth(course([82.0 - 0.2 * n + wave[n % 4] for n in range(12)]))
    assert verdict == "within the error"
    assert said == "deeper by 2° ± 7°"


def test_a_smooth_course_smaller_than_the_least_significant_change_is_not_real() -> None:
    # No scatter at all, so that the slope's interval is narrow; but 5° of a value that is ± 5°
    # is less than 1.96 √2 standard errors = 7.1°.
    assert depth(course([82.0 - 0.5 * n for n in range(11)]))[0] == "within the error"
    assert depth(course([82.0 - 0.8 * n for n in range(11)]))[0] == "real"


def test_one_odd_day_makes_no_trend() -> None:
    assert depth(course([82.0] * 11 + [40.0]))[0] == "within the error"


def test_few_days_are_no_trend_but_the_last_is_set_against_the_first() -> None:
    two = course([95.0, 70.0])
    found = changes(two, no_mass)[1]
    assert found.verdict == "too few days"
    assert found.beyond_error
    assert found.per_week is None
    assert depth(course([80.0] * (LEAST_DAYS - 1)))[0] == "too few days"
    assert depth(course([80.0] * LEAST_DAYS))[0] == "within the error"


def test_a_single_day_has_nothing_to_compare() -> None:
    found = changes(course([80.0]), no_mass)[1]
    assert (found.verdict, found.beyond_error) == ("too few days", False)


def test_sets_of_one_day_are_one_point() -> None:
    same_day = [entry(n / 1000, elbow_bottom_deg=v) for n, v in enumerate((80.0, 90.0, 84.0))]
    points = days_of([*same_day, entry(3.0)], DEPTH, no_mass)
    assert [(point.value, point.sets) for point in points] == [(84.0, 3), (82.0, 1)]


def test_years_of_days_are_followed_by_weeks() -> None:
    daily = [entry(float(n)) for n in range(800)]
    points = days_of(daily, DEPTH, no_mass)
    assert 114 <= len(points) <= 116
    assert all(point.day.weekday() == 0 for point in points)


def test_the_least_significant_change_is_2_77_standard_errors() -> None:
    # Bland & Altman 1999, Stat Methods Med Res 8:135-160: repeatability is 2.77 within-subject
    # standard deviations. A half-width of 1.96 is a standard error of one.
    assert least_significant_change([1.96, 1.96, 9.0]) == pytest.approx(2.77, abs=0.003)


def test_the_median_slope_and_its_interval_are_those_of_sen() -> None:
    # The reference is scipy's implementation of Sen 1968; ties in y included.
    draw = np.random.default_rng(4)
    for count in (6, 9, 15, 40):
        x = np.cumsum(draw.integers(1, 5, count)).astype(float)
        y = np.round(draw.normal(0, 2, count) + 0.1 * x)
        slope, ((low, high),) = median_slope(x, y, (0.95,))
        want = theilslopes(y, x, alpha=0.95)
        assert slope == pytest.approx(want[0])
        assert (low, high) == pytest.approx((want[2], want[3]))


def test_an_interval_that_the_days_cannot_settle_is_open() -> None:
    x = np.arange(4.0)
    _, ((low, high),) = median_slope(x, x, (0.999,))
    assert (low, high) == (-math.inf, math.inf)


def test_load_is_in_kilograms_only_where_every_body_mass_is_known() -> None:
    sets = [entry(0, body_mass_kg=80.0), entry(2)]
    assert LOAD_IN_KG not in followed_in(sets, lambda one: one.body_mass_kg)
    assert LOAD_IN_KG in followed_in(sets, lambda _: 80.0)
    kilograms = days_of(sets, LOAD_IN_KG, lambda _: 80.0)
    assert kilograms[0].value == pytest.approx(5.6 * 80.0)


def test_a_set_against_the_one_before_needs_more_than_the_error_of_both() -> None:
    before = entry(0)
    near = {c.followed: c for c in since(before, entry(3, elbow_bottom_deg=78.0), no_mass)}
    far = {c.followed: c for c in since(before, entry(3, elbow_bottom_deg=68.0), no_mass)}
    assert near[DEPTH].verdict == "within the error"
    assert far[DEPTH].verdict == "real"
    assert sentence(far[DEPTH]).replace("\u00a0", " ") == "deeper by 14° ± 10°"


def test_what_only_one_of_two_sets_shows_is_not_compared() -> None:
    blind = entry(3, hip_deviation_deg=None, hip_deviation_deg_plus_minus=None)
    assert "hip_deviation_deg" not in {c.followed.name for c in since(entry(0), blind, no_mass)}


def test_a_quantity_alone_is_held_to_the_plain_level() -> None:
    points = days_of(course([82.0 - 0.8 * n for n in range(11)]), DEPTH, no_mass)
    alone = change_of(DEPTH, points)
    assert alone.verdict == "real"
    assert alone.low is not None and alone.high is not None
    assert alone.low <= (alone.per_week or 0.0) <= alone.high
