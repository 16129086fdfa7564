"""What tests of several rooms share."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping

import pytest

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.signals import calibration, curves
from formcheck.signals.body_fit import BodyFit, fit_body
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


@pytest.fixture(scope="session", autouse=True)
def solved_once() -> Iterator[None]:
    """The same set is fitted once, however many tests look at it: the fit is a pure function of
    its arguments and the calibration in use, and most of what judging a set costs."""
    solved: dict[tuple[object, ...], tuple[BodyFit | None, calibration.Calibration]] = {}

    def remembered(
        points_px: Mapping[str, FloatArray], in_position: BoolArray, *more: object
    ) -> BodyFit | None:
        seen = hashlib.sha256(in_position.tobytes())
        for name, points in sorted(points_px.items()):
            seen.update(name.encode() + points.tobytes())
        used = calibration.in_use()
        key = (seen.digest(), id(used), *more)
        if key not in solved:  # `used` is kept, so that no other one gets its id
            solved[key] = fit_body(points_px, in_position, *more), used  # type: ignore[arg-type]
        return solved[key][0]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(curves, "fit_body", remembered)
        yield
