"""A body fitted to a filmed set is the one that was filmed, and says how sure it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from formcheck.pose.track import INDEX
from formcheck.signals import body_fit, calibration
from formcheck.signals.body_fit import BodyFit
from tests.filmed import read
from tests.pinhole import Camera, PushUpSet

pytestmark = pytest.mark.usefixtures("exact_joints")

DONE = PushUpSet(bottoms_deg=(80.0, 95.0, 85.0), flare_deg=50.0)
FROM_THE_SIDE = Camera(yaw_deg=4.0, aim=(-1.2, 0.5), distance=6.0)


def fitted(camera: Camera, done: PushUpSet = DONE) -> tuple[BodyFit, np.ndarray]:
    signals = read(done.film(camera, noise_px=0.3))
    assert signals.body is not None
    return signals.body, signals.t_s


@pytest.mark.parametrize("yaw_deg", [-12.0, 0.0, 14.0, 40.0, 140.0, 180.0])
@pytest.mark.parametrize("height", [0.4, 2.0])
def test_bottoms_and_the_line_hold_at_any_yaw_and_height(yaw_deg: float, height: float) -> None:
    body, t_s = fitted(replace(FROM_THE_SIDE, yaw_deg=yaw_deg, height=height))
    bottoms = np.interp(DONE.bottoms_s(), t_s, body.curve["elbow"])
    assert bottoms == pytest.approx(DONE.bottoms_deg, abs=4.0)
    assert np.nanmedian(body.curve["line"]) == pytest.approx(0.0, abs=2.5)


@pytest.mark.parametrize("sunk_px", [-14.0, 16.0])
def test_from_the_side_the_line_is_all_that_the_near_side_shows(sunk_px: float) -> None:
    """Not what a fit leaves of it, which takes part of a sag for a landmark beside its joint."""
    track = DONE.film(FROM_THE_SIDE, noise_px=0.1)
    xy = track.xy_px.copy()
    xy[:, [INDEX["left_hip"], INDEX["right_hip"]], 1] += sunk_px
    sunk = replace(track, xy_px=xy)
    shown = [np.median(_shown_line_deg(one.xy_px)) for one in (track, sunk)]
    with calibration.using(calibration.shipped()):  # landmarks that may lie beside their joints
        told = [np.nanmedian(read(one).body_line_deg) for one in (track, sunk)]
    assert abs(shown[1] - shown[0]) > 6.0
    assert told[1] - told[0] == pytest.approx(shown[1] - shown[0], abs=0.6)


def _shown_line_deg(xy_px: np.ndarray) -> np.ndarray:
    """+ where the near hip lies below the line from the near shoulder to the near ankle."""
    shoulder, hip, ankle = (xy_px[:, INDEX[f"left_{j}"]] for j in ("shoulder", "hip", "ankle"))
    apart = [np.arctan2(-(one - hip)[:, 1], (one - hip)[:, 0]) for one in (shoulder, ankle)]
    turned = np.degrees(apart[0] - apart[1]) % 360.0
    below = turned if np.median(shoulder[:, 0] - ankle[:, 0]) < 0 else 360.0 - turned
    return np.asarray(180.0 - below)


def test_the_camera_is_found_where_it_stood() -> None:
    for yaw_deg in (-10.0, 12.0):
        body, _ = fitted(replace(FROM_THE_SIDE, yaw_deg=yaw_deg, height=1.6))
        assert body.yaw_deg == pytest.approx(yaw_deg, abs=4.0)
    low, high = (fitted(replace(FROM_THE_SIDE, yaw_deg=5.0, height=h))[0] for h in (0.3, 2.2))
    assert high.pitch_deg > low.pitch_deg + 8.0


def test_from_the_front_the_hands_and_the_flare_are_those_of_the_set() -> None:
    done = replace(DONE, hand_spacing=1.5, flare_deg=60.0)
    body, t_s = fitted(Camera(yaw_deg=84.0), done)
    flare = np.interp(done.bottoms_s(), t_s, body.curve["flare"])
    assert flare == pytest.approx([60.0] * 3, abs=6.0)
    assert np.nanmedian(body.curve["spacing"]) == pytest.approx(1.5, abs=0.1)


def test_a_set_that_never_locks_out_is_in_doubt_about_its_tops() -> None:
    """Nothing in one picture tells a bent arm from a short one: the doubt must say so."""
    camera = replace(FROM_THE_SIDE, yaw_deg=4.0, height=1.0)
    soft, locked = (fitted(camera, replace(DONE, top_deg=top))[0] for top in (148.0, 171.0))
    top_soft, top_locked = (np.nanpercentile(body.curve["elbow"], 95) for body in (soft, locked))
    assert top_soft < top_locked - 5.0
    sure = np.nanmedian(locked.sd["elbow"][locked.curve["elbow"] > 160.0])
    assert abs(top_soft - 148.0) < 3.0 * np.nanpercentile(soft.sd["elbow"], 90)
    assert np.nanpercentile(soft.sd["elbow"], 90) > sure


def test_landmarks_of_no_body_misfit() -> None:
    track = DONE.film(FROM_THE_SIDE, noise_px=0.3)
    xy = track.xy_px.copy()
    bent = np.abs(np.sin(track.t_s)) > 0.5
    xy[bent, INDEX["left_elbow"]] += [90.0, 60.0]  # taken for a knee, now and then
    xy[:, INDEX["left_hip"]] += [60.0, -80.0]
    strange = read(replace(track, xy_px=xy))
    usual = read(track)
    assert strange.misfit > 2 * usual.misfit


def test_a_long_set_solved_in_parts_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    track = DONE.film(FROM_THE_SIDE, noise_px=0.3)
    whole = read(track)
    monkeypatch.setattr(body_fit, "_AT_ONCE", 50)
    parts = read(track)
    for name in ("elbow_deg", "body_line_deg", "head_deg"):
        assert getattr(parts, name) == pytest.approx(getattr(whole, name), abs=0.2, nan_ok=True)


def test_one_side_alone_is_enough() -> None:
    track = DONE.film(FROM_THE_SIDE, noise_px=0.3)
    xy = track.xy_px.copy()
    for name, i in INDEX.items():
        if name.startswith("right_"):
            xy[:, i] = np.nan
    signals = read(replace(track, xy_px=xy))
    bottoms = np.interp(DONE.bottoms_s(), signals.t_s, signals.elbow_deg)
    assert bottoms == pytest.approx(DONE.bottoms_deg, abs=5.0)
