"""A body placed from its parameters has the lengths, angles and picture that they say."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.maths.geometry import length
from formcheck.signals.body_model import (
    POSE,
    SET,
    SIDES,
    elbow_deg,
    flare_deg,
    line_deg,
    place,
    project,
    rise_deg,
)

FloatArray = npt.NDArray[np.float64]

BODY = {
    "yaw": 0.0, "pitch": 0.1, "roll": 0.0, "log_focal": -0.3, "right": 0.0, "down": 0.0,
    "log_distance": 1.6, "upper_per_fore": 1.09, "shoulders": 0.345, "hips": 0.22, "trunk": 0.935,
    "thigh": 0.77, "shank": 0.86, "neck": 0.45, "ears": 0.15, "hands": 0.47, "feet": 0.2,
    "leg": 0.0, "swivel": 0.8, "arm": 0.0,
}  # fmt: skip


def of_set(**changed: float) -> FloatArray:
    return np.array([(BODY | changed)[name] for name in SET])


def pose(**degrees: float) -> FloatArray:
    return np.radians([degrees.get(name, 0.0) for name in POSE])


@pytest.mark.parametrize("bend", [5.0, 60.0, 110.0])
def test_an_arm_bends_as_it_is_told_and_keeps_its_lengths(bend: float) -> None:
    bodies = place(of_set(), pose(bend=bend, trunk=18.0), on_knees=False)
    for side in SIDES:
        assert elbow_deg(bodies, side) == pytest.approx(180.0 - bend)
        at = bodies.joint
        upper = length(at[f"{side}_shoulder"] - at[f"{side}_elbow"])
        fore = length(at[f"{side}_elbow"] - at[f"{side}_wrist"])
        assert upper + fore == pytest.approx(1.0) and upper / fore == pytest.approx(1.09)


def test_uneven_arms_differ_by_twice_what_they_are_uneven_by() -> None:
    bodies = place(of_set(), pose(bend=80.0, uneven=6.0, trunk=10.0), on_knees=False)
    assert elbow_deg(bodies, "right") - elbow_deg(bodies, "left") == pytest.approx(12.0)
    assert bodies.joint["left_shoulder"][2] < bodies.joint["right_shoulder"][2]


def test_hips_below_the_line_are_positive_and_above_it_negative() -> None:
    for line in (12.0, -9.0):
        bodies = place(of_set(), pose(bend=10.0, trunk=15.0, line=line), on_knees=False)
        for end in ("knee", "ankle"):
            assert line_deg(bodies, end) == pytest.approx(line)


def test_on_the_knees_the_shanks_keep_their_slope_whatever_the_hips_do() -> None:
    for line in (0.0, 15.0):
        at = place(of_set(leg=0.14), pose(bend=10.0, trunk=30.0, line=line), on_knees=True)
        shank = rise_deg(at.middle("knee"), at.middle("ankle"))
        assert 180.0 - shank == pytest.approx(np.degrees(0.14))


def test_elbows_turned_out_flare_more() -> None:
    tucked, out = (
        flare_deg(place(of_set(), pose(bend=95.0, trunk=8.0, turn=turn), False), "left")
        for turn in (-20.0, 25.0)
    )
    assert out > tucked + 20.0


@pytest.mark.parametrize(("yaw", "head_goes"), [(0.0, (-1.0, 0.0)), (np.pi, (1.0, 0.0))])
def test_from_the_left_the_head_points_left_and_from_the_right_it_points_right(
    yaw: float, head_goes: tuple[float, float]
) -> None:
    camera = of_set(yaw=yaw, pitch=0.0)
    seen = project(camera, np.array([[0.0, 0.0, 0.0], [0.1, 0.0, 0.0], [0.0, 0.0, 0.1]]))
    along, up = seen[1] - seen[0], seen[2] - seen[0]
    assert np.sign(along[0]) == head_goes[0] and along[1] == pytest.approx(0.0)
    assert up[0] == pytest.approx(0.0) and up[1] < 0.0, "y points down in a picture"


def test_what_is_nearer_the_camera_is_larger() -> None:
    camera = of_set(yaw=0.0, pitch=0.0)
    near, far = (
        np.diff(project(camera, np.array([[0.0, y, 0.0], [0.0, y, 0.5]])), axis=0)[0, 1]
        for y in (0.4, -0.4)
    )
    distance = np.exp(BODY["log_distance"])
    assert near / far == pytest.approx((distance + 0.4) / (distance - 0.4))


def test_many_bodies_are_placed_as_each_alone() -> None:
    sets = np.stack([of_set(), of_set(trunk=0.9, hands=0.5)])
    poses = np.stack([pose(bend=20.0, trunk=15.0), pose(bend=80.0, trunk=5.0, line=8.0)])
    together = place(sets[:, None], poses[None], False).joint["left_elbow"]
    for i in range(2):
        for j in range(2):
            alone = place(sets[i], poses[j], False).joint["left_elbow"]
            assert together[i, j] == pytest.approx(alone)
