from __future__ import annotations

import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from formcheck.apart.process import work_apart
from formcheck.clip.read import probe, read_frames
from formcheck.clip.write import ClipWriter
from formcheck.errors import ModelError
from formcheck.pose import landmarker
from formcheck.pose.landmarker import SMALL, _landmarker, _missing_library, find_pose
from formcheck.pose.model import find_model
from formcheck.pose.track import PoseTrack
from tests.clip.clips import make_clip, planes_of

SAMPLES = Path(__file__).parents[2] / "sample_clips"


def test_a_clip_without_a_person_gives_a_track_without_a_pose(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", [n / 30 for n in range(12)]))
    seen: list[tuple[int, int]] = []
    track = find_pose(info, find_model("full"), on_progress=lambda *done: seen.append(done))
    assert track.frames == 12
    assert len(track.t_s) <= 6  # 15 looks a second at most
    assert track.frames_with_pose == 0
    assert np.isnan(track.xy_px).all()
    done, of = seen[-1]
    assert done == of >= len(track.t_s)


def test_two_processes_find_what_one_finds_and_hand_it_on_as_it_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(landmarker, "_TRACK_EVERY_S", 0.0)
    info = probe(SAMPLES / "hip_sag_side.mp4")
    one = find_pose(info, find_model("full"), rate_hz=5)
    so_far: list[PoseTrack] = []
    two = find_pose(info, find_model("full"), rate_hz=5, processes=2, on_track=so_far.append)
    np.testing.assert_array_equal(one.t_s, two.t_s)
    np.testing.assert_array_equal(one.xy_px, two.xy_px)
    assert one.frames_with_pose == len(one.t_s)
    assert one.notes == two.notes == ()
    lengths = [len(track.t_s) for track in so_far]
    assert lengths == sorted(lengths) and lengths[0] < 5 and lengths[-1] == len(two.t_s)
    for track in so_far:
        np.testing.assert_array_equal(track.xy_px, two.xy_px[: len(track.t_s)])


@pytest.mark.parametrize("place", ["left", "right"])
def test_the_person_doing_the_set_is_followed_past_another(tmp_path: Path, place: str) -> None:
    sample = probe(SAMPLES / "hip_sag_side.mp4")
    other = probe(SAMPLES / "flared_pair_side.mp4")
    still = next(read_frames(other))[1]
    path = tmp_path / "two.mp4"
    with ClipWriter(path, 2 * sample.width, sample.height) as clip:
        for t_s, rgb in read_frames(sample, sample.times_s[:180]):
            both = np.hstack([rgb, still] if place == "left" else [still, rgb])
            clip.write_planes(planes_of(both), t_s)
    track = find_pose(probe(path), find_model("full"), rate_hz=5)
    assert "2 people are in frame" in track.notes[0]
    assert track.frames_with_pose == len(track.t_s)
    x = track.xy("left_hip")[:, 0]
    assert (x < sample.width).all() if place == "left" else (x > sample.width).all()


def test_the_pose_library_is_not_loaded_before_it_is_needed() -> None:
    code = "import sys, formcheck.pose.landmarker, formcheck.cli; print('mediapipe' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("error", "package"),
    [
        (OSError("libEGL.so.1: cannot open shared object file: No such file"), "libegl1"),
        (OSError("libGLESv2.so.2: cannot open shared object file"), "libgles2"),
        (ImportError("libGL.so.1: cannot open shared object file"), "libgl1"),
        (ImportError("libgthread-2.0.so.0: cannot open shared object file"), "libglib2.0-0"),
    ],
)
def test_a_missing_system_library_names_its_package(error: OSError, package: str) -> None:
    assert _missing_library(error).endswith(f"apt-get install {package}")


def load_without_egl(_: None, tell: Callable[[None], None]) -> None:
    from mediapipe.tasks.python.vision import pose_landmarker

    def fail(*_: object) -> None:
        raise OSError("libEGL.so.1: cannot open shared object file: No such file or directory")

    pose_landmarker.PoseLandmarker.create_from_options = fail
    _landmarker(str(find_model("full").path), "IMAGE")


def test_a_library_that_will_not_load_is_told_in_a_sentence() -> None:
    with pytest.raises(ModelError, match=r"libEGL.*apt-get install libegl1"):
        work_apart(load_without_egl, [None])


def test_networks_in_each_others_place_are_told_in_a_sentence(tmp_path: Path) -> None:
    names = ["pose_detector.tflite", "pose_landmarks_detector.tflite"]
    path = tmp_path / "exchanged.task"
    with zipfile.ZipFile(find_model("full").path) as good, zipfile.ZipFile(path, "w") as exchanged:
        for name, other in zip(names, reversed(names), strict=True):
            exchanged.writestr(name, good.read(other))
    info = probe(make_clip(tmp_path / "a.mp4", [n / 30 for n in range(4)]))
    with pytest.raises(ModelError, match=r"exchanged\.task does not work.*the detector as pose_d"):
        find_pose(info, find_model(str(path)))


def test_a_person_too_small_to_be_found_at_once_is_found_up_close(tmp_path: Path) -> None:
    sample = probe(SAMPLES / "hip_sag_side.mp4")
    path = tmp_path / "far.mp4"
    height, width = sample.height, sample.width
    with ClipWriter(path, width, height) as clip:
        for t_s, rgb in read_frames(sample, sample.times_s[:90]):
            picture = np.full((height, width, 3), 90, dtype=np.uint8)
            third = rgb[::3, ::3]
            top, left = height - third.shape[0] - 10, width // 2
            picture[top : top + third.shape[0], left : left + third.shape[1]] = third
            clip.write_planes(planes_of(picture), t_s)
    track = find_pose(probe(path), find_model("full"), rate_hz=5)
    assert track.frames_with_pose == len(track.t_s)
    assert SMALL in track.notes
    near = find_pose(sample, find_model("full"), rate_hz=5)
    shared = [
        np.isin(t.t_s.round(3), other.t_s.round(3)) for t, other in ((track, near), (near, track))
    ]
    hip, true_hip = (t.xy("left_hip")[at] for t, at in zip((track, near), shared, strict=True))
    assert len(hip) > 5
    assert hip == pytest.approx(true_hip / 3 + [left, top], abs=4.0)
