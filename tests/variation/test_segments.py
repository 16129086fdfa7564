from __future__ import annotations

import numpy as np
import pytest

from formcheck.asked.person import Sex
from formcheck.measures.plank import plank
from formcheck.variation.segments import body_segments, centre_of_mass


@pytest.mark.parametrize("sex", ["female", "male", None])
def test_segment_masses_add_up_to_the_body(sex: Sex | None) -> None:
    # de Leva 1996, J Biomech 29:1223-1230, Table 4: check sums 1.0000 (male), 0.9999 (female).
    assert sum(s.mass for s in body_segments(sex).values()) == pytest.approx(1.0, abs=2e-4)


def test_head_is_seven_percent_and_the_shank_uses_the_ankle_joint() -> None:
    # de Leva 1996: head 6.94 % (male), not 0.694; shank centre 43.95 % of knee to ankle *joint*,
    # where 44.59 % belongs to the lateral malleolus.
    male = body_segments("male")
    assert male["head"].mass == pytest.approx(0.0694)
    assert male["shank"].centre == pytest.approx(0.4395)


def test_the_sexes_differ_most_in_where_the_trunk_is_heavy() -> None:
    # de Leva 1996, MIDS-MIDH: 37.82 % (female), 43.10 % (male) of the way down.
    assert body_segments("female")["trunk"].centre == pytest.approx(0.3782)
    assert body_segments("male")["trunk"].centre == pytest.approx(0.4310)
    assert body_segments()["trunk"].centre == pytest.approx((0.3782 + 0.4310) / 2)


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
