"""What tests of several rooms share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from threadpoolctl import ThreadpoolController

from formcheck.signals import calibration
from formcheck.signals.body_model import JOINTS
from formcheck.signals.calibration import Calibration
from tests.pinhole import HIP_WIDTH
from tests.solved import remembered


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


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Files are dealt out to the workers in the order below, not by how many tests they hold."""
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files with slow tests first, so that no worker is left with one when the other is done."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)


@pytest.fixture(scope="session", autouse=True)
def one_thread() -> Iterator[None]:
    """As in an analysis: the matrices are small, and threads would only wait for each other."""
    with ThreadpoolController().limit(limits=1, user_api="blas"):
        yield


@pytest.fixture(scope="session", autouse=True)
def solved_once(
    tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Iterator[None]:
    """The same set is fitted once a run, whoever looks at it."""
    run = tmp_path_factory.getbasetemp()
    if hasattr(request.config, "workerinput"):
        run = run.parent  # which all workers of a run have in common
    with remembered(run / "solved"):
        yield
