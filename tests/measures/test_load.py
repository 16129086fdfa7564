from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.asked.prescription import Prescription
from formcheck.maths.quantity import Quantity
from formcheck.measures.load import (
    KNEES_BIAS,
    arm_loads,
    left_part,
    load_over_time,
    rep_loads,
)
from formcheck.measures.plank import plank, plank_load, worn_load_share
from formcheck.signals.view import View
from formcheck.variation.recognise import ArmWork, Look, Variation, recognise_variation
from formcheck.variation.stance import Support, Surface
from tests.measures.posed import ONE_REP, PX_PER_STATURE, posed_signals

SIDE = View("side", "left")


def curve_of(
    asked: Prescription | None = None, support: Support = "toes", roll_deg: float = 0.0
) -> tuple[Quantity, tuple[str, ...]]:
    signals = posed_signals(plank(0.0, support), roll_deg)
    asked = asked or Prescription()
    variation = recognise_variation([Look(SIDE, signals, [ONE_REP])], asked)
    curve = load_over_time(signals, SIDE, variation, asked)
    return rep_loads(curve, signals, [ONE_REP])[0]["load_fraction"], curve.remarks


@pytest.mark.parametrize("roll_deg", [-3.0, 0.0, 3.0])
def test_a_posed_body_reads_as_its_posture_whatever_the_roll(roll_deg: float) -> None:
    share, _ = curve_of(roll_deg=roll_deg)
    assert share.value == pytest.approx(plank_load(), abs=0.005)
    assert share.plus_minus == pytest.approx(0.04)


def test_knees_say_their_bias() -> None:
    share, remarks = curve_of(support="knees")
    assert KNEES_BIAS in remarks
    assert share.plus_minus >= 0.10


def test_added_load_counts_when_the_body_mass_is_known() -> None:
    bare, _ = curve_of()
    vest = Prescription(added_load_kg=8.0, added_load_place="vest", body_mass_kg=80.0)
    loaded, _ = curve_of(vest)
    assert loaded.value - bare.value == pytest.approx(0.1 * worn_load_share("vest"), abs=0.005)
    unknown, remarks = curve_of(replace(vest, body_mass_kg=None))
    assert unknown.value == pytest.approx(bare.value)
    assert any("give the body mass" in remark for remark in remarks)


@pytest.mark.parametrize("kind", ["front", "rear", "oblique"])
def test_views_that_do_not_show_the_load_say_why(kind: str) -> None:
    signals = posed_signals(plank())
    view = View(kind, "left" if kind == "oblique" else None, 45.0)  # type: ignore[arg-type]
    variation = recognise_variation([Look(view, signals, [ONE_REP])], Prescription())
    share = rep_loads(load_over_time(signals, view, variation, Prescription()), signals, [ONE_REP])[
        0
    ]["load_fraction"]
    assert not share.known
    assert share.reason is not None and "side" in share.reason


def two_armed(arms: str, work: ArmWork) -> Variation:
    unknown = Quantity(0.0, 0.0)
    surface: Surface = "floor"
    return Variation("toes", surface, unknown, None, arms, unknown, arm_work=work)  # type: ignore[arg-type]


def test_one_arm_bears_all_of_it() -> None:
    loads = [{"load_fraction_bottom": Quantity(0.7, 0.04)}]
    split = arm_loads(loads, two_armed("one", ArmWork("one", 1.0, ("right",))))[0]
    assert split["load_fraction_right"].value == pytest.approx(0.7)
    assert split["load_fraction_left"].value == 0.0


def test_an_archer_loads_the_hand_the_body_is_over() -> None:
    frames = 135
    across = {"left_wrist": 100.0, "right_wrist": 500.0}
    across |= {
        f"{side}_{joint}": 200.0 for side in ("left", "right") for joint in ("shoulder", "hip")
    }
    moved = {
        name: np.column_stack([np.full(frames, x), np.zeros(frames)]) for name, x in across.items()
    }
    front = posed_signals(plank(), moved=moved)
    assert len(front.t_s) == frames
    # Body a quarter of the way from the left hand: three quarters of the load on it.
    assert left_part(front, ONE_REP).value == pytest.approx(0.75)
    loads = [{"load_fraction_bottom": Quantity(0.6, 0.04)}]
    split = arm_loads(loads, two_armed("archer", ArmWork("archer", 1.0)), front, [ONE_REP])[0]
    assert split["load_fraction_left"].value == pytest.approx(0.45)
    assert split["load_fraction_left"].plus_minus > 0.04
    alone = arm_loads(loads, two_armed("archer", ArmWork("archer", 1.0)))[0]
    assert not alone["load_fraction_left"].known


def test_landmarks_sliding_with_the_elbow_do_not_move_the_hands() -> None:
    # A wrist that slides two centimetres in step with the reach is the model's error.
    still = posed_signals(plank())
    bent = 1.0 - 0.3 * np.abs(np.sin(2 * np.pi * still.t_s / 3))
    slid = still.points_px["left_wrist"].copy()
    slid[:, 0] += 0.012 * PX_PER_STATURE * (1 - bent) / 0.3
    sliding = replace(still, reach=bent, points_px={**still.points_px, "left_wrist": slid})
    variation = recognise_variation([Look(SIDE, sliding, [ONE_REP])], Prescription())
    share = load_over_time(sliding, SIDE, variation, Prescription()).share
    assert np.ptp(share) < 0.004
