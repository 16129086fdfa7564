from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.asked.person import Person
from formcheck.asked.prescription import HandSpacing, Prescription
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.plank import plank
from formcheck.reps.look import Look
from formcheck.variation.recognise import hand_bounds, hand_class, recognise_variation
from tests.measures.handmade import FRONT, look_at
from tests.measures.posed import ONE_REP, posed_signals


def seen(height: float = 0.0) -> Look:
    return look_at(posed_signals(plank(height, reach=0.0)), reps=[ONE_REP])


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
    tall = Person(stature_m=1.74)
    found = recognise_variation([seen(1.0)], Prescription(), person=tall)
    assert found.surface_height_cm == pytest.approx(54.5, abs=4)
    assert recognise_variation([seen(1.0)], Prescription()).surface_height_cm is None


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [(0.4, "diamond"), (0.7, "close"), (1.0, "normal"), (1.35, "normal"), (2.1, "wide")],
)
def test_hand_classes_by_width(ratio: float, expected: str) -> None:
    # Limits are a convention from Cogley 2005, Kim 2016 and Green & Comfort 2007.
    assert hand_class(Quantity(ratio, 0.1)) == expected


@pytest.mark.parametrize("hands", ["diamond", "close", "normal", "wide"])
def test_a_width_within_the_bounds_of_a_class_is_of_that_class(hands: HandSpacing) -> None:
    least, most = hand_bounds(hands)
    middle = least + 0.2 if np.isinf(most) else (least + most) / 2
    assert hand_class(Quantity(middle, 0.1)) == hands
    assert hand_class(Quantity(most, 0.1)) != hands, "the bound itself begins the next"


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
    return look_at(signals, FRONT, reps)


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
    one = replace(look, signals=replace(look.signals, points_px=moved))
    found = recognise_variation([one], Prescription())
    assert found.arms == "one"
    assert found.arm_work.working == ("left",)


def test_long_pauses_are_holds() -> None:
    long = replace(ONE_REP, bottom_start_s=2.0, bottom_end_s=4.5, top_s=5.0, end_s=5.5)
    found = recognise_variation([replace(seen(), reps=(long,))], Prescription())
    assert found.holds == ("bottom",)
    assert recognise_variation([seen()], Prescription()).holds == ()


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
    look = look_at(posed_signals(plank()), FRONT, [ONE_REP])
    found = recognise_variation([look], Prescription())
    assert found.support is None and found.surface is None
    told = recognise_variation([look], Prescription(support="knees", surface="floor"))
    assert (told.support, told.surface) == ("knees", "floor")
