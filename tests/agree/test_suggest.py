"""A limit is told from labels as well as the measurement allows, and no better."""

from __future__ import annotations

import numpy as np
import pytest

from formcheck.agree.compare import compare
from formcheck.agree.labels import Label
from formcheck.agree.suggest import LEAST_REPS, suggest
from formcheck.agree.sweep import Labelled, SweepError, labelled, sweep, sweep_two
from tests.agree.made import labels_at, made_set, with_errors

pytestmark = pytest.mark.slow

PLUS_MINUS = 3.0


def chosen_at(
    limit: float, seed: int, sets: int = 30, plus_minus: float = PLUS_MINUS, fault: str = "hip_sag"
) -> Labelled:
    """Labels by somebody who sees the truth and holds this limit, on values of the stated ±."""
    rng = np.random.default_rng(seed)
    measure, centre = (
        ("hip_deviation_deg", 10.0) if fault == "hip_sag" else ("elbow_top_deg", 161.0)
    )
    true = [rng.normal(centre, 4) + rng.normal(0, 3, 6) for _ in range(sets)]
    shared = rng.uniform(0.2, 0.8)
    found = with_errors(rng, true, measure, plus_minus, shared)
    below = fault == "soft_lockout"
    return labelled(compare(labels_at(true, limit, fault, below=below), found), found, fault)


def test_a_known_limit_is_recovered_and_its_interval_holds_it_95_times_in_100() -> None:
    """Sets, errors and labels drawn anew 100 times; a limit anywhere from 6 to 14 degrees."""
    limits = np.random.default_rng(9).uniform(6, 14, 100)
    held, apart = 0, []
    for seed, limit in enumerate(limits):
        found = suggest(chosen_at(limit, seed, sets=14))
        assert not found.refused
        held += found.coach.low <= limit <= found.coach.high
        apart.append(abs(found.limit.value - limit))
    assert held >= 95
    assert np.quantile(apart, 0.95) < PLUS_MINUS
    assert np.mean(apart) < PLUS_MINUS / 3


def test_few_false_accusations_come_first_and_are_counted_on_other_sets() -> None:
    found = suggest(chosen_at(10.0, 1, sets=60))
    assert found.precision.value >= 0.95
    assert found.recall.value < 1.0 and found.recall.low < found.recall.value < found.recall.high


def test_who_wants_all_found_gets_a_stricter_limit() -> None:
    chosen = chosen_at(10.0, 2, sets=60)
    few_false, balanced, find_all = (
        suggest(chosen, preference=one) for one in ("few-false", "balanced", "find-all")
    )
    assert find_all.limit.value <= balanced.limit.value <= few_false.limit.value
    assert find_all.recall.value > few_false.recall.value
    assert find_all.precision.value < few_false.precision.value


def test_where_the_tool_is_worse_than_it_says_the_limit_gives_way_to_precision() -> None:
    """Values off by four times their stated ±: at the coach's limit too many would be accused."""
    rng = np.random.default_rng(3)
    true = [rng.normal(10, 5, 6) for _ in range(60)]
    sets = with_errors(rng, true, "hip_deviation_deg", 4 * PLUS_MINUS, 0.2)
    claims = [
        made_set(
            one.name,
            [{"hip_deviation_deg": v["hip_deviation_deg"].value} for v in one.values],
            PLUS_MINUS,
        )
        for one in sets
    ]
    found = suggest(labelled(compare(labels_at(true, 10.0, "hip_sag"), claims), claims, "hip_sag"))
    assert found.limit.value > found.coach.value
    assert any("milder" in remark for remark in found.remarks)


def test_too_few_labels_are_refused_and_how_many_more_is_said() -> None:
    sets = [made_set(f"set_{i}", [{"hip_deviation_deg": 3.0 + i}] * 2) for i in range(6)]
    labels = [
        Label(f"set_{i}", rep, "hip_sag", "yes" if i == 5 else "no", "AB")
        for i in range(6)
        for rep in (1, 2)
    ]
    found = suggest(labelled(compare(labels, sets), sets, "hip_sag"))
    assert found.labelled == (2, 10, 6)
    assert f"{LEAST_REPS - 2} more reps that have it and 3 more sets" in found.refused
    assert np.isnan(found.limit.value)


def test_labels_that_fit_any_limit_are_refused_and_where_to_look_is_said() -> None:
    """All clear reps far inside and all faulty ones far beyond: nothing is known of between."""
    sets = [
        made_set(f"set_{i}", [{"hip_deviation_deg": v}] * 3, plus_minus=1.0)
        for i, v in enumerate([0.0] * 6 + [30.0] * 6 + [14.0, 16.0])
    ]
    labels = [
        Label(f"set_{i}", rep, "hip_sag", "yes" if i >= 6 else "no", "AB")
        for i in range(12)
        for rep in (1, 2, 3)
    ]
    found = suggest(labelled(compare(labels, sets), sets, "hip_sag"))
    assert "fit any limit from" in found.refused and "more reps" in found.refused
    assert {name for name, _ in found.label_next} == {"set_12", "set_13"}


def test_a_limit_finer_than_the_measurement_is_said_to_be_so() -> None:
    found = suggest(chosen_at(12.4, 4, sets=60))
    assert abs(found.limit.value - found.in_force) < PLUS_MINUS
    assert any("cannot be told apart" in remark for remark in found.remarks)


def test_a_sweep_counts_accusations_as_the_limit_is_relaxed() -> None:
    table = sweep(chosen_at(10.0, 5)).table()
    assert len(table) == 50
    assert (np.diff(table["limit"]) > 0).all()
    assert (np.diff(table["accused"]) <= 0).all() and (np.diff(table["missed"]) >= 0).all()
    assert (np.diff(table["recall"]) <= 0).all()
    strictest, mildest = table.iloc[0], table.iloc[-1]
    assert strictest["recall"] > 0.9 > 0.2 > mildest["recall"]


def test_a_sweep_of_a_least_value_runs_from_strict_to_mild_too() -> None:
    table = sweep(chosen_at(161.0, 6, fault="soft_lockout")).table()
    assert (np.diff(table["limit"]) < 0).all() and (np.diff(table["accused"]) <= 0).all()


def test_two_limits_are_tried_together() -> None:
    chosen = chosen_at(10.0, 7)
    table = sweep_two(chosen, ("hip_sag", [8.0, 12.0]), ("aborted", [65.0, 70.0]))
    assert table[["hip_sag", "aborted"]].to_numpy().tolist() == [
        [8.0, 65.0], [12.0, 65.0], [8.0, 70.0], [12.0, 70.0],
    ]  # fmt: skip
    alone = sweep(chosen, "hip_sag", [8.0, 12.0]).table()
    assert table["accused"].tolist()[:2] == alone["accused"].tolist()


def test_coaches_who_differ_evenly_leave_a_rep_out() -> None:
    sets = [made_set("mon", [{}, {}])]
    labels = [
        Label("mon", 1, "hip_sag", "yes", "AB"),
        Label("mon", 1, "hip_sag", "no", "CD"),
        Label("mon", 2, "hip_sag", "no", "AB"),
        Label("mon", 2, "hip_sag", "unsure", "CD"),
    ]
    chosen = labelled(compare(labels, sets), sets, "hip_sag")
    assert chosen.rows == ((0, 1),) and chosen.there.tolist() == [False]


def test_what_cannot_be_tried_is_said() -> None:
    chosen = chosen_at(10.0, 8)
    with pytest.raises(SweepError, match="is no limit"):
        sweep(chosen, "hip_sagg")
    with pytest.raises(SweepError, match="changes with the limit shallow"):
        sweep(chosen, "shallow")
    with pytest.raises(SweepError, match="labelled"):
        suggest(Labelled("hip_sag", (), (), np.zeros(0, bool)))
