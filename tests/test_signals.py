"""From landmarks to curves, without what the camera, the model and kneeling down add."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.pose.track import INDEX, PoseTrack
from formcheck.signals import HIDDEN, RATE_HZ, Signals, read_signals
from formcheck.views import recognise_view
from tests.measures.handmade import drawn
from tests.pinhole import Camera, PushUpSet

FloatArray = npt.NDArray[np.float64]

DONE = PushUpSet(bottoms_deg=(85.0, 85.0, 85.0))
FROM_THE_LEFT = Camera(yaw_deg=0.0, height=0.7, aim=(-1.2, 0.5))
FROM_THE_RIGHT = replace(FROM_THE_LEFT, yaw_deg=180.0)
SIDES = pytest.mark.parametrize("camera", [FROM_THE_LEFT, FROM_THE_RIGHT], ids=["left", "right"])


def filmed(camera: Camera = FROM_THE_LEFT, noise_px: float = 0.4) -> PoseTrack:
    return DONE.film(camera, noise_px=noise_px)


def read(track: PoseTrack) -> Signals:
    return read_signals(track, recognise_view(track))


def moved(track: PoseTrack, joint: str, by_px: tuple[float, float] | FloatArray) -> PoseTrack:
    """Both sides of a joint shifted in the picture."""
    xy = track.xy_px.copy()
    for side in ("left", "right"):
        xy[:, INDEX[f"{side}_{joint}"]] += by_px
    return replace(track, xy_px=xy)


def within_set(signals: Signals, curve: FloatArray) -> FloatArray:
    return curve[(signals.t_s > 1.0) & (signals.t_s < DONE.duration_s() - 1.0)]


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


@SIDES
def test_the_sway_of_a_camera_in_the_hand_is_taken_out(camera: Camera) -> None:
    still = filmed(camera)
    sway = 12 * np.stack([np.sin(2.1 * still.t_s), np.cos(1.3 * still.t_s)], axis=1)
    swaying = replace(still, xy_px=still.xy_px + sway[:, None])
    steady, shaken = read(still), read(swaying)
    for curve in ("elbow_deg", "shoulder_height", "hip_height", "body_line_deg"):
        off = within_set(steady, np.abs(getattr(steady, curve) - getattr(shaken, curve)))
        size = within_set(steady, getattr(steady, curve))
        assert np.nanmax(off) < 0.06 * max(np.ptp(size[np.isfinite(size)]), 10 * 0.06)
    drawn = shaken.drawn_px[f"{shaken.near_side}_wrist"]
    assert np.ptp(within_set(shaken, drawn[:, 0])) > 20, "what is drawn follows the picture"


FROM_THE_FRONT = Camera()


def one_after_the_other(first: PoseTrack, second: PoseTrack) -> PoseTrack:
    return replace(
        first,
        t_s=np.append(first.t_s, second.t_s + first.duration_s),
        xy_px=np.concatenate([first.xy_px, second.xy_px]),
        visibility=np.concatenate([first.visibility, second.visibility]),
        duration_s=first.duration_s + second.duration_s,
        frames=first.frames + second.frames,
    )


@pytest.mark.parametrize("camera", [FROM_THE_LEFT, FROM_THE_FRONT], ids=["side", "front"])
def test_a_camera_that_turns_along_keeps_every_rep_in_position(camera: Camera) -> None:
    still = filmed(camera)
    across = 250.0 * (still.t_s / still.t_s[-1] - 0.5)
    turning = replace(still, xy_px=still.xy_px + np.column_stack([across, 0 * across])[:, None])
    signals = read(turning)
    assert signals.in_position.all()
    bottoms = np.interp(DONE.bottoms_s(), signals.t_s, signals.elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=4.0)


@pytest.mark.parametrize("camera", [FROM_THE_LEFT, FROM_THE_FRONT], ids=["side", "front"])
@pytest.mark.parametrize("grows", [0.75, 1.3])
def test_coming_nearer_is_not_read_as_straightening(camera: Camera, grows: float) -> None:
    still = filmed(camera)
    centre = np.array([still.width, still.height]) / 2
    size = 1.0 + (grows - 1.0) * still.t_s / still.t_s[-1]
    growing = replace(still, xy_px=centre + (still.xy_px - centre) * size[:, None, None])
    signals = read(growing)
    bottoms = np.interp(DONE.bottoms_s(), signals.t_s, signals.elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=5.0)
    drawn = signals.drawn_px["left_shoulder"][[30, -30]] - centre
    seen = np.linalg.norm(drawn, axis=1)
    assert seen[1] / seen[0] == pytest.approx(size[-30] / size[30], rel=0.1), "drawn as filmed"


def test_hands_set_wider_in_mid_set_keep_their_angles() -> None:
    """One place for both would bend the arms by 20 degrees at the top."""
    narrow, wide = replace(DONE, hand_spacing=1.2), replace(DONE, hand_spacing=1.9)
    first, second = (done.film(FROM_THE_FRONT, noise_px=0.4) for done in (narrow, wide))
    signals = read(one_after_the_other(first, second))
    later = np.array(DONE.bottoms_s()) + first.duration_s
    for moments, angle in (
        ([*DONE.bottoms_s(), *later], 85.0),
        ([0.8, first.duration_s - 0.8, first.duration_s + 0.8], 170.0),
    ):
        read_deg = np.interp(moments, signals.t_s, signals.elbow_deg)
        assert read_deg == pytest.approx(angle, abs=5.0)


def test_crawling_on_in_mid_set_keeps_every_rep_in_position() -> None:
    first = filmed()
    second = DONE.film(replace(FROM_THE_LEFT, aim=(-0.7, 0.5)), noise_px=0.4)
    signals = read(one_after_the_other(first, second))
    later = np.array(DONE.bottoms_s()) + first.duration_s
    moments = np.searchsorted(signals.t_s, [*DONE.bottoms_s(), *later])
    assert signals.in_position[moments].all()
    assert signals.elbow_deg[moments] == pytest.approx(85.0, abs=4.0)


def test_sway_is_taken_out_though_the_foot_is_lost_for_a_while() -> None:
    still = filmed()
    sway = 15 * np.sin(2.1 * still.t_s)[:, None] * [0.2, 1.0]
    xy = still.xy_px + sway[:, None]
    lost = np.abs(still.t_s - DONE.bottoms_s()[1]) < 0.8
    xy[lost, INDEX["left_ankle"]] = np.nan
    bottoms = np.interp(
        DONE.bottoms_s(), (seen := read(replace(still, xy_px=xy))).t_s, seen.elbow_deg
    )
    assert bottoms == pytest.approx(85.0, abs=4.0)


def test_a_planted_hand_stays_where_it_is_though_its_landmark_slides() -> None:
    track = filmed()
    slide = 6.0 * np.sin(track.t_s)[:, None] * [1.0, 0.3]
    signals = read(moved(track, "wrist", slide))
    assert within_set(signals, signals.steady_px["left_wrist"][:, 0]).std() < 0.5


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


def with_kneeling(track: PoseTrack, seconds: float = 4.0) -> PoseTrack:
    """Kneeling up with hanging arms before and after the set."""
    first = track.xy_px[0].copy()
    upright = first.copy()
    for side in ("left", "right"):
        place = {j: first[INDEX[f"{side}_{j}"]] for j in ("knee", "hip", "shoulder", "wrist")}
        thigh, trunk, arm = (
            float(np.linalg.norm(place[a] - place[b]))
            for a, b in (("knee", "hip"), ("hip", "shoulder"), ("shoulder", "wrist"))
        )
        hip = place["knee"] - [0.0, thigh]
        shoulder = hip - [0.0, trunk]
        upright[INDEX[f"{side}_hip"]], upright[INDEX[f"{side}_shoulder"]] = hip, shoulder
        upright[INDEX[f"{side}_elbow"]] = shoulder + np.array([0.0, arm / 2])
        upright[INDEX[f"{side}_wrist"]] = shoulder + np.array([0.0, arm])
    frames = int(seconds * track.fps)
    kneeling = np.repeat(upright[None], frames, axis=0)
    into = np.linspace(0, 1, int(track.fps))[:, None, None]
    down, up = upright + into * (first - upright), first + into * (upright - first)
    xy = np.concatenate([kneeling, down, track.xy_px, up, kneeling])
    return replace(
        track,
        t_s=np.arange(len(xy)) / track.fps,
        xy_px=xy,
        visibility=np.where(np.isfinite(xy[..., 0]), 0.95, np.nan),
        duration_s=len(xy) / track.fps,
        frames=len(xy),
    )


@SIDES
def test_kneeling_before_and_after_the_set_is_not_in_position(camera: Camera) -> None:
    track = with_kneeling(filmed(replace(camera, distance=8.0)))
    assert (track.xy("left_shoulder")[0] > 0).all(), "kneeling, the person is still in the picture"
    signals = read(track)
    begins_s, ends_s = 5.0, 5.0 + DONE.duration_s()
    in_set = (signals.t_s > begins_s + 0.2) & (signals.t_s < ends_s - 0.2)
    kneels = (signals.t_s < 4.0) | (signals.t_s > ends_s + 1.0)
    assert signals.in_position[in_set].all()
    assert not signals.in_position[kneels].any()


def test_sitting_back_on_the_heels_with_planted_hands_is_not_in_position() -> None:
    track = filmed()
    first = track.xy_px[0].copy()
    back = first.copy()
    for side in ("left", "right"):
        heel, knee = first[INDEX[f"{side}_ankle"]], first[INDEX[f"{side}_knee"]]
        back[INDEX[f"{side}_hip"]] = 0.7 * heel + 0.3 * knee - np.array([0.0, 40.0])
        back[INDEX[f"{side}_shoulder"]] = knee - np.array([100.0, 20.0])
    sits = (track.t_s > 6.0) & (track.t_s < 8.0)
    xy = track.xy_px.copy()
    xy[sits] = back
    signals = read(replace(track, xy_px=xy))
    assert not signals.in_position[(signals.t_s > 6.3) & (signals.t_s < 7.7)].any()
    assert signals.in_position[(signals.t_s > 0.5) & (signals.t_s < 5.5)].all()


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


@SIDES
def test_feet_that_wave_in_a_set_on_the_knees_move_no_camera(camera: Camera) -> None:
    still = filmed(camera)
    on_knees = moved(still, "ankle", (0.0, 0.0))
    knee = on_knees.xy("left_knee")
    planted = moved(on_knees, "knee", knee[0] - knee)
    wave = 40.0 * np.column_stack([np.sin(1.3 * still.t_s), np.cos(0.9 * still.t_s)])
    waving = read(moved(planted, "ankle", wave))
    bottoms = np.interp(DONE.bottoms_s(), waving.t_s, waving.elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=5.0)
