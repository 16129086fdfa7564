"""What tests of several rooms share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from formcheck.signals import calibration
from formcheck.signals.body_model import JOINTS
from formcheck.signals.calibration import Calibration
from tests.pinhole import HIP_WIDTH


@pytest.fixture
def exact_joints() -> Iterator[None]:
    """A tracker whose landmarks are the joints, as those of `tests.pinhole` are, and curves drawn
    by hand: no offsets, no bias, and half-widths of 1.96 of the sd that a curve is given."""
    of_joint = {
        joint: {"straight": [0.0] * 3, "bending": [0.0] * 3, "own_sd": 0.01, "moving_sd": 0.01}
        for joint in JOINTS
    }
    # The hips of `tests.pinhole` are as wide as hip landmarks are, not as hip joints.
    of_joint["hip"] = {**of_joint["hip"], "straight": [0.0, HIP_WIDTH / 2 - 0.222, 0.0]}
    seen = dict.fromkeys(("near", "far", "front"), of_joint)
    with calibration.using(Calibration(seen, {})):
        yield
