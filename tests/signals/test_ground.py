"""When the body is in position, and what of its movement is the camera's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.maths.filtering import RATE_HZ
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.signals.ground import _bends_over_its_hands, _knees_come_down
from tests.coached import Coached, reps
from tests.filmed import (
    DONE,
    FROM_THE_FRONT,
    FROM_THE_LEFT,
    SIDES,
    filmed,
    moved,
    read,
    within_set,
)
from tests.pinhole import Camera

pytestmark = pytest.mark.usefixtures("exact_joints")
FloatArray = npt.NDArray[np.float64]


def one_after_the_other(first: PoseTrack, second: PoseTrack) -> PoseTrack:
    return replace(
        first,
        t_s=np.append(first.t_s, second.t_s + first.duration_s),
        xy_px=np.concatenate([first.xy_px, second.xy_px]),
        visibility=np.concatenate([first.visibility, second.visibility]),
        duration_s=first.duration_s + second.duration_s,
        frames=first.frames + second.frames,
    )


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


def test_a_shallow_last_rep_over_hands_that_stay_is_still_the_set() -> None:
    """Seen from before a bench, where arms hang as those of someone who stands."""
    t_s = np.arange(0.0, 20.0, 1.0 / RATE_HZ)
    reach = np.ones(len(t_s))
    reach[(t_s > 4) & (t_s < 5)] = 0.7
    reach[(t_s > 11) & (t_s < 12)] = 0.85
    wrist = np.zeros((len(t_s), 2))
    wrist[t_s > 15] = [0.0, 0.6]  # the hands leave
    bends = _bends_over_its_hands(reach, wrist, np.ones(len(t_s), dtype=bool))
    assert bends[t_s < 14].all()
    assert not bends[t_s > 17].any()
    assert not _bends_over_its_hands(np.ones(len(t_s)), wrist, np.ones(len(t_s), dtype=bool)).any()


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
def test_feet_that_wave_in_a_set_on_the_knees_move_no_camera(camera: Camera) -> None:
    still = filmed(camera)
    on_knees = moved(still, "ankle", (0.0, 0.0))
    knee = on_knees.xy("left_knee")
    planted = moved(on_knees, "knee", knee[0] - knee)
    wave = 40.0 * np.column_stack([np.sin(1.3 * still.t_s), np.cos(0.9 * still.t_s)])
    waving = read(moved(planted, "ankle", wave))
    bottoms = np.interp(DONE.bottoms_s(), waving.t_s, waving.elbow_deg)
    assert bottoms == pytest.approx(85.0, abs=5.0)


@pytest.mark.parametrize("camera", [FROM_THE_LEFT, FROM_THE_FRONT])
def test_hands_over_the_head_or_a_bar_over_the_chest_are_no_push_up(camera: Camera) -> None:
    """The same movement upside down under the hands: as on a pull-up bar, or lying under one."""
    track = filmed(camera)
    xy = track.xy_px.copy()
    for side in ("left", "right"):
        shoulder, wrist = (INDEX[f"{side}_{joint}"] for joint in ("shoulder", "wrist"))
        elbow = INDEX[f"{side}_elbow"]
        for joint in (elbow, wrist):
            xy[:, joint, 1] = 2 * xy[:, shoulder, 1] - xy[:, joint, 1]
    assert read(track).in_position.any()
    assert not read(replace(track, xy_px=xy)).in_position.any()


def test_a_resting_hand_that_goes_with_the_body_tells_no_sway() -> None:
    """From the front in one-arm work: else half of the body's own way would be taken out."""
    track = Coached(course=tuple(reps(2)), arms="one", working=("left",)).tracks("front")[0]
    signals = read(track)
    for name in ("left_shoulder", "right_shoulder"):
        moved = signals.steady_px[name] - signals.points_px[name]
        assert np.nanmax(np.abs(moved[signals.in_position])) < 3.0


def test_knees_that_bend_more_than_in_the_reps_are_on_their_way_to_the_floor() -> None:
    t_s = np.arange(0.0, 20.0, 1.0 / RATE_HZ)
    in_reps = (t_s > 5) & (t_s < 15)
    still, bent = np.zeros(len(t_s)), np.where(t_s > 16, -50.0, -5.0)
    on_all_fours = _knees_come_down(bent, still, in_reps)
    tall_kneeling = _knees_come_down(still, bent, in_reps)
    for down in (on_all_fours, tall_kneeling):
        assert down[t_s > 16.1].all() and not down[t_s < 15.9].any()


def test_feet_that_wave_behind_a_set_on_the_knees_leave_it_a_set() -> None:
    t_s = np.arange(0.0, 20.0, 1.0 / RATE_HZ)
    waving = -70.0 + 60.0 * np.sin(t_s)
    everywhere = np.ones(len(t_s), dtype=bool)
    assert not _knees_come_down(np.zeros(len(t_s)), waving, everywhere).any()


def test_hips_bent_in_every_rep_are_the_set() -> None:
    """A pike push-up is one throughout."""
    t_s = np.arange(0.0, 20.0, 1.0 / RATE_HZ)
    piked = np.full(len(t_s), -60.0)
    everywhere = np.ones(len(t_s), dtype=bool)
    assert not _knees_come_down(piked, np.zeros(len(t_s)), everywhere).any()


def test_who_bends_the_arms_without_seeming_upright_stood_before_the_set() -> None:
    t_s = np.arange(0.0, 20.0, 1.0 / RATE_HZ)
    reach = np.where((t_s > 8) & (t_s < 9), 0.6, 1.0)
    stands = t_s < 5
    assert not _bends_over_its_hands(reach, np.zeros((len(t_s), 2)), stands).any()
