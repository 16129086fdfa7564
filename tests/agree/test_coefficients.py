"""Coefficients against published worked examples and against scikit-learn and SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from sklearn import metrics

from formcheck.agree.coefficients import (
    agreement,
    cohen_kappa,
    estimate,
    f1,
    gwet_ac1,
    precision,
    recall,
    tally,
)

# Gwet KL, Kappa statistic is not satisfactory for assessing the extent of agreement between
# raters (Statistical Methods for Inter-Rater Reliability Assessment 2002;1): 125 subjects, a
# trait that nearly all have. Agreement 0.9440, kappa -0.0234, AC1 0.9408 (figures from memory,
# and they follow from the definitions).
RARE_NO = np.array([118.0, 5.0, 2.0, 0.0])
# Cohen's kappa on 50 proposals read by two people, 20 accepted by both, 15 by none: 0.40 (a
# textbook example of Cohen 1960's formula).
PROPOSALS = np.array([20.0, 5.0, 10.0, 15.0])


def test_kappa_misleads_where_ac1_does_not_on_the_published_example() -> None:
    assert agreement(RARE_NO) == pytest.approx(0.9440, abs=5e-5)
    assert cohen_kappa(RARE_NO) == pytest.approx(-0.0234, abs=5e-5)
    assert gwet_ac1(RARE_NO) == pytest.approx(0.9408, abs=5e-5)


def test_kappa_of_the_textbook_example() -> None:
    assert cohen_kappa(PROPOSALS) == pytest.approx(0.40, abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_coefficients_agree_with_scikit_learn(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tool = rng.random(60) < 0.3
    coach = tool ^ (rng.random(60) < 0.2)
    counts = tally(tool, coach, rng.integers(0, 9, 60)).sum(0)
    assert counts.sum() == 60
    assert precision(counts) == pytest.approx(metrics.precision_score(coach, tool))
    assert recall(counts) == pytest.approx(metrics.recall_score(coach, tool))
    assert f1(counts) == pytest.approx(metrics.f1_score(coach, tool))
    assert cohen_kappa(counts) == pytest.approx(metrics.cohen_kappa_score(coach, tool))
    assert agreement(counts) == pytest.approx(metrics.accuracy_score(coach, tool))


def test_a_tally_keeps_sets_apart() -> None:
    first = np.array([True, True, False, False, True])
    second = np.array([True, False, True, False, True])
    sets = np.array([0, 0, 1, 1, 2])
    assert tally(first, second, sets).tolist() == [[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 0, 0]]


def test_what_a_tally_does_not_define_is_not_a_number() -> None:
    nobody_accused = np.array([0.0, 0.0, 0.0, 12.0])
    assert math.isnan(precision(nobody_accused)) and math.isnan(recall(nobody_accused))
    assert math.isnan(cohen_kappa(nobody_accused))
    assert gwet_ac1(nobody_accused) == 1.0


def test_interval_agrees_with_the_percentile_bootstrap_of_scipy() -> None:
    rng = np.random.default_rng(3)
    counts = rng.multinomial(10, (0.25, 0.05, 0.1, 0.6), size=25).astype(float)
    ours = estimate(counts, gwet_ac1, draws=20_000)
    theirs = stats.bootstrap(
        (np.arange(25),), lambda i, axis=-1: gwet_ac1(counts[i].sum(-2)), method="percentile",
        n_resamples=20_000, vectorized=True, rng=np.random.default_rng(4),
    ).confidence_interval  # fmt: skip
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=0.005)


def test_reps_that_repeat_their_set_do_not_narrow_the_interval() -> None:
    """Ten copies of each rep are ten times the reps and not one set more."""
    rng = np.random.default_rng(5)
    counts = rng.multinomial(4, (0.3, 0.1, 0.1, 0.5), size=20).astype(float)
    once, copied = estimate(counts, f1), estimate(10 * counts, f1)
    assert (copied.low, copied.high) == pytest.approx((once.low, once.high))


def test_few_sets_that_bear_on_it_have_a_value_and_no_interval() -> None:
    """Twenty sets, but the fault is called in three of them."""
    counts = np.array([[3.0, 1.0, 0.0, 6.0]] * 3 + [[0.0, 0.0, 0.0, 10.0]] * 17)
    few = estimate(counts, precision)
    assert few.value == 0.75 and math.isnan(few.low) and math.isnan(few.high)
    assert math.isfinite(estimate(counts, gwet_ac1).low)


def test_interval_holds_the_true_value_about_95_times_in_100() -> None:
    rng = np.random.default_rng(6)
    true = float(agreement(np.array([0.3, 0.1, 0.1, 0.5])))
    held = 0
    for _ in range(300):
        got = estimate(
            rng.multinomial(6, (0.3, 0.1, 0.1, 0.5), size=40).astype(float), agreement, draws=400
        )
        held += got.low <= true <= got.high
    assert 0.91 <= held / 300 <= 0.985
