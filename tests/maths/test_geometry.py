"""What a single camera does to angles, against published values and their arithmetic.

Where a value is not printed in a paper but follows from geometry, it says "computed": the
number was worked out by hand from the formula beside it, not with formcheck.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.maths.geometry import (
    inclination_deg,
    joint_angle_deg,
    line_deviation_deg,
    usual_place,
)

FloatArray = npt.NDArray[np.float64]

# de Leva, J Biomech 1996;29:1223-1230, male: trunk from mid shoulder to mid hip, thigh + shank.
TRUNK_M, LEG_M = 0.5155, 0.4222 + 0.4403


def far_camera(points: FloatArray, yaw_deg: float = 0.0, roll_deg: float = 0.0) -> FloatArray:
    """World (..., 3), x along the body, z up, to the image of a very distant camera, y down."""
    yaw, roll = np.radians(yaw_deg), np.radians(roll_deg)
    across = points[..., 0] * np.cos(yaw) + points[..., 1] * np.sin(yaw)
    down = -points[..., 2]
    return np.stack(
        [
            across * np.cos(roll) - down * np.sin(roll),
            across * np.sin(roll) + down * np.cos(roll),
        ],
        axis=-1,
    )


def near_camera(points: FloatArray, distance_m: float, yaw_deg: float = 0.0) -> FloatArray:
    """The same with perspective: a pinhole ``distance_m`` from the world's origin."""
    yaw = np.radians(yaw_deg)
    flat = far_camera(points, yaw_deg)
    nearer = -points[..., 0] * np.sin(yaw) + points[..., 1] * np.cos(yaw)
    return np.asarray(flat / (distance_m - nearer)[..., None])


def in_the_side_plane(*x_and_height: tuple[float, float]) -> FloatArray:
    return np.array([(x, 0.0, z) for x, z in x_and_height])


def sagging_body(chord_deg: float, sag_deg: float) -> FloatArray:
    """Ankle, hip, shoulder; the ankle-shoulder chord rises by ``chord_deg``."""
    # law of sines: the share of the bend that falls to the leg
    leg_share = np.arctan2(
        TRUNK_M * np.sin(np.radians(sag_deg)), LEG_M + TRUNK_M * np.cos(np.radians(sag_deg))
    )
    leg = np.radians(chord_deg) - leg_share
    trunk = leg + np.radians(sag_deg)
    hip = LEG_M * np.array([np.cos(leg), np.sin(leg)])
    shoulder = hip + TRUNK_M * np.array([np.cos(trunk), np.sin(trunk)])
    return in_the_side_plane((0.0, 0.0), tuple(hip), tuple(shoulder))


def arm(elbow_deg: float, flare_deg: float) -> FloatArray:
    """Wrist, elbow, shoulder: forearm vertical, upper arm turned out of the side plane."""
    bend, out = np.radians(elbow_deg), np.radians(flare_deg)
    upper = np.array([np.sin(bend) * np.cos(out), np.sin(bend) * np.sin(out), -np.cos(bend)])
    elbow = np.array([0.0, 0.0, 0.25])
    return np.array([np.zeros(3), elbow, elbow + 0.28 * upper])


# Computed: 90 + atan(tan(true - 90) / cos(flare)).
FLARE_CASES = [
    (45, 70, 62.8), (45, 80, 76.0), (45, 90, 90.0), (45, 105, 110.8), (45, 120, 129.2),
    (45, 150, 157.8), (75, 80, 55.7), (75, 120, 155.9),
]  # fmt: skip


@pytest.mark.parametrize(("flare_deg", "true_deg", "seen_deg"), FLARE_CASES)
def test_flare_bends_the_image_of_the_elbow(
    flare_deg: float, true_deg: float, seen_deg: float
) -> None:
    wrist, elbow, shoulder = arm(true_deg, flare_deg)
    assert joint_angle_deg(wrist, elbow, shoulder) == pytest.approx(true_deg)
    image = far_camera(np.array([wrist, elbow, shoulder]))
    assert joint_angle_deg(*image) == pytest.approx(seen_deg, abs=0.06)


def test_below_20_degrees_out_of_plane_the_image_angle_is_nearly_the_true_one() -> None:
    """Stevens et al., Am J Phys Anthropol 2006;129:399-402: very little difference below 20
    degrees out of plane, beyond that the joint looks too extended. "Very little" is read here
    as less than their observers' few degrees: 2."""
    bent = np.arange(60.0, 170.0, 5.0)

    def too_straight_deg(flare_deg: float) -> FloatArray:
        images = [far_camera(np.array(arm(true_deg, flare_deg))) for true_deg in bent]
        return np.asarray([joint_angle_deg(*image) for image in images] - bent)

    assert np.abs(too_straight_deg(19.0)).max() < 2.0
    obtuse = bent > 95
    assert (too_straight_deg(50.0)[obtuse] > 0.0).all()
    assert too_straight_deg(50.0)[obtuse].max() > 10.0


@pytest.mark.parametrize("yaw_deg", [0, 10, 20, 30, 45, 70])
@pytest.mark.parametrize("distance_m", [2.0, 4.0])
def test_a_straight_body_stays_straight_at_any_yaw(yaw_deg: float, distance_m: float) -> None:
    """Computed: a straight line projects to a straight line in any perspective."""
    ankle, shoulder = np.array([-0.7, 0.1, -0.2]), np.array([0.7, 0.1, 0.3])
    hip = ankle + 0.6 * (shoulder - ankle)
    image = near_camera(np.array([shoulder, hip, ankle]), distance_m, yaw_deg)
    assert line_deviation_deg(*image) == pytest.approx(0.0, abs=1e-4)


# Computed: atan(tan(20) / cos(yaw)).
@pytest.mark.parametrize(
    ("yaw_deg", "seen_deg"), [(0, 20.0), (10, 20.3), (20, 21.2), (30, 22.8), (45, 27.2)]
)
def test_a_body_looks_steeper_when_the_camera_stands_off_the_side(
    yaw_deg: float, seen_deg: float
) -> None:
    ankle, _, shoulder = far_camera(sagging_body(20.0, 0.0), yaw_deg)
    assert inclination_deg(ankle, shoulder) == pytest.approx(seen_deg, abs=0.06)


# Computed for a hip that sags 15 degrees under a line rising by 20. How long trunk and leg are
# shifts it by a tenth of a degree or so.
@pytest.mark.parametrize(
    ("yaw_deg", "hip_angle_deg"),
    [(0, 165.0), (10, 164.8), (20, 164.3), (30, 163.4), (45, 161.3)],
)
def test_sag_looks_larger_when_the_camera_stands_off_the_side(
    yaw_deg: float, hip_angle_deg: float
) -> None:
    ankle, hip, shoulder = far_camera(sagging_body(20.0, 15.0), yaw_deg)
    assert 180 - line_deviation_deg(shoulder, hip, ankle) == pytest.approx(hip_angle_deg, abs=0.15)


@pytest.mark.parametrize("facing", [1.0, -1.0])
def test_sag_is_positive_and_pike_negative_whichever_way_the_body_faces(facing: float) -> None:
    """The sign convention of the report contract."""
    towards = np.array([facing, 1.0, 1.0])
    for sag_deg in (15.0, -15.0):
        ankle, hip, shoulder = far_camera(sagging_body(16.0, sag_deg) * towards)
        assert line_deviation_deg(shoulder, hip, ankle) == pytest.approx(sag_deg)


@pytest.mark.parametrize("roll_deg", [-5.0, 3.0, 10.0])
def test_roll_of_the_camera_turns_the_body_one_to_one_and_joints_not_at_all(
    roll_deg: float,
) -> None:
    """Computed: a rotation of the picture keeps angles between lines."""
    body = sagging_body(18.0, 12.0)
    ankle, hip, shoulder = far_camera(body, roll_deg=roll_deg)
    assert abs(inclination_deg(ankle, shoulder) - 18.0) == pytest.approx(abs(roll_deg))
    assert line_deviation_deg(shoulder, hip, ankle) == pytest.approx(12.0)


# Computed: 0.2 / (distance - 0.2).
@pytest.mark.parametrize(
    ("distance_m", "share"), [(2.0, 0.111), (3.0, 0.071), (4.0, 0.053), (5.0, 0.042)]
)
def test_a_point_nearer_than_the_scale_plane_looks_larger(distance_m: float, share: float) -> None:
    stick = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    nearer = stick + np.array([0.0, 0.2, 0.0])

    def height(points: FloatArray) -> float:
        image = near_camera(points, distance_m)
        return float(np.linalg.norm(image[1] - image[0]))

    assert height(nearer) / height(stick) - 1 == pytest.approx(share, abs=6e-4)


def test_a_joint_whose_segment_has_no_length_has_no_angle() -> None:
    point = np.array([1.0, 1.0])
    assert np.isnan(joint_angle_deg(point, point, np.array([2.0, 1.0])))


def test_the_usual_place_takes_no_more_room_for_a_point_that_is_far_off() -> None:
    hand = np.full((300, 2), 100.0) + np.random.default_rng(0).normal(0, 0.5, (300, 2))
    hand[7] = [1e7, -1e7]
    assert usual_place(hand, 5.0, within=0.5) == pytest.approx([100.0, 100.0], abs=1e4)
    hand[7] = [2000.0, 2000.0]
    assert usual_place(hand, 5.0, within=0.5) == pytest.approx([100.0, 100.0], abs=0.3)


def test_the_usual_place_of_what_never_moves_is_where_it_is() -> None:
    still = np.full((9, 2), 7.0)
    assert usual_place(still, 0.0, within=0.5).tolist() == [7.0, 7.0]
    assert usual_place(still, 5.0, within=0.5).tolist() == [7.0, 7.0]
