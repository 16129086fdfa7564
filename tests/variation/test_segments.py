from __future__ import annotations

import numpy as np
import pytest

from formcheck.asked.person import Person, Sex
from formcheck.measures.plank import plank
from formcheck.variation.segments import arm_m, arm_per_stature, body_segments, centre_of_mass


@pytest.mark.parametrize("sex", ["female", "male", None])
def test_segment_masses_add_up_to_the_body(sex: Sex | None) -> None:
    # de Leva 1996, J Biomech 29:1223-1230, Table 4: check sums 1.0000 (male), 0.9999 (female).
    assert sum(s.mass for s in body_segments(sex).values()) == pytest.approx(1.0, abs=2e-4)


def test_a_body_of_untold_sex_is_the_mean_of_both() -> None:
    female, male, either = (body_segments(sex) for sex in ("female", "male", None))
    for name, segment in either.items():
        for value in ("mass", "centre", "length"):
            both = (getattr(female[name], value) + getattr(male[name], value)) / 2
            assert getattr(segment, value) == pytest.approx(both, abs=1e-4)


def test_the_parts_between_shoulder_and_wrist_are_the_arm() -> None:
    # de Leva 1996, joint centres: upper arm and forearm 550.6 of 1741 mm (male).
    assert arm_per_stature("male") == pytest.approx(550.6 / 1741)


def test_a_body_folded_into_one_point_has_its_centre_there() -> None:
    joints = {
        name: np.array([[3.0, -2.0]])
        for name in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
    }
    assert centre_of_mass(joints, body_segments()) == pytest.approx(np.array([[3.0, -2.0]]))


def test_an_unseen_ear_hangs_the_head_on_the_trunk_axis() -> None:
    body = plank(reach=0.0)
    along = (body["shoulder"] - body["hip"]) / np.linalg.norm(body["shoulder"] - body["hip"])
    with_ear = body | {"ear": body["shoulder"] + 0.13 * along}
    apart = centre_of_mass(body, body_segments()) - centre_of_mass(with_ear, body_segments())
    assert np.abs(apart).max() < 0.002  # statures: under 4 mm


def test_a_tape_tells_an_arm_more_closely_than_the_stature_does() -> None:
    # Joint to joint 0.314 of stature (de Leva 1996, mean of both sexes). A tape on 0.340 and
    # 0.269 m of a man of 1.756 m (ANSUR 1988 means, from memory) has to agree with 0.316 of it.
    by_stature = arm_m(Person(1.756, sex="male"))
    by_tape = arm_m(Person(1.60, upper_arm_m=0.340, forearm_m=0.269))
    assert by_tape.value == pytest.approx(by_stature.value, rel=0.01)
    assert by_tape.plus_minus < by_stature.plus_minus
    assert not arm_m(Person(upper_arm_m=0.34)).known
