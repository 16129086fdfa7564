"""Elbow flare at the bottom."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.measures.flare import FRONT_PLUS_MINUS_DEG, front_flare, side_flare
from formcheck.pose.store import read_track
from formcheck.reps.find import find_reps
from formcheck.signals.curves import Signals, read_signals
from formcheck.signals.view import recognise_view
from tests.pinhole import Camera, PushUpSet
from tests.truth.truth import read_truth

DATA = Path(__file__).parents[1] / "data"
KEYS = ("elbow_flare_deg", "elbow_flare_left_deg", "elbow_flare_right_deg")


def signals_of(filmed: PushUpSet, camera: Camera) -> Signals:
    track = filmed.film(camera, noise_px=0.5)
    return read_signals(track, recognise_view(track))


@pytest.mark.parametrize(
    ("flare_deg", "hand_spacing"), [(30.0, 0.8), (50.0, 1.35), (65.0, 1.6), (78.0, 1.55)]
)
def test_flare_from_the_front_is_the_prescribed_one(flare_deg: float, hand_spacing: float) -> None:
    filmed = PushUpSet(flare_deg=flare_deg, hand_spacing=hand_spacing)
    signals = signals_of(filmed, Camera())
    assert signals.scene is not None
    reps = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)
    assert reps
    for rep in reps:
        flare = front_flare(signals.scene, signals.t_s, rep)
        for key in KEYS:
            assert flare[key].value == pytest.approx(flare_deg, abs=6.0)


def test_flare_is_told_rep_by_rep() -> None:
    asked = (35.0, 50.0, 65.0)
    signals = signals_of(PushUpSet(flare_deg=asked), Camera())
    assert signals.scene is not None
    reps = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)
    seen = [front_flare(signals.scene, signals.t_s, rep)["elbow_flare_deg"].value for rep in reps]
    assert seen == pytest.approx(asked, abs=6.0)


def test_a_camera_off_the_middle_errs_on_the_arms_in_opposite_ways() -> None:
    signals = signals_of(PushUpSet(), Camera(yaw_deg=80.0))
    assert signals.scene is not None
    rep = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)[0]
    flare = front_flare(signals.scene, signals.t_s, rep)
    assert flare["elbow_flare_deg"].value == pytest.approx(50.0, abs=6.0)
    assert flare["elbow_flare_left_deg"].plus_minus > flare["elbow_flare_deg"].plus_minus


def test_arms_that_hardly_bend_have_no_flare() -> None:
    signals = signals_of(PushUpSet(), Camera())
    assert signals.scene is not None
    rep = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)[0]
    held = replace(rep, bottom_s=0.5)  # in the hold before the first rep
    flare = front_flare(signals.scene, signals.t_s, held)["elbow_flare_deg"]
    assert not flare.known and "hardly bend" in (flare.reason or "")


def test_elbows_out_of_sight_are_not_said_to_hardly_bend() -> None:
    signals = signals_of(PushUpSet(), Camera())
    assert signals.scene is not None
    rep = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)[0]
    unseen = replace(signals.scene, both_elbows_deg=np.full(len(signals.t_s), np.nan))
    assert "hidden" in (front_flare(unseen, signals.t_s, rep)["elbow_flare_deg"].reason or "")


@pytest.mark.parametrize("name", ["clean_front", "close_front", "wide_front", "flared_pair_front"])
def test_flare_on_rendered_front_clips_is_within_eight_degrees(name: str) -> None:
    truth = read_truth(DATA / f"{name}.truth.json")
    track = read_track(DATA / f"{name}.parquet")
    signals = read_signals(track, recognise_view(track))
    assert signals.scene is not None
    reps = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)
    for key in KEYS:
        seen = [front_flare(signals.scene, signals.t_s, rep)[key] for rep in reps]
        expected = [rep.values[key] for rep in truth.reps]
        missed = np.abs(np.subtract([q.value for q in seen], expected))
        assert missed.mean() < 8.0
        assert (missed <= [q.plus_minus for q in seen]).all()


def test_a_side_view_is_less_sure_of_flare_than_a_front_view() -> None:
    track = read_track(DATA / "flared_pair_side.parquet")
    truth = read_truth(DATA / "flared_pair_side.truth.json")
    signals = read_signals(track, recognise_view(track))
    reps = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)
    for rep, true in zip(reps, truth.reps, strict=True):
        flare = side_flare(signals, rep)
        assert flare.plus_minus >= FRONT_PLUS_MINUS_DEG + 2.0
        assert abs(flare.value - true.values["elbow_flare_deg"]) <= flare.plus_minus


def test_flare_is_not_told_where_landmarks_jitter() -> None:
    track = read_track(DATA / "clean_side.parquet")
    signals = read_signals(track, recognise_view(track))
    rep = find_reps(signals.t_s, signals.elbow_deg, signals.in_position, signals.rate_hz)[0]
    assert side_flare(signals, rep).known
    shaky = side_flare(replace(signals, noise=0.02), rep)
    assert not shaky.known and "jitter" in (shaky.reason or "")
