"""Elbow flare at the bottom."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.measures.flare import (
    elbow_flare,
    elbow_flare_left,
    elbow_flare_right,
)
from formcheck.pose.store import read_track
from formcheck.reps.look import Look
from tests.filmed import look_of
from tests.measures.handmade import OBLIQUE, REAR, REP, drawn, look_at
from tests.pinhole import Camera, PushUpSet
from tests.truth.truth import read_truth

DATA = Path(__file__).parents[1] / "data"
MEASURES = {
    "elbow_flare_deg": elbow_flare,
    "elbow_flare_left_deg": elbow_flare_left,
    "elbow_flare_right_deg": elbow_flare_right,
}


def filmed(done: PushUpSet, camera: Camera | None = None) -> Look:
    """From the front, with both arms in space and every rep found."""
    look = look_of(done.film(camera or Camera(), noise_px=0.5))
    assert look.signals.body is not None
    assert len(look.reps) == len(done.bottoms_deg)
    return look


def saved(name: str) -> Look:
    return look_of(read_track(DATA / f"{name}.parquet"))


@pytest.mark.usefixtures("exact_joints")
@pytest.mark.parametrize(
    ("flare_deg", "hand_spacing"), [(30.0, 0.8), (50.0, 1.35), (65.0, 1.6), (78.0, 1.55)]
)
def test_flare_from_the_front_is_the_prescribed_one(flare_deg: float, hand_spacing: float) -> None:
    look = filmed(PushUpSet(flare_deg=flare_deg, hand_spacing=hand_spacing))
    for rep in look.reps:
        for measure in MEASURES.values():
            assert measure(look, rep).value == pytest.approx(flare_deg, abs=6.0)


@pytest.mark.usefixtures("exact_joints")
def test_flare_is_told_rep_by_rep() -> None:
    asked = (35.0, 50.0, 65.0)
    look = filmed(PushUpSet(flare_deg=asked))
    seen = [elbow_flare(look, rep).value for rep in look.reps]
    assert seen == pytest.approx(asked, abs=6.0)


@pytest.mark.usefixtures("exact_joints")
def test_a_camera_off_the_middle_hardly_changes_the_flare() -> None:
    look = filmed(PushUpSet(), Camera(yaw_deg=80.0))
    rep = look.reps[0]
    assert elbow_flare(look, rep).value == pytest.approx(50.0, abs=6.0)


@pytest.mark.usefixtures("exact_joints")
def test_arms_that_hardly_bend_have_no_flare() -> None:
    look = filmed(PushUpSet())
    held = replace(look.reps[0], bottom_s=0.5)  # in the hold before the first rep
    flare = elbow_flare(look, held)
    assert not flare.known and "hardly bend" in (flare.reason or "")


@pytest.mark.usefixtures("exact_joints")
def test_elbows_out_of_sight_are_not_said_to_hardly_bend() -> None:
    look = filmed(PushUpSet())
    unseen = np.full(len(look.signals.t_s), np.nan)
    hidden = replace(look, signals=replace(look.signals, elbow_deg=unseen))
    assert "hidden" in (elbow_flare(hidden, look.reps[0]).reason or "")


@pytest.mark.parametrize("name", ["clean_front", "close_front", "wide_front", "flared_pair_front"])
def test_flare_on_rendered_front_clips_is_within_nine_degrees(name: str) -> None:
    truth = read_truth(DATA / f"{name}.truth.json")
    look = saved(name)
    for key, measure in MEASURES.items():
        seen = [measure(look, rep) for rep in look.reps]
        expected = [rep.values[key] for rep in truth.reps]
        missed = np.abs(np.subtract([q.value for q in seen], expected))
        assert missed.mean() < 9.0  # 8 when the constants were set on these very clips
        assert (missed <= [q.plus_minus for q in seen]).all()


def test_flare_from_the_side_is_nearly_always_within_its_wide_half_width() -> None:
    inside = []
    for clip in ("flared_pair_side", "clean_side", "hip_sag_side", "soft_lockout_side"):
        look, truth = saved(clip), read_truth(DATA / f"{clip}.truth.json")
        for rep, true in zip(look.reps, truth.reps, strict=True):
            flare = elbow_flare(look, rep)
            assert flare.plus_minus > 9.0
            inside.append(abs(flare.value - true.values["elbow_flare_deg"]) <= flare.plus_minus)
    assert np.mean(inside) >= 0.9


def test_flare_is_not_told_where_landmarks_jitter() -> None:
    look = saved("clean_side")
    rep = look.reps[0]
    assert elbow_flare(look, rep).known
    shaky = elbow_flare(replace(look, signals=replace(look.signals, noise=0.02)), rep)
    assert not shaky.known and "jitter" in (shaky.reason or "")


def test_from_the_side_one_arm_hides_the_other() -> None:
    look = saved("clean_side")
    for measure in (elbow_flare_left, elbow_flare_right):
        arm = measure(look, look.reps[0])
        assert not arm.known and "film from the front" in (arm.reason or "")


def test_at_a_slant_and_from_behind_flare_is_not_told_and_the_view_says_why() -> None:
    bent = drawn(elbow_deg=np.full(240, 90.0), flare_deg=np.full(240, 45.0))
    for view in (OBLIQUE, REAR):
        flare = elbow_flare(look_at(bent, view), REP)
        assert not flare.known and "from the front" in (flare.reason or "")
