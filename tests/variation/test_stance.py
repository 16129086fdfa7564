from __future__ import annotations

import numpy as np
import pytest

from formcheck.asked.prescription import Support, Surface
from formcheck.measures.plank import plank
from formcheck.signals.curves import Signals
from formcheck.signals.view import View
from formcheck.variation.stance import Stance, stance_at_top
from tests.coached import Leaning, reps
from tests.filmed import look_of
from tests.measures.handmade import FRONT, REAR, SIDE, look_at
from tests.measures.posed import ONE_REP, posed_signals
from tests.pinhole import Camera


def stance_of(
    signals: Signals,
    view: View = SIDE,
    support: Support | None = None,
    surface: Surface | None = None,
) -> Stance:
    return stance_at_top(look_at(signals, view, [ONE_REP]), support, surface)


def leaning_deg(height: float, support: Support) -> float:
    body = plank(height, support, reach=0.0)
    line = body["shoulder"][0] - body["knee" if support == "knees" else "ankle"][0]
    return float(np.degrees(np.arctan2(line[1], line[0])))


@pytest.mark.parametrize(
    ("height", "support", "surface"),
    [
        (0.0, "toes", "floor"),
        (0.0, "knees", "floor"),
        (0.4, "toes", "hands_raised"),
        (0.9, "toes", "hands_raised"),
        (1.3, "toes", "hands_raised"),
        (-0.4, "toes", "feet_raised"),
        (-0.9, "toes", "feet_raised"),
    ],
)
def test_support_surface_height_and_inclination_are_read(
    height: float, support: Support, surface: Surface
) -> None:
    stance = stance_of(posed_signals(plank(height, support, reach=0.0)))
    assert (stance.support, stance.surface) == (support, surface)
    assert stance.inclination_deg.value == pytest.approx(leaning_deg(height, support), abs=1.0)
    assert stance.height.value == pytest.approx(height, abs=0.05)
    assert min(stance.support_confidence, stance.surface_confidence) > 0.5


def test_a_body_leaning_on_its_hands_at_shoulder_height_is_at_a_wall() -> None:
    stance = stance_of(posed_signals(plank(2.2, reach=None)))
    assert stance.surface == "wall"
    assert stance.inclination_deg.value > 60


@pytest.mark.parametrize("roll_deg", [-4.0, 4.0])
def test_a_rolled_camera_on_the_floor_is_set_level_by_the_contacts(roll_deg: float) -> None:
    # Roll adds one to one to the body angle and nothing to joint angles (plane geometry).
    stance = stance_of(posed_signals(plank(reach=0.0), roll_deg))
    assert stance.surface == "floor"
    assert stance.slope_deg == pytest.approx(roll_deg, abs=1.0)
    assert stance.inclination_deg.value == pytest.approx(leaning_deg(0.0, "toes"), abs=1.0)


def test_with_raised_hands_a_roll_cannot_be_told_and_the_interval_says_so() -> None:
    level = stance_of(posed_signals(plank(0.9, reach=0.0)))
    rolled = stance_of(posed_signals(plank(0.9, reach=0.0), 3.0))
    off = abs(rolled.inclination_deg.value - level.inclination_deg.value)
    assert off == pytest.approx(3.0, abs=0.1)
    assert off < rolled.inclination_deg.plus_minus


def test_bent_knees_above_the_ankles_are_not_kneeling() -> None:
    body = plank(reach=0.0)
    body["knee"] = body["knee"] - np.array([[0.0, 0.03]])  # knees give way, still off the floor
    assert stance_of(posed_signals(body)).support == "toes"


def test_the_users_word_decides_what_the_level_is() -> None:
    signals = posed_signals(plank(0.4, reach=0.0))
    told = stance_of(signals, surface="floor")
    assert told.surface == "floor"
    assert told.height.value == 0.0


@pytest.mark.parametrize("view", [FRONT, REAR], ids=["front", "rear"])
def test_end_on_views_say_that_they_cannot_tell(view: View) -> None:
    stance = stance_of(posed_signals(plank()), view)
    assert stance.support is None and stance.surface is None
    assert not stance.inclination_deg.known and stance.inclination_deg.reason


def test_a_track_without_hands_and_feet_is_still_read() -> None:
    body = {k: v for k, v in plank(reach=0.0).items() if k not in ("toe", "heel", "knuckle", "ear")}
    stance = stance_of(posed_signals(body))
    assert (stance.support, stance.surface) == ("toes", "floor")


def test_a_free_hand_behind_the_back_is_not_a_raised_surface() -> None:
    signals = posed_signals(plank(reach=0.0))
    free = signals.points_px["right_hip"] - np.array([0.0, 40.0])
    for name in ("right_wrist", "right_index", "right_pinky"):
        signals.points_px[name][:] = free
    assert stance_of(signals).surface == "floor"
    # The same with the free hand on the camera's side.
    assert stance_of(signals, View("side", "right")).surface == "floor"


def test_a_free_near_hand_and_far_feet_out_of_sight_leave_the_surface_open() -> None:
    signals = posed_signals(plank(reach=0.0))
    free = signals.points_px["right_hip"] - np.array([0.0, 40.0])
    for name in ("right_wrist", "right_index", "right_pinky"):
        signals.points_px[name][:] = free
    for name in ("left_ankle", "left_heel", "left_foot_index"):
        signals.points_px[name][:] = np.nan
    stance = stance_of(signals, View("side", "right"))
    assert stance.surface is None and stance.inclination_deg.reason


@pytest.mark.parametrize(("lean_deg", "yaw_deg"), [(35.0, 45.0), (45.0, 60.0), (55.0, 45.0)])
def test_a_body_that_leans_steeply_on_a_bar_is_found_at_a_slant(
    lean_deg: float, yaw_deg: float
) -> None:
    """Turned up about its hands from the floor, where it stands at 16 degrees by its joints."""
    camera = Camera(yaw_deg=yaw_deg, height=1.0, aim=(-1.0, -0.3), distance=5.5)
    done = Leaning(course=reps(3), lean_deg=lean_deg)
    look = look_of(done.film(camera, noise_px=0.6))
    assert len(look.reps) == 3
    found = stance_at_top(look)
    assert found.surface == "hands_raised"
    assert abs(found.inclination_deg.value - (16.0 + lean_deg)) <= found.inclination_deg.plus_minus
