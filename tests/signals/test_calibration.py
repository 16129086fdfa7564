"""What was set from data: it is read, used, and never tighter than it was found to be."""

from __future__ import annotations

import math
import tomllib
from importlib.resources import files

import numpy as np
import pytest

from formcheck.signals import calibration
from formcheck.signals.body_model import LANDMARKS
from formcheck.signals.calibration import ONE_BODY, USUAL_MISFIT, Calibration, Doubt

SIDE = {"elbow_top_deg": Doubt(bias=2.0, share=0.5, least=3.0, strange=2.0, widen=2.0)}


def test_bias_is_taken_off_and_the_half_width_is_that_of_the_file() -> None:
    with calibration.using(Calibration({}, {"side": SIDE})):
        top = calibration.stated("elbow_top_deg", "side", 160.0, 8.0, USUAL_MISFIT)
    assert top.value == 158.0 and top.view == "side"
    assert top.plus_minus == pytest.approx(2.0 * math.hypot(0.5 * 8.0, 3.0))


def test_the_worse_landmarks_fit_one_body_the_wider_the_interval_until_none_is_told() -> None:
    with calibration.using(Calibration({}, {"side": SIDE})):
        fits, hardly, no_body = (
            calibration.stated("elbow_top_deg", "side", 160.0, 8.0, misfit)
            for misfit in (USUAL_MISFIT, ONE_BODY - 0.01, ONE_BODY + 0.01)
        )
    assert hardly.plus_minus > 1.5 * fits.plus_minus
    assert not no_body.known and "one body" in (no_body.reason or "")


def test_what_no_clip_told_is_as_sure_as_its_own_fit() -> None:
    unknown = calibration.stated("never_measured_deg", "side", 10.0, 3.0, USUAL_MISFIT)
    assert unknown.plus_minus == pytest.approx(1.96 * 3.0)


@pytest.mark.parametrize("kind", ["side", "oblique", "front"])
def test_every_landmark_has_its_offset_and_spread(kind: str) -> None:
    found = calibration.landmarks_of(kind, LANDMARKS)
    assert found.straight.shape == found.bending.shape == (len(LANDMARKS), 3)
    assert (found.own_sd > 0.005).all() and (found.moving_sd > 0.004).all()


def test_on_the_knees_the_near_leg_is_seen_as_such_legs_are_and_nothing_else_is() -> None:
    toes, knees = (
        calibration.landmarks_of("side", LANDMARKS, kneeling=kneeling) for kneeling in (False, True)
    )
    differs = np.any(toes.straight != knees.straight, axis=1)
    assert {LANDMARKS[i] for i in np.flatnonzero(differs)} == {"left_knee", "left_ankle"}


def test_every_entry_says_on_how_many_bodies_it_rests_and_covers_what_it_promises() -> None:
    text = files("formcheck.signals").joinpath("calibration.toml").read_text()
    doubts = tomllib.loads(text)["doubts"]
    assert {"side", "front", "oblique"} <= doubts.keys()
    for view, by_name in doubts.items():
        for name, entry in by_name.items():
            assert entry["bodies"] >= 6, (view, name)
            assert entry["covered"] >= 0.89, (view, name)
