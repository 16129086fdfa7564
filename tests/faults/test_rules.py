"""When a measured value is a fault, when only borderline, and when nothing at all."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import pytest

from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.limits import default_limits, with_values
from formcheck.faults.rules import Fault, likely_beyond, rep_faults, verdict_of
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep

REP = Rep(
    3, start_s=10.0, bottom_start_s=12.0, bottom_s=12.4, bottom_end_s=13.0, top_s=14.0, end_s=15.0
)
# A rep that keeps every limit, at tempo 2-1-X-1.
GOOD: dict[str, Quantity] = {
    "elbow_bottom_deg": Quantity(80.0, 4.0, view="side"),
    "upper_arm_bottom_deg": Quantity(-10.0, 4.0, view="side"),
    "shoulder_height_bottom": Quantity(0.30, 0.02, view="side"),
    "elbow_top_deg": Quantity(170.0, 4.0, view="side"),
    "hip_deviation_deg": Quantity(2.0, 3.0, view="side"),
    "hip_deviation_change_deg": Quantity(1.0, 2.0, view="side"),
    "elbow_flare_deg": Quantity(45.0, 8.0, view="front"),
    "hand_spacing_ratio": Quantity(1.2, 0.1, view="front"),
    "symmetry_deg": Quantity(3.0, 5.0, view="front"),
    "head_angle_deg": Quantity(5.0, 9.0, view="side"),
    "hips_lag_s": Quantity(0.0, 0.1, view="side"),
    "bend_share_percent": Quantity(100.0, 10.0),
    "eccentric_s": Quantity(2.0, 0.1, view="side"),
    "bottom_pause_s": Quantity(1.0, 0.1, view="side"),
    "concentric_s": Quantity(0.7, 0.1, view="side"),
    "top_pause_s": Quantity(1.0, 0.1, view="side"),
}
DRIVEN = Prescription(tempo=parse_tempo("2-1-X-1"))


def faults_of(
    changed: Mapping[str, Quantity],
    asked: Prescription | None = None,
    rep: Rep = REP,
    bounds: tuple[float, float] | None = None,
    limits: Mapping[str, float] | None = None,
) -> tuple[Fault, ...]:
    """Of a good rep with some values changed."""
    held_to = with_values(default_limits(), limits or {})
    return rep_faults(rep, GOOD | dict(changed), asked or Prescription(), held_to, "side", bounds)


def verdicts(
    changed: Mapping[str, Quantity],
    asked: Prescription | None = None,
    limits: Mapping[str, float] | None = None,
) -> dict[str, str]:
    return {fault.key: fault.verdict for fault in faults_of(changed, asked, limits=limits)}


@pytest.mark.parametrize(
    ("value", "plus_minus", "verdict"),
    [
        (89.0, 3.0, None),
        (90.0, 3.0, None),
        (92.0, 3.0, "borderline"),
        (93.0, 3.0, "borderline"),
        (93.1, 3.0, "fault"),
        (90.1, 0.0, "fault"),
    ],
)
def test_beyond_the_limit_and_all_its_uncertainty_is_a_fault_within_it_borderline(
    value: float, plus_minus: float, verdict: str | None
) -> None:
    assert verdict_of(Quantity(value, plus_minus), 90.0, at_most=True) == verdict
    mirrored = Quantity(180.0 - value, plus_minus)
    assert verdict_of(mirrored, 90.0, at_most=False) == verdict


def test_what_is_unknown_is_never_judged() -> None:
    assert verdict_of(not_measured("hidden"), 90.0, at_most=True) is None
    unknown = dict.fromkeys(GOOD, not_measured("hidden"))
    assert faults_of(unknown, DRIVEN, bounds=(0.8, 1.3)) == ()


def test_an_uncertainty_that_is_unknown_accuses_nobody() -> None:
    assert verdict_of(Quantity(150.0, math.nan), 90.0, at_most=True) != "fault"


def test_a_good_rep_has_nothing_against_it() -> None:
    assert faults_of({}, DRIVEN, bounds=(0.8, 1.3)) == ()


@pytest.mark.parametrize(
    ("measure", "value", "key"),
    [
        ("elbow_bottom_deg", 105.0, "shallow"),
        ("elbow_top_deg", 145.0, "soft_lockout"),
        ("hip_deviation_deg", 22.0, "hip_sag"),
        ("hip_deviation_deg", -25.0, "hip_pike"),
        ("elbow_flare_deg", 85.0, "elbow_flare"),
        ("symmetry_deg", 25.0, "uneven_arms"),
        ("head_angle_deg", 40.0, "head_drop"),
        ("hips_lag_s", 0.5, "hips_late"),
        ("hips_lag_s", -0.5, "hips_late"),
    ],
)
def test_each_limit_raises_its_own_fault_and_no_other(measure: str, value: float, key: str) -> None:
    changed = {measure: replace(GOOD[measure], value=value)}
    (fault,) = faults_of(changed)
    assert (fault.key, fault.verdict, fault.rep) == (key, "fault", 3)
    assert abs(fault.limit) == abs(default_limits()[key].value)
    assert fault.unit == default_limits()[key].unit
    assert fault.uncertainty == GOOD[measure].plus_minus
    assert fault.view == GOOD[measure].view
    assert REP.start_s <= fault.at_s <= REP.end_s


def test_whether_the_hips_led_or_trailed_is_kept_in_the_sign() -> None:
    for lag_s in (0.5, -0.5):
        (fault,) = faults_of({"hips_lag_s": Quantity(lag_s, 0.1)})
        assert (fault.value, fault.limit) == (lag_s, 0.25 if lag_s > 0 else -0.25)


def test_a_fault_is_shown_where_it_happens() -> None:
    (shallow,) = faults_of({"elbow_bottom_deg": Quantity(110.0, 3.0)})
    (soft,) = faults_of({"elbow_top_deg": Quantity(140.0, 3.0)})
    assert shallow.at_s == REP.bottom_s and soft.at_s == REP.top_s
    assert shallow.view == "side", "the rep's own view where the value names none"


@pytest.mark.parametrize(
    ("standard", "measure"),
    [
        ("elbow-90", "elbow_bottom_deg"),
        ("arm-parallel", "upper_arm_bottom_deg"),
        ("chest-low", "shoulder_height_bottom"),
    ],
)
def test_depth_is_judged_by_the_range_standard_that_was_asked_and_no_other(
    standard: str, measure: str
) -> None:
    too_high = {
        m: Quantity(GOOD[m].value + 40.0, 1.0) for m in GOOD if "bottom" in m and "_s" not in m[-2:]
    }
    asked = Prescription(range_standard=standard)  # type: ignore[arg-type]
    assert verdicts({measure: too_high[measure]}, asked) == {"shallow": "fault"}
    others = {m: q for m, q in too_high.items() if m != measure}
    assert verdicts(others, asked) == {}


def test_a_users_limit_is_the_one_compared_with() -> None:
    deep = {"elbow_bottom_deg": Quantity(100.0, 2.0)}
    assert verdicts(deep) == {"shallow": "fault"}
    assert verdicts(deep, limits={"shallow": 110.0}) == {}


def test_a_broken_off_attempt_is_only_that() -> None:
    everything_wrong = {
        "elbow_bottom_deg": Quantity(130.0, 2.0),
        "hip_deviation_deg": Quantity(30.0, 2.0),
        "concentric_s": Quantity(3.0, 0.1),
        "bend_share_percent": Quantity(40.0, 10.0),
    }
    (fault,) = faults_of(everything_wrong, DRIVEN)
    assert (fault.key, fault.verdict, fault.value) == ("aborted", "fault", 40.0)
    assert fault.at_s == REP.bottom_s


def test_how_far_short_is_broken_off_is_the_users_limit_and_never_a_guess() -> None:
    short = {"bend_share_percent": Quantity(57.0, 5.7)}
    assert verdicts(short) == {"aborted": "fault"}
    assert verdicts(short, limits={"aborted": 50.0}) == {}
    assert verdicts(short, limits={"aborted": 60.0}) == {"aborted": "borderline"}
    assert verdicts({"bend_share_percent": not_measured("the arm was lost")}) == {}


def test_a_sag_that_the_line_leaves_in_doubt_is_sure_when_the_change_alone_is_beyond() -> None:
    doubtful = {"hip_deviation_deg": Quantity(15.0, 6.0, view="side")}
    assert verdicts(doubtful) == {"hip_sag": "borderline"}
    changed = {"hip_deviation_change_deg": Quantity(16.0, 2.0, view="side")}
    (fault,) = faults_of(doubtful | changed)
    assert (fault.key, fault.verdict) == ("hip_sag", "fault")
    assert (fault.value, fault.uncertainty) == (16.0, 2.0), "and says what it rests on"


def test_a_change_alone_accuses_nobody_whose_line_is_straight() -> None:
    """Someone who sets up piked and comes down to straight changes much and sags nowhere."""
    assert verdicts({"hip_deviation_change_deg": Quantity(20.0, 2.0)}) == {}


def test_a_pike_is_sure_by_its_change_in_the_same_way() -> None:
    doubtful = {"hip_deviation_deg": Quantity(-18.0, 6.0)}
    changed = {"hip_deviation_change_deg": Quantity(-20.0, 2.0)}
    assert verdicts(doubtful) == {"hip_pike": "borderline"}
    assert verdicts(doubtful | changed) == {"hip_pike": "fault"}


@pytest.mark.parametrize(
    ("spacing", "verdict"),
    [(1.0, None), (1.35, "borderline"), (1.6, "fault"), (0.75, "borderline"), (0.5, "fault")],
)
def test_hands_are_held_between_the_bounds_of_the_position_asked_for(
    spacing: float, verdict: str | None
) -> None:
    hands = {"hand_spacing_ratio": Quantity(spacing, 0.1, view="front")}
    found = faults_of(hands, bounds=(0.8, 1.3))
    assert [fault.verdict for fault in found] == ([verdict] if verdict else [])
    for fault in found:
        assert fault.key == "hand_spacing" and fault.view == "front"
        assert fault.limit == (1.3 if spacing > 1 else 0.8)


def test_hands_nobody_asked_for_are_not_judged() -> None:
    assert verdicts({"hand_spacing_ratio": Quantity(2.5, 0.1)}) == {}


def test_without_a_tempo_no_phase_is_wrong() -> None:
    slow = {m: Quantity(9.0, 0.1) for m in ("eccentric_s", "concentric_s")}
    none = {m: Quantity(0.0, 0.1) for m in ("bottom_pause_s", "top_pause_s")}
    assert verdicts(slow | none) == {}


@pytest.mark.parametrize(
    ("measure", "value_s", "key"),
    [
        ("eccentric_s", 0.8, "rushed_eccentric"),
        ("eccentric_s", 3.5, "slow_eccentric"),
        ("bottom_pause_s", 0.2, "short_bottom_pause"),
        ("bottom_pause_s", 3.0, "long_bottom_pause"),
        ("concentric_s", 0.5, "rushed_concentric"),
        ("concentric_s", 4.8, "slow_concentric"),
        ("top_pause_s", 0.2, "short_top_pause"),
        ("top_pause_s", 10.0, "long_top_pause"),
    ],
)
def test_each_phase_off_the_tempo_to_either_side_has_its_own_fault(
    measure: str, value_s: float, key: str
) -> None:
    asked = Prescription(tempo=parse_tempo("2-1-3-1"))
    kept = {"concentric_s": Quantity(3.0, 0.1)}
    (fault,) = faults_of(kept | {measure: Quantity(value_s, 0.1, view="side")}, asked)
    assert (fault.key, fault.verdict, fault.unit) == (key, "fault", "s")


@pytest.mark.parametrize("asked_s", [1.0, 2.0, 4.0])
def test_a_phase_may_be_off_by_three_tenths_or_a_quarter_whichever_is_more(
    asked_s: float,
) -> None:
    """Common practice; no published tolerance was found."""
    slack_s = max(0.3, asked_s / 4)
    asked = Prescription(tempo=parse_tempo(f"{asked_s:g}-1-X-1"))
    for off_s, key in [(-slack_s, "rushed_eccentric"), (slack_s, "slow_eccentric")]:
        inside, outside = asked_s + 0.98 * off_s, asked_s + 1.02 * off_s
        assert verdicts({"eccentric_s": Quantity(inside, 0.0)}, asked) == {}
        (fault,) = faults_of({"eccentric_s": Quantity(outside, 0.0)}, asked)
        assert fault.key == key and fault.limit == pytest.approx(asked_s + off_s)


def pressed_in(seconds: float, plus_minus: float = 0.1) -> dict[str, Quantity]:
    return {"concentric_s": Quantity(seconds, plus_minus)}


def test_as_fast_as_possible_is_held_to_a_ceiling_only_where_the_user_sets_one() -> None:
    ceiling = {"slow_concentric": 1.0}
    assert verdicts(pressed_in(3.5), DRIVEN) == {}, "a grinding press is no fault of its own"
    assert verdicts(pressed_in(0.2), DRIVEN, ceiling) == {}, "never too fast"
    assert verdicts(pressed_in(0.95), DRIVEN, ceiling) == {}
    assert verdicts(pressed_in(1.05), DRIVEN, ceiling) == {"slow_concentric": "borderline"}
    (fault,) = faults_of(pressed_in(1.5), DRIVEN, limits=ceiling)
    assert (fault.key, fault.limit) == ("slow_concentric", 1.0)


def test_a_counted_press_is_held_to_its_seconds_not_to_the_ceiling() -> None:
    asked = Prescription(tempo=parse_tempo("2-1-3-1"))
    assert verdicts(pressed_in(3.5), asked) == {}
    assert verdicts(pressed_in(4.5), asked) == {"slow_concentric": "fault"}


def test_a_pause_of_zero_asked_cannot_be_cut() -> None:
    asked = Prescription(tempo=parse_tempo("2-0-X-0"))
    none = {m: Quantity(0.0, 0.0) for m in ("bottom_pause_s", "top_pause_s")}
    assert verdicts(none, asked) == {}


def test_no_pause_asked_leaves_room_for_the_turn_and_for_no_rest() -> None:
    """A turn is slow for a tenth to a quarter of a second between the 5 % boundaries (computed)."""
    asked = Prescription(tempo=parse_tempo("2-0-X-0"))
    turns = {m: Quantity(0.3, 0.1) for m in ("bottom_pause_s", "top_pause_s")}
    assert verdicts(turns, asked) == {}
    rests = {m: Quantity(1.1, 0.2) for m in ("bottom_pause_s", "top_pause_s")}
    assert verdicts(rests, asked) == {"long_bottom_pause": "fault", "long_top_pause": "fault"}


def test_an_attempt_that_failed_is_only_that() -> None:
    wrong = {
        "pressed_up_percent": Quantity(40.0, 8.0, at_s=13.0),
        "elbow_bottom_deg": Quantity(130.0, 2.0),
        "bend_share_percent": Quantity(40.0, 10.0),
    }
    (fault,) = faults_of(wrong, DRIVEN)
    assert (fault.key, fault.verdict, fault.at_s) == ("failed", "fault", 13.0)


@pytest.mark.parametrize(("beyond_in_sds", "likely"), [(0.6, False), (0.75, True), (2.5, True)])
def test_odds_of_three_to_one_are_two_thirds_of_a_standard_deviation(
    beyond_in_sds: float, likely: bool
) -> None:
    """Computed: three quarters of a normal error lie below 0.674 SD; ± is 1.96 SD."""
    sd = 3.0
    deep = Quantity(90.0 + beyond_in_sds * sd, 1.96 * sd)
    (fault,) = faults_of({"elbow_bottom_deg": deep})
    assert likely_beyond(fault) == likely


def test_a_value_that_belongs_to_a_moment_is_called_there() -> None:
    peak = Quantity(20.0, 3.0, view="side", at_s=13.5)
    (fault,) = faults_of({"hip_deviation_deg": peak})
    assert fault.key == "hip_sag" and fault.at_s == 13.5
