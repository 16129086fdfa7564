"""How far the elbows bend and straighten, read off elbow curves drawn by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.depth import (
    ARM_LOST,
    ELBOW_HIDDEN,
    JITTERY,
    MOST_NOISE,
    bend_share,
    elbow_bottom,
    elbow_top,
    range_loss_deg,
    shoulder_height_bottom,
    upper_arm_bottom,
)
from formcheck.signals.calibration import NOT_ONE_BODY, ONE_BODY
from tests.filmed import look_of
from tests.measures.handmade import FRONT, OBLIQUE, REAR, REP, SIDE, T_S, drawn, look_at, through
from tests.pinhole import Camera, PushUpSet

BENT = through((2, 170), (3, 82), (4, 84), (5, 168))
FIVE = np.full(len(T_S), 5.0)
pytestmark = pytest.mark.usefixtures("exact_joints")
SEEN = drawn(elbow_deg=BENT, elbow_sd_deg=FIVE)


def test_the_bottom_is_the_smallest_angle_of_the_rep() -> None:
    bottom = elbow_bottom(look_at(SEEN), REP)
    assert (bottom.value, bottom.view) == (82.0, "side")
    assert bottom.plus_minus == pytest.approx(1.96 * 5.0)


def test_a_deeper_bend_outside_the_rep_does_not_count_for_it() -> None:
    deeper = replace(SEEN, elbow_deg=np.where(T_S > 6.5, 60.0, BENT))
    assert elbow_bottom(look_at(deeper), REP).value == 82.0


def test_the_top_is_the_straightest_after_pressing_up() -> None:
    straightens = through((5, 150), (5.5, 168), (6, 168))
    assert elbow_top(look_at(replace(SEEN, elbow_deg=straightens)), REP).value == pytest.approx(
        168.0
    )


def test_one_frame_that_jumps_straight_is_not_the_top() -> None:
    jumps = np.where(np.abs(T_S - 5.5) < 0.02, 179.0, np.where(T_S > 4.9, 152.0, BENT))
    assert elbow_top(look_at(replace(SEEN, elbow_deg=jumps)), REP).value == pytest.approx(152.0)


def test_straightening_after_the_rep_has_long_ended_does_not_count() -> None:
    rests = replace(REP, end_s=8.0)
    late = through((5, 150), (7.0, 150), (7.2, 175))
    assert elbow_top(look_at(replace(SEEN, elbow_deg=late)), rests).value == pytest.approx(150.0)


def test_a_hidden_arm_says_so() -> None:
    hidden = replace(SEEN, elbow_deg=np.where((T_S > 1.9) & (T_S < 6.1), np.nan, BENT))
    for measured in (elbow_bottom(look_at(hidden), REP), elbow_top(look_at(hidden), REP)):
        assert not measured.known and measured.reason == ELBOW_HIDDEN


def test_a_bottom_that_was_only_filled_in_is_not_measured() -> None:
    lost = replace(SEEN, bridged=np.abs(T_S - REP.bottom_s) < 0.2)
    assert elbow_bottom(look_at(lost), REP).reason == ARM_LOST
    assert elbow_top(look_at(lost), REP).known


def test_landmarks_that_jitter_too_much_tell_no_angle() -> None:
    for noise, known in [(MOST_NOISE * 0.9, True), (MOST_NOISE * 1.1, False)]:
        shaky = replace(SEEN, noise=noise)
        for measured in (elbow_bottom(look_at(shaky), REP), elbow_top(look_at(shaky), REP)):
            assert measured.known == known
            assert known or measured.reason == JITTERY


def test_landmarks_that_fit_no_one_body_tell_no_angle() -> None:
    strange = look_at(replace(SEEN, misfit=ONE_BODY + 0.1))
    for measured in (elbow_bottom(strange, REP), elbow_top(strange, REP)):
        assert measured.reason == NOT_ONE_BODY


@pytest.mark.parametrize("camera", [Camera(yaw_deg=10.0, aim=(-1.2, 0.5)), Camera()])
def test_the_upper_arm_above_parallel_is_positive(camera: Camera) -> None:
    """The elbow end lies below the shoulder end by the sine of the angle."""
    for bottom_deg in (70.0, 115.0):
        done = PushUpSet(bottoms_deg=(bottom_deg,) * 3)
        look = look_of(done.film(camera))
        joints = done.joints(np.array(done.bottoms_s()[:1]))
        upper = (joints["left_elbow"] - joints["left_shoulder"])[0]
        true = np.degrees(np.arcsin(upper[2] / np.linalg.norm(upper)))
        measured = upper_arm_bottom(look, look.reps[0])
        assert measured.value == pytest.approx(-true, abs=5.0)


def test_the_shoulders_lowest_height_is_that_of_the_bottom() -> None:
    height = through((2, 0.98), (3, 0.42), (4, 0.42), (5, 0.98))
    signals = drawn(shoulder_height=height)
    assert shoulder_height_bottom(look_at(signals), REP).value == pytest.approx(0.42)
    assert shoulder_height_bottom(look_at(drawn()), REP).reason == ELBOW_HIDDEN


def test_a_bend_whose_turn_was_not_seen_has_no_share_and_says_why() -> None:
    assert bend_share(look_at(SEEN), replace(REP, bend_share_percent=56.0)).value == 56.0
    assert bend_share(look_at(SEEN), replace(REP, bend_share_percent=math.nan)).reason == ARM_LOST


def test_range_loss_is_what_the_last_rep_lacks_of_the_deepest() -> None:
    bottoms = [Quantity(v) for v in (85.0, 80.0, 90.0, 101.0)]
    assert range_loss_deg(bottoms) == pytest.approx(21.0)
    assert range_loss_deg([*bottoms, not_measured("hidden")]) == pytest.approx(21.0)
    assert np.isnan(range_loss_deg(bottoms[:1]))


def test_every_measured_end_names_the_view_that_showed_it() -> None:
    for view in (SIDE, OBLIQUE, FRONT):
        assert elbow_bottom(look_at(SEEN, view), REP).view == view.kind
    assert not upper_arm_bottom(look_at(SEEN, REAR), REP).known
