"""Left and right as the body has them, not as the landmark model confused them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.pose.sides import with_steady_sides
from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack
from tests.pinhole import Camera, PushUpSet

BoolArray = npt.NDArray[np.bool_]

DONE = PushUpSet(bottoms_deg=(85.0, 85.0))
CAMERAS = pytest.mark.parametrize(
    "camera",
    [Camera(yaw_deg=8.0, aim=(-1.2, 0.5)), Camera(yaw_deg=45.0), Camera()],
    ids=["side", "slanted", "front"],
)
LEGS = ("hip", "knee", "ankle")


def exchanged(track: PoseTrack, when: BoolArray, joints: tuple[str, ...] = ()) -> PoseTrack:
    """Left and right labels exchanged at some frames, of some joints or of all."""
    there = np.arange(len(LANDMARKS))
    for name, i in INDEX.items():
        if name.startswith("left_") and (not joints or name.removeprefix("left_") in joints):
            other = INDEX[name.replace("left_", "right_")]
            there[i], there[other] = other, i
    xy, visibility = track.xy_px.copy(), track.visibility.copy()
    xy[when], visibility[when] = xy[when][:, there], visibility[when][:, there]
    return replace(track, xy_px=xy, visibility=visibility)


def limbs(track: PoseTrack) -> npt.NDArray[np.float64]:
    names = ("shoulder", "elbow", "wrist", *LEGS)
    return track.xy_px[
        :, [INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in names]
    ]


def share_mended(mended: PoseTrack, track: PoseTrack) -> float:
    """Of the frames. At the edges of a stretch a few may be too close to call."""
    return float(np.isclose(limbs(mended), limbs(track)).all(axis=(1, 2)).mean())


@CAMERAS
@pytest.mark.parametrize("fps", [15.0, 30.0])
def test_exchanged_frames_get_their_sides_back(camera: Camera, fps: float) -> None:
    track = DONE.film(camera, fps=fps, noise_px=0.6)
    t_s = track.t_s
    wrong = ((t_s > 1.0) & (t_s < 1.2)) | ((t_s > 2.5) & (t_s < 4.0)) | (t_s > t_s[-1] - 0.7)
    assert wrong.mean() > 0.2
    assert share_mended(with_steady_sides(exchanged(track, wrong)), track) > 0.98


@CAMERAS
def test_legs_exchanged_alone_get_their_sides_back(camera: Camera) -> None:
    track = DONE.film(camera, noise_px=0.6)
    wrong = (track.t_s > 2.0) & (track.t_s < 3.0)
    assert share_mended(with_steady_sides(exchanged(track, wrong, LEGS)), track) > 0.98


@CAMERAS
def test_a_track_without_exchanges_is_left_as_it_is(camera: Camera) -> None:
    track = DONE.film(camera, noise_px=1.5)
    assert with_steady_sides(track) is track


@CAMERAS
def test_a_jump_of_the_picture_is_no_exchange(camera: Camera) -> None:
    track = DONE.film(camera, noise_px=0.6)
    for by_px in (60.0, 120.0, -120.0):
        jump = by_px * (track.t_s > 3.0)
        jumping = replace(track, xy_px=track.xy_px + np.column_stack([jump, 0 * jump])[:, None])
        assert with_steady_sides(jumping) is jumping


def test_what_was_labelled_for_most_of_the_clip_is_right() -> None:
    track = DONE.film(Camera(), noise_px=0.6)
    late = track.t_s > 0.7 * track.t_s[-1]
    assert limbs(with_steady_sides(exchanged(track, late))) == pytest.approx(limbs(track))


def test_after_a_loss_the_labels_are_believed_again() -> None:
    """Somebody may have turned round meanwhile."""
    track = DONE.film(Camera(), noise_px=0.6)
    turned = exchanged(track, track.t_s >= 3.5)
    lost = (track.t_s > 3.0) & (track.t_s < 4.0)
    xy = turned.xy_px.copy()
    xy[lost] = np.nan
    gone = replace(turned, xy_px=xy)
    assert with_steady_sides(gone) is gone


def test_nobody_seen_is_nothing_to_mend() -> None:
    track = DONE.film(Camera())
    blank = replace(track, xy_px=np.full_like(track.xy_px, np.nan))
    assert with_steady_sides(blank) is blank
