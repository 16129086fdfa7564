from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.clip.read import probe, read_frames
from formcheck.clip.small import Drawn
from formcheck.maths.arrays import FloatArray
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.report.video.blur import Head, blur_head, heads_at
from formcheck.report.video.canvas import Canvas
from tests.report.conftest import CLIPS, TRACKS, judged


@pytest.fixture(scope="module")
def track() -> PoseTrack:
    return read_track(TRACKS / "hip_sag_side.parquet")


def noise() -> Canvas:
    rng = np.random.default_rng(3)
    return Canvas.over(rng.integers(16, 235, (240 * 3 // 2, 320), np.uint8).astype(np.uint8))


def test_the_circle_holds_every_landmark_of_the_head(track: PoseTrack) -> None:
    for head, points in zip(heads_at(track, track.t_s), track.xy_px[:, :11], strict=True):
        away = np.linalg.norm(points - (head.x, head.y), axis=1) if head else np.zeros(1)
        assert head is None or np.nanmax(away) < head.radius


def test_between_two_poses_the_head_is_between_them(track: PoseTrack) -> None:
    middle: FloatArray = (track.t_s[:-1] + track.t_s[1:]) / 2
    before, between, after = (
        heads_at(track, t_s) for t_s in (track.t_s[:-1], middle, track.t_s[1:])
    )
    for a, b, c in zip(before, between, after, strict=True):
        if a and b and c:
            assert min(a.x, c.x) - 1e-6 <= b.x <= max(a.x, c.x) + 1e-6
            assert b.radius >= min(a.radius, c.radius) - 1e-6


def test_where_the_head_is_not_known_it_says_so(track: PoseTrack) -> None:
    xy_px = track.xy_px.copy()
    xy_px[(track.t_s > 5) & (track.t_s < 7), :11] = np.nan
    heads = heads_at(replace(track, xy_px=xy_px), np.array([4.0, 6.0, 8.0, 1e3]))
    assert [head is None for head in heads] == [False, True, False, True]
    xy_px[:] = np.nan
    assert heads_at(replace(track, xy_px=xy_px), track.t_s[:3]) == [None] * 3


def test_inside_the_circle_nothing_fine_is_left_and_outside_nothing_changes() -> None:
    picture, before = noise(), noise()
    blur_head(picture, Head(160.0, 100.0, 40.0))
    inside = np.hypot(*(np.indices(picture.y.shape) - np.array([[[100]], [[160]]]))) < 38
    outside = np.hypot(*(np.indices(picture.y.shape) - np.array([[[100]], [[160]]]))) > 43
    assert np.abs(np.diff(picture.y.astype(int), axis=1))[inside[:, 1:]].max() < 12
    assert (picture.y[outside] == before.y[outside]).all()
    assert not (picture.u == before.u).all()


def test_a_head_at_the_edge_or_beyond_is_no_problem() -> None:
    for x, y in ((-10.0, 5.0), (330.0, 239.0), (900.0, 900.0)):
        blur_head(noise(), Head(x, y, 30.0))


def test_without_a_head_the_whole_picture_is_blurred() -> None:
    picture = noise()
    blur_head(picture, None)
    assert np.abs(np.diff(picture.y.astype(int), axis=1)).max() < 12


def test_the_face_is_hidden_in_the_clip_and_in_every_picture(tmp_path: Path) -> None:
    from formcheck.report.video.annotate import annotate

    analysis = judged("hip_sag_side")
    look, clip = analysis.looks[0], CLIPS / "hip_sag_side.mp4"
    annotate(analysis, [Drawn(probe(clip))], tmp_path / "shown.mp4")
    annotate(analysis, [Drawn(probe(clip))], tmp_path / "hidden.mp4", blur_faces=True)
    shown, hidden = probe(tmp_path / "shown.mp4"), probe(tmp_path / "hidden.mp4")
    at_s = shown.times_s[[len(shown.times_s) // 2]]
    (_, one), (_, other) = next(read_frames(shown, at_s)), next(read_frames(hidden, at_s))
    scale = one.shape[1] / look.track.width
    nearest = int(np.argmin(np.abs(look.track.t_s - at_s[0])))
    x, y = (look.track.xy_px[nearest, INDEX["nose"]] * scale).astype(int)
    face = np.s_[y - 8 : y + 8, x - 8 : x + 8]
    assert np.abs(one[face].astype(int) - other[face]).mean() > 8
    feet = np.s_[: one.shape[0] // 8, :]
    assert np.abs(one[feet].astype(int) - other[feet]).mean() < 3
