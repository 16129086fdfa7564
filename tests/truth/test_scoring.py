"""The benchmark's own arithmetic, on answers that can be checked by eye."""

from __future__ import annotations

import pandas as pd
import pytest

from formcheck.asked.tempo import parse_tempo
from tests.truth import scoring
from tests.truth.truth import TruthRep

LIMITS = {
    "shallow": 90.0,
    "soft_lockout": 160.0,
    "hip_sag": 12.0,
    "hip_pike": -15.0,
    "elbow_flare": 70.0,
    "slow_concentric": 1.0,
    "tempo_tolerance": 0.3,
    "tempo_tolerance_share": 0.25,
}
GOOD = {
    "eccentric_s": 1.8,
    "bottom_pause_s": 1.0,
    "concentric_s": 0.6,
    "top_pause_s": 1.0,
    "elbow_bottom_deg": 80.0,
    "elbow_top_deg": 172.0,
    "hip_deviation_deg": 1.0,
    "head_angle_deg": 5.0,
    "elbow_flare_deg": 45.0,
}


def true_rep(
    index: int = 1, *, at_s: float = 2.0, aborted: bool = False, **values: float
) -> TruthRep:
    return TruthRep(
        index=index,
        aborted=aborted,
        start_s=at_s - 1.5,
        bottom_start_s=at_s,
        bottom_end_s=at_s + 0.5,
        top_s=at_s + 1.0,
        end_s=at_s + 1.5,
        values={**GOOD, **values},
    )


def errors_of(*pairs: tuple[float, float, float]) -> pd.DataFrame:
    rows = [("a", "side", i, "x_deg", *pair) for i, pair in enumerate(pairs)]
    return pd.DataFrame(
        rows, columns=["clip", "view", "rep", "quantity", "truth", "measured", "plus_minus"]
    )


def test_a_bottom_matches_inside_its_pause_and_only_once() -> None:
    truth = [true_rep(1, at_s=2.0), true_rep(2, at_s=5.0)]
    assert scoring.match_reps([2.2, 5.69], truth) == {0: 0, 1: 1}
    assert scoring.match_reps([1.75, 5.1], truth) == {1: 1}, "0.25 s before the pause is a miss"
    assert scoring.match_reps([2.1, 2.3], truth) == {0: 1}, "the one nearest the middle of it"


def test_agreement_gives_bias_error_limits_and_coverage() -> None:
    row = scoring.agreement(errors_of((10, 11, 2), (20, 19, 2), (30, 33, 2))).loc["x_deg"]
    assert row["bias"] == pytest.approx(1.0)
    assert row["mae"] == pytest.approx(5 / 3)
    # differences 1, -1, 3: SD 2, so the limits of agreement are 1 ± 1.96 x 2
    assert (row["loa_low"], row["loa_high"]) == pytest.approx((-2.92, 4.92))
    assert row["coverage"] == pytest.approx(2 / 3)


def test_coverage_ignores_values_that_state_no_uncertainty() -> None:
    row = scoring.agreement(errors_of((10, 11, 2), (20, 29, float("nan")))).loc["x_deg"]
    assert row["coverage"] == 1.0


@pytest.mark.parametrize(
    ("elbow_bottom_deg", "expected"), [(95.0, "fault"), (92.0, "grey"), (85.0, "clear")]
)
def test_a_value_near_the_limit_is_not_scored(elbow_bottom_deg: float, expected: str) -> None:
    rep = true_rep(elbow_bottom_deg=elbow_bottom_deg)
    assert scoring.expected_fault("shallow", rep, LIMITS, None) == expected


def test_limits_below_which_a_value_must_not_fall_are_read_the_right_way_round() -> None:
    assert (
        scoring.expected_fault("soft_lockout", true_rep(elbow_top_deg=150), LIMITS, None) == "fault"
    )
    assert scoring.expected_fault("soft_lockout", true_rep(), LIMITS, None) == "clear"
    assert (
        scoring.expected_fault("hip_pike", true_rep(hip_deviation_deg=-22), LIMITS, None) == "fault"
    )
    assert (
        scoring.expected_fault("hip_sag", true_rep(hip_deviation_deg=-22), LIMITS, None) == "clear"
    )


def test_an_aborted_attempt_is_not_also_shallow() -> None:
    rep = true_rep(aborted=True, elbow_bottom_deg=128)
    assert scoring.expected_fault("shallow", rep, LIMITS, None) == "clear"
    assert scoring.expected_fault("aborted", rep, LIMITS, None) == "fault"
    assert scoring.expected_attempt(rep, LIMITS) == "aborted"


def test_tempo_faults_follow_the_tolerance_whichever_is_more() -> None:
    tempo = parse_tempo("2-1-X-1")
    # a quarter of 2 s is more than 0.3 s, so the eccentric may be 1.5 to 2.5 s
    for eccentric_s, expected in ((1.3, "fault"), (1.45, "grey"), (1.7, "clear")):
        rep = true_rep(eccentric_s=eccentric_s)
        assert scoring.expected_fault("rushed_eccentric", rep, LIMITS, tempo) == expected
    late = true_rep(concentric_s=1.3)
    assert scoring.expected_fault("slow_concentric", late, LIMITS, tempo) == "fault"
    assert scoring.expected_fault("slow_concentric", late, LIMITS, None) == "clear"


def test_precision_and_recall_leave_out_what_cannot_be_scored() -> None:
    outcomes = pd.DataFrame(
        {
            "key": ["hip_sag"] * 6,
            "outcome": ["hit", "hit", "missed", "false_alarm", "grey", "unshown"],
            "verdict": ["fault", "fault", "borderline", "fault", None, None],
            "marked": [True, False, False, False, False, True],
        }
    )
    row = scoring.precision_recall(outcomes).loc["all"]
    assert row["precision"] == pytest.approx(2 / 3)
    assert row["recall"] == pytest.approx(2 / 3)
    assert row["recall_marked"] == pytest.approx(1.0), "the missed one was only just beyond"
    assert row["noticed"] == pytest.approx(1.0), "the missed one was called borderline"


def test_excess_is_counted_in_the_accuracy_asked_of_the_quantity() -> None:
    # 12 degrees allowed, 3 degrees asked of the body line
    assert scoring.excess_of("hip_sag", true_rep(hip_deviation_deg=18), LIMITS, None) == 2.0
    assert scoring.excess_of("hips_late", true_rep(), LIMITS, None) is None
