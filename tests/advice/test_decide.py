"""Easier, the same or harder: what may never be, and what the figures of the ladder decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from formcheck.advice.decide import Decision, SetRecord, decide
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.hold import NOT_BROKEN, HoldVerdict
from formcheck.faults.rules import Fault, Verdict
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.hold import SupportHold

CLEAN = SetRecord(good=[True] * 12, counted=12, faults=(), not_judged=())


def marked(
    key: str, reps: Sequence[int], attempts: int = 12, verdict: Verdict = "fault"
) -> SetRecord:
    faults = [Fault(rep, key, 1.0, 20.0, 3.0, 12.0, "deg", verdict, "side") for rep in reps]
    good = [verdict != "fault" or rep not in reps for rep in range(1, attempts + 1)]
    return SetRecord(good, sum(good), faults, ())


def codes(decision: Decision) -> list[str]:
    return [reason.code for reason in decision.why]


@pytest.mark.parametrize("key", ["shallow", "soft_lockout", "hip_sag", "hip_pike", "aborted"])
@pytest.mark.parametrize("reps", [(8, 9), (1, 2, 3, 4), range(1, 13)])
def test_reps_short_of_what_was_asked_never_earn_a_harder_set(
    key: str, reps: Sequence[int]
) -> None:
    for target in (None, 12):
        decision = decide(marked(key, reps), Prescription(target_reps=target))
        assert decision.direction != "harder"
        assert decision.why[1].code == "broke_down" and decision.why[1].data["rep"] == min(reps)


@pytest.mark.parametrize("key", ["shallow", "hip_sag"])
def test_early_is_before_half_of_the_reps_wanted(key: str) -> None:
    asked = Prescription(target_reps=8)
    assert decide(marked(key, range(4, 9), 8), asked).direction == "easier"
    assert decide(marked(key, range(6, 9), 8), asked).direction == "same"


@pytest.mark.parametrize("key", ["soft_lockout", "hip_pike", "rushed_eccentric", "elbow_flare"])
def test_what_is_no_lack_of_strength_is_not_made_lighter(key: str) -> None:
    decision = decide(marked(key, range(1, 9), 8), Prescription())
    assert decision.direction == "same" and "remedy" in codes(decision)


@pytest.mark.parametrize(("left", "direction", "bigger"), [
    (0, "same", False), (1, "harder", False), (3, "harder", False), (4, "harder", True),
])  # fmt: skip
def test_reps_left_decide_whether_and_how_far(left: int, direction: str, bigger: bool) -> None:
    decision = decide(CLEAN, Prescription(reps_left=left))
    assert (decision.direction, decision.bigger) == (direction, bigger)


def test_a_range_of_the_users_own_is_the_one_built_up_to() -> None:
    assert decide(CLEAN, Prescription(rep_range=(10, 15))).direction == "same"
    assert decide(CLEAN, Prescription(rep_range=(5, 10))).direction == "harder"


def test_a_target_of_two_earns_nothing() -> None:
    two = replace(CLEAN, good=[True] * 2, counted=2)
    decision = decide(two, Prescription(target_reps=2))
    assert decision.direction == "same" and "few_reps" in codes(decision)


def test_a_rep_that_failed_is_no_fault_that_training_allows() -> None:
    fails = marked("failed", (12,))
    decision = decide(fails, Prescription(target_reps=12))
    assert decision.direction == "same" and codes(decision)[0] == "failed"


def test_faults_allowed_by_the_prescription_stand_in_no_way() -> None:
    two_off = marked("shallow", (3, 9))
    for allowed, direction in ((0, "same"), (1, "same"), (2, "harder")):
        asked = Prescription(target_reps=12, allow_faulty=allowed)
        assert decide(two_off, asked).direction == direction


def test_a_test_allows_none_unless_it_is_told_to() -> None:
    one_off = marked("shallow", (5,))
    assert decide(one_off, Prescription(target_reps=12)).direction == "harder"
    in_a_test = Prescription(target_reps=12, standard="one-minute")
    assert decide(one_off, in_a_test).direction == "same"


@pytest.mark.parametrize("key", ["shallow", "soft_lockout", "hip_sag", "hip_pike"])
def test_what_was_not_judged_is_not_advised_on(key: str) -> None:
    decision = decide(replace(CLEAN, not_judged={key}), Prescription())
    assert decision.direction == "same" and "unseen" in codes(decision)


def test_one_line_too_close_to_call_holds_the_step_back_one_depth_does_not() -> None:
    def of(key: str, *reps: int) -> str:
        return decide(marked(key, reps, verdict="borderline"), Prescription()).direction

    assert of("hip_sag", 8) == "same"
    assert of("shallow", 8) == "harder"
    assert of("shallow", *range(5, 13)) == "same"
    assert of("elbow_flare", 8) == "harder"
    assert of("elbow_flare", *range(5, 13)) == "same"


def test_speed_loss_is_told_and_decides_nothing() -> None:
    slowed = replace(CLEAN, speed_loss_percent=55.0, press_s=[0.8] * 11 + [2.4])
    fast, counted = (Prescription(tempo=parse_tempo(text)) for text in ("2-1-X-1", "2-1-2-1"))
    assert decide(slowed, fast).direction == decide(slowed, counted).direction == "harder"
    assert {"slowed", "ground"} <= set(codes(decide(slowed, fast)))
    assert not {"slowed", "ground"} & set(codes(decide(slowed, counted)))


@pytest.mark.parametrize(
    "record", [CLEAN, marked("shallow", range(1, 13)), replace(CLEAN, good=())]
)
def test_pain_ends_all_other_advice(record: SetRecord) -> None:
    decision = decide(record, Prescription(pain="shoulder"))
    assert decision.direction == "easier" and codes(decision) == ["pain"]


# --- holds


def held(seconds: float, line: Quantity | None = None) -> SupportHold:
    empty = np.zeros(0)
    return SupportHold(0.0, seconds, line or Quantity(2.0, 2.0), 1.0, empty, empty, empty, 2.0, 2.0)


@pytest.mark.parametrize(
    ("seconds", "verdict", "direction", "code"),
    [
        (45.0, NOT_BROKEN, "harder", "hold_earns_reps"),
        (20.0, NOT_BROKEN, "same", "hold"),
        (45.0, HoldVerdict(broke_at_s=35.0, unclear_at_s=30.0), "same", "hold_broke"),
        (45.0, HoldVerdict(broke_at_s=10.0, unclear_at_s=9.0), "easier", "hold_broke"),
        (45.0, HoldVerdict(unclear_at_s=20.0), "same", "hold_unclear"),
    ],
)
def test_a_set_without_reps_is_judged_as_a_hold(
    seconds: float, verdict: HoldVerdict, direction: str, code: str
) -> None:
    record = SetRecord((), 0, (), (), hold=held(seconds), hold_verdict=verdict)
    decision = decide(record, Prescription())
    assert decision.direction == direction and codes(decision)[-1] == code


def test_a_hold_whose_line_does_not_show_earns_nothing() -> None:
    record = SetRecord((), 0, (), (), hold=held(45.0, not_measured("from the front")))
    assert decide(record, Prescription()).direction == "same"
    assert decide(SetRecord((), 0, (), ()), Prescription()).direction == "same"
