from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.asked.prescription import Prescription
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.plank import plank
from formcheck.signals.view import View
from formcheck.variation.recognise import Look, hand_class, recognise_variation
from tests.measures.posed import ONE_REP, posed_signals

SIDE, FRONT = View("side", "left"), View("front", None, 90.0)


def seen(height: float = 0.0, asked: Prescription | None = None) -> Look:
    return Look(SIDE, posed_signals(plank(height, reach=0.0)), [ONE_REP])


def test_the_users_word_wins_and_the_disagreement_is_said() -> None:
    told = recognise_variation([seen(0.6)], Prescription(surface="floor"))
    assert told.surface == "floor"
    (found,) = told.disagreements
    assert (found.about, found.told, found.seen) == ("surface", "floor", "hands_raised")
    assert found.sure > 0.6
    agreed = recognise_variation([seen(0.6)], Prescription(surface="hands_raised"))
    assert agreed.disagreements == ()


def test_height_is_in_centimetres_once_the_stature_is_known() -> None:
    # Arm from shoulder to wrist joint 0.314 of stature (de Leva 1996, mean of both sexes).
    found = recognise_variation([seen(1.0)], Prescription(stature_m=1.74))
    assert found.surface_height_cm == pytest.approx(54.5, abs=4)
    assert recognise_variation([seen(1.0)], Prescription()).surface_height_cm is None


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [(0.4, "diamond"), (0.7, "close"), (1.0, "normal"), (1.35, "normal"), (2.1, "wide")],
)
def test_hand_classes_by_width(ratio: float, expected: str) -> None:
    # Limits are a convention from Cogley 2005, Kim 2016 and Green & Comfort 2007.
    assert hand_class(Quantity(ratio, 0.1)) == expected


def test_an_unmeasured_width_has_no_class() -> None:
    assert hand_class(not_measured("from the side one hand hides the other")) is None


def test_a_width_near_a_limit_is_less_sure() -> None:
    near, far = (
        recognise_variation([seen()], Prescription(), Quantity(ratio, 0.1)).confidence["hands"]
        for ratio in (1.48, 1.2)
    )
    assert near < 0.75 < 0.95 < far


def archer_look(elbows: list[tuple[float, float]]) -> Look:
    """From the front, one pair of elbow angles (left, right) a rep of four seconds."""
    signals = posed_signals(plank(), seconds=4.0 * len(elbows))
    rep = np.minimum((signals.t_s // 4.0).astype(int), len(elbows) - 1)
    angles = np.array(elbows)[rep]
    signals = replace(signals, elbow_left_deg=angles[:, 0], elbow_right_deg=angles[:, 1])
    reps = [
        replace(ONE_REP, index=i + 1, start_s=4 * i + 0.5, bottom_s=4 * i + 2.0, end_s=4 * i + 4.0)
        for i in range(len(elbows))
    ]
    return Look(FRONT, signals, reps)


def test_an_archer_bends_one_arm_and_the_sides_take_turns() -> None:
    found = recognise_variation([archer_look([(80, 170), (168, 82), (84, 172)])], Prescription())
    assert found.arms == "archer"
    assert found.arm_work.working == ("left", "right", "left")
    assert found.arm_work.pattern == "alternating"
    assert found.arm_work.assisting_reach.known


def test_an_archer_may_stay_on_one_side() -> None:
    found = recognise_variation([archer_look([(80, 170), (82, 168)])], Prescription())
    assert found.arm_work.pattern == "same_side"


def test_two_bent_arms_are_two_arms() -> None:
    found = recognise_variation([archer_look([(80, 84), (82, 88)])], Prescription())
    assert found.arms == "two"
    assert found.arm_work.working == ()


def test_a_hand_off_the_floor_is_one_arm() -> None:
    look = seen()
    up = look.signals.points_px["right_hip"] - np.array([0.0, 60.0])
    moved = {**look.signals.points_px, "right_wrist": up}
    one = Look(SIDE, replace(look.signals, points_px=moved), look.reps)
    found = recognise_variation([one], Prescription())
    assert found.arms == "one"
    assert found.arm_work.working == ("left",)


def test_long_pauses_are_holds() -> None:
    long = replace(ONE_REP, bottom_start_s=2.0, bottom_end_s=4.5, top_s=5.0, end_s=5.5)
    found = recognise_variation([Look(SIDE, seen().signals, [long])], Prescription())
    assert found.holds == ("bottom",)
    assert recognise_variation([seen()], Prescription()).holds == ()


def held(line_deg: np.ndarray) -> Look:
    signals = posed_signals(plank(reach=0.0), seconds=len(line_deg) / 30, body_line_deg=line_deg)
    return Look(SIDE, signals, [])


def test_a_hold_without_reps_is_timed_and_its_line_watched() -> None:
    line = np.concatenate([np.full(600, 3.0), np.full(300, 18.0)])  # 20 s straight, 10 s sagging
    hold = recognise_variation([held(line)], Prescription()).support_hold
    assert hold is not None
    assert hold.held_s == pytest.approx(30.0, abs=0.1)
    assert hold.broke_at_s == pytest.approx(20.0, abs=0.1)
    assert hold.drift_deg_per_min > 10
    straight = recognise_variation([held(np.full(900, 3.0))], Prescription()).support_hold
    assert straight is not None and straight.unclear_at_s is None


def test_a_line_that_may_be_landmark_error_does_not_break_a_hold() -> None:
    hold = recognise_variation([held(np.full(900, 13.0))], Prescription()).support_hold
    assert hold is not None and hold.broke_at_s is None and hold.unclear_at_s == hold.start_s
    assert hold.line_deg.value - hold.line_deg.plus_minus < 12.0  # the limit
    assert hold.line_deg.plus_minus > 2.0  # a still line is not a certain one
    sure = recognise_variation([held(np.full(900, 25.0))], Prescription()).support_hold
    assert sure is not None and sure.broke_at_s == sure.start_s


def test_a_short_dip_does_not_break_a_hold() -> None:
    line = np.full(900, 3.0)
    line[300:320] = 18.0  # two thirds of a second
    hold = recognise_variation([held(line)], Prescription()).support_hold
    assert hold is not None and hold.broke_at_s is None


def test_on_the_knees_a_hold_is_watched_along_the_line_to_the_knees() -> None:
    """The shanks lie on the floor: the line to the ankles bends there in everyone."""
    look = held(np.full(900, -30.0))
    knees = replace(look.signals, body_line_knee_deg=np.full(900, 3.0))
    asked = Prescription(support="knees")
    hold = recognise_variation([replace(look, signals=knees)], asked).support_hold
    assert hold is not None and hold.broke_at_s is None
    assert hold.line_deg.value == pytest.approx(3.0)


def test_what_no_clip_shows_is_carried_as_declared() -> None:
    asked = Prescription(
        added_load_kg=10.0, added_load_place="vest", rings=True, rings_turned_out=True,
        supinated_hands=True,
    )  # fmt: skip
    assert recognise_variation([seen()], asked).declared == {
        "added_load_kg": 10.0,
        "added_load_place": "vest",
        "rings": True,
        "rings_turned_out": True,
        "supinated_hands": True,
    }


def test_from_the_front_alone_the_stance_stays_open() -> None:
    found = recognise_variation([Look(FRONT, posed_signals(plank()), [ONE_REP])], Prescription())
    assert found.support is None and found.surface is None
    told = recognise_variation(
        [Look(FRONT, posed_signals(plank()), [ONE_REP])],
        Prescription(support="knees", surface="floor"),
    )
    assert (told.support, told.surface) == ("knees", "floor")
