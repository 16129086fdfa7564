"""From landmarks to curves, without what the model adds."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.maths.filtering import RATE_HZ
from formcheck.pose.track import INDEX
from formcheck.signals.body_fit import BodyFit
from formcheck.signals.curves import HIDDEN, _without_getting_up
from tests.filmed import (
    DONE,
    FROM_THE_LEFT,
    SIDES,
    filmed,
    moved,
    read,
    within_set,
)
from tests.measures.handmade import drawn
from tests.pinhole import Camera

pytestmark = pytest.mark.usefixtures("exact_joints")
FloatArray = npt.NDArray[np.float64]


@pytest.mark.parametrize("fps", [15.0, 24.0, 30.0, 60.0])
def test_curves_stand_on_one_even_grid_whatever_the_frame_rate(fps: float) -> None:
    track = DONE.film(FROM_THE_LEFT, fps=fps, noise_px=0.3)
    signals = read(track)
    assert np.diff(signals.t_s) == pytest.approx(1 / RATE_HZ)
    assert signals.pose_rate_hz == pytest.approx(fps, rel=0.01)
    bottoms = np.interp(DONE.bottoms_s(), signals.t_s, signals.elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=4.0)


def test_uneven_frame_times_do_not_shift_the_movement() -> None:
    track = filmed()
    keep = np.sort(np.random.default_rng(0).permutation(len(track.t_s))[: len(track.t_s) * 2 // 3])
    gappy = replace(
        track, t_s=track.t_s[keep], xy_px=track.xy_px[keep], visibility=track.visibility[keep]
    )
    bottoms = np.interp(DONE.bottoms_s(), read(gappy).t_s, read(gappy).elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=4.0)


def test_a_point_guessed_outside_the_picture_is_no_sight() -> None:
    track = filmed()
    signals = read(moved(track, "ankle", (-track.width, 0.0)))
    assert np.isnan(signals.body_line_deg).all()
    assert np.isfinite(within_set(signals, signals.elbow_deg)).all()
    assert np.isfinite(within_set(signals, signals.body_line_knee_deg)).all()


def test_an_elbow_that_is_not_visible_gives_no_angle() -> None:
    track = filmed()
    visibility = track.visibility.copy()
    hidden = (track.t_s > 3.0) & (track.t_s < 5.0)
    visibility[hidden, INDEX["left_elbow"]] = HIDDEN / 2
    signals = read(replace(track, visibility=visibility))
    assert np.isnan(signals.elbow_deg[(signals.t_s > 3.1) & (signals.t_s < 4.9)]).all()
    assert np.isfinite(signals.elbow_deg[(signals.t_s > 1.0) & (signals.t_s < 2.9)]).all()


def test_a_foot_the_model_is_unsure_of_is_still_used() -> None:
    """Feet score low behind a lens on the floor; where they are hardly moves."""
    track = filmed()
    visibility = track.visibility.copy()
    visibility[:, INDEX["left_ankle"]] = HIDDEN / 2
    signals = read(replace(track, visibility=visibility))
    assert np.isfinite(within_set(signals, signals.body_line_deg)).all()


def test_a_short_loss_is_filled_in_and_marked_as_such() -> None:
    track = filmed()
    xy = track.xy_px.copy()
    bottom_s = DONE.bottoms_s()[1]
    lost = np.abs(track.t_s - bottom_s) < 0.25
    xy[lost] = np.nan
    signals = read(replace(track, xy_px=xy))
    there = np.abs(signals.t_s - bottom_s) < 0.12
    assert np.isfinite(signals.elbow_deg[there]).all() and signals.bridged[there].all()
    assert not signals.bridged[np.abs(signals.t_s - bottom_s) > 0.4].any()


def test_a_long_loss_is_left_open() -> None:
    track = filmed()
    xy = track.xy_px.copy()
    xy[(track.t_s > 4.0) & (track.t_s < 6.0)] = np.nan
    signals = read(replace(track, xy_px=xy))
    assert np.isnan(signals.elbow_deg[(signals.t_s > 4.1) & (signals.t_s < 5.9)]).all()


@SIDES
@pytest.mark.parametrize("sag_deg", [15.0, -20.0])
def test_hips_below_the_line_read_positive_and_above_it_negative(
    camera: Camera, sag_deg: float
) -> None:
    """Moved by d across the line, the hips bend it by atan(d / trunk) + atan(d / legs)."""
    track = filmed(camera)
    near = "left" if camera is FROM_THE_LEFT else "right"
    trunk, legs = (
        float(np.linalg.norm(track.xy(f"{near}_hip")[0] - track.xy(f"{near}_{end}")[0]))
        for end in ("shoulder", "ankle")
    )
    down_px = np.linspace(-trunk / 2, trunk / 2, 4001)
    bends = np.degrees(np.arctan(down_px / trunk) + np.arctan(down_px / legs))
    by_px = float(np.interp(sag_deg, bends, down_px))
    straight, bent = read(track), read(moved(track, "hip", (0.0, by_px)))
    for curve in ("body_line_deg", "body_line_knee_deg"):
        change = np.nanmedian(getattr(bent, curve) - getattr(straight, curve))
        assert np.sign(change) == np.sign(sag_deg)
    change = float(np.nanmedian(bent.body_line_deg - straight.body_line_deg))
    assert change == pytest.approx(sag_deg, abs=2.0)


@SIDES
def test_a_head_below_the_trunks_line_reads_positive_and_a_raised_one_negative(
    camera: Camera,
) -> None:
    track = filmed(camera)
    level = float(np.nanmedian(read(track).head_deg))
    for by_px, sign in [(25.0, 1.0), (-25.0, -1.0)]:
        head = float(np.nanmedian(read(moved(track, "ear", (0.0, by_px))).head_deg))
        assert sign * (head - level) > 12.0


@SIDES
def test_only_the_near_arm_is_told_from_the_side(camera: Camera) -> None:
    signals = read(filmed(camera))
    near, far = (
        (signals.elbow_left_deg, signals.elbow_right_deg)
        if signals.near_side == "left"
        else (signals.elbow_right_deg, signals.elbow_left_deg)
    )
    assert np.isfinite(within_set(signals, near)).all() and np.isnan(far).all()


def test_shoulders_sink_by_as_much_as_the_body_that_was_filmed() -> None:
    signals = read(filmed())
    shoulder = DONE.joints(signals.t_s)["left_shoulder"][:, 2]
    off = within_set(signals, signals.shoulder_height - shoulder)
    assert np.abs(off).max() < 0.05


def test_jitter_is_measured_as_what_smoothing_leaves_of_it() -> None:
    """White noise through a low-pass of c Hz at a rate r keeps a share sqrt(2 c / r) of its SD."""
    for noise_px in (0.5, 1.0):
        signals = read(filmed(noise_px=noise_px))
        expected = noise_px * (2 * 6.0 / 30.0) ** 0.5 / signals.arm_length_px
        assert signals.noise == pytest.approx(expected, rel=0.25)


def test_nobody_in_the_picture_gives_empty_curves() -> None:
    track = filmed()
    empty = replace(
        track,
        xy_px=np.full_like(track.xy_px, np.nan),
        visibility=np.full_like(track.visibility, np.nan),
    )
    signals = read(empty)
    assert not signals.in_position.any() and np.isnan(signals.elbow_deg).all()


def test_the_joints_a_track_needs_are_enough() -> None:
    """A track of another tracker: no ears, no hands, no feet, no visibility worth the name."""
    track = filmed()
    xy = track.xy_px.copy()
    for name in ("left_ear", "right_ear", "nose"):
        xy[:, INDEX[name]] = np.nan
    signals = read(replace(track, xy_px=xy, visibility=np.full_like(track.visibility, np.nan)))
    bottoms = np.interp(DONE.bottoms_s(), signals.t_s, signals.elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=4.0)
    assert np.isnan(signals.head_deg).all()


def test_a_span_holds_the_samples_from_its_start_to_its_end() -> None:
    signals = drawn()
    assert signals.between(1.0, 2.0) == slice(30, 61)
    assert signals.between(1.01, 1.02).stop - signals.between(1.01, 1.02).start == 1


def test_a_span_outside_the_clip_is_empty() -> None:
    signals = drawn()
    assert len(signals.t_s[signals.between(-3.0, -1.0)]) == 0
    assert len(signals.t_s[signals.between(99.0, 100.0)]) == 0


def test_a_strange_arm_at_the_first_bottom_is_no_getting_down() -> None:
    """Who gets down ends strange; who holds the top before a strange bottom was in the set."""
    inside = np.ones(round(10 * RATE_HZ), dtype=bool)
    t_s = np.arange(len(inside)) / RATE_HZ
    strange = (t_s > 1.5) & (t_s < 2.4)

    def kept(where: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        fit = SimpleNamespace(
            on_knees=False,
            curve={"line": np.where(where, -34.0, 0.0)},
            arm_misfit=np.where(where, 3.0, 0.3),
        )
        return _without_getting_up(inside, cast(BodyFit, fit))

    assert kept(strange).all()
    getting_down = kept(t_s < 2.4)
    assert not getting_down[t_s < 2.3].any() and getting_down[t_s > 2.5].all()
