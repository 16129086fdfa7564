from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from formcheck.apart.process import WorkLostError
from formcheck.clip import read
from formcheck.clip.read import (
    at_most,
    probe,
    probe_apart,
    read_frames,
    read_planes,
    scaled_size,
)
from formcheck.errors import ClipError
from tests.clip.clips import make_clip, make_sound, square_left_edge

STEADY = [n / 30 for n in range(20)]
# A phone in dim light: 30 a second, then 15, then 24.
VARYING = list(np.cumsum([0, *[1 / 30] * 8, *[1 / 15] * 6, *[1 / 24] * 5]))


@pytest.mark.parametrize("name", ["a.mp4", "a.mov", "a.mkv"])
def test_a_variable_rate_clip_keeps_its_own_times(tmp_path: Path, name: str) -> None:
    info = probe(make_clip(tmp_path / name, VARYING))
    assert info.variable_rate
    assert info.frames == 20
    np.testing.assert_allclose(info.times_s, VARYING, atol=0.0006)  # mkv rounds to 1 ms
    read = list(read_frames(info))
    np.testing.assert_allclose([t_s for t_s, _ in read], VARYING, atol=0.0006)
    for n, (_, rgb) in enumerate(read):
        assert abs(square_left_edge(rgb) - 4 * n) <= 2


def test_a_steady_clip_is_not_called_variable(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mkv", STEADY))
    assert not info.variable_rate
    assert info.fps == pytest.approx(30, abs=0.1)
    assert info.duration_s == pytest.approx(20 / 30, abs=0.005)


@pytest.mark.parametrize(("rotation_deg", "turns"), [(90, 1), (-90, 3), (180, 2)])
def test_a_rotated_clip_is_shown_upright(tmp_path: Path, rotation_deg: int, turns: int) -> None:
    plain = next(read_frames(probe(make_clip(tmp_path / "a.mp4", STEADY))))[1]
    info = probe(make_clip(tmp_path / "b.mp4", STEADY, rotation_deg=rotation_deg))
    turned = next(read_frames(info))[1]
    assert turned.shape == (info.height, info.width, 3)
    assert (info.width, info.height) == ((320, 180) if turns == 2 else (180, 320))
    assert np.abs(turned.astype(int) - np.rot90(plain, turns)).mean() < 2


def test_an_hevc_clip_is_read(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", STEADY, codec="libx265"))
    assert info.codec == "hevc"
    assert [abs(square_left_edge(rgb) - 4 * n) <= 2 for n, (_, rgb) in enumerate(read_frames(info))]
    assert len(list(read_frames(info))) == 20


def test_a_vp9_webm_is_read(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.webm", STEADY, codec="libvpx-vp9"))
    assert len(list(read_frames(info))) == 20


def test_pictures_of_a_width_that_pads_rows_are_contiguous_and_straight(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", STEADY, width=854, height=480))
    for n, (_, rgb) in enumerate(read_frames(info)):
        assert rgb.shape == (480, 854, 3)
        assert rgb.flags["C_CONTIGUOUS"] and rgb.strides == (854 * 3, 3, 1)
        top, bottom = square_left_edge(rgb[122:140]), square_left_edge(rgb[220:238])
        assert abs(top - 4 * n) <= 2 and abs(bottom - 4 * n) <= 2


@pytest.mark.parametrize("rotation_deg", [0, 90])
def test_planes_show_what_the_pictures_show(tmp_path: Path, rotation_deg: int) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", STEADY, 854, 480, rotation_deg=rotation_deg))
    width, height = (854, 480) if rotation_deg == 0 else (480, 854)
    (planes_s, (y, u, v)), (rgb_s, rgb) = (
        next(read_planes(info, width, height)),
        next(read_frames(info)),
    )
    assert planes_s == rgb_s
    assert y.shape == (height, width) and u.shape == v.shape == (height // 2, width // 2)
    white = y > 180
    assert np.mean(white != (rgb[..., 1] > 180)) < 0.005
    assert np.abs(u.astype(int) - 128).max() <= 2  # grey and white have no colour


def test_reading_from_the_middle_gives_the_pictures_asked_for(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", [n / 30 for n in range(60)]))
    asked = info.times_s[[40, 41, 45]]
    read = list(read_frames(info, asked))
    assert [t_s for t_s, _ in read] == pytest.approx(list(asked))
    for n, (_, rgb) in zip([40, 41, 45], read, strict=True):
        assert abs(square_left_edge(rgb) - 4 * n) <= 2


def test_pictures_are_scaled_in_proportion(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", STEADY))
    assert next(read_frames(info, max_side_px=160))[1].shape == (90, 160, 3)
    assert next(read_frames(info, max_side_px=1000))[1].shape == (180, 320, 3)
    assert scaled_size(1080, 1920, 1280) == (720, 1280)


def test_sound_beside_the_picture_does_not_disturb(tmp_path: Path) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", STEADY, sound=True))
    assert len(list(read_frames(info))) == 20


@pytest.mark.parametrize(
    ("fps", "rate_hz", "kept"),
    [(30, 30, 300), (60, 30, 300), (29.97, 30, 300), (120, 30, 300), (30, 15, 150), (24, 15, 150)],
)
def test_no_more_than_the_rate_asked_for_is_kept(fps: float, rate_hz: float, kept: int) -> None:
    times_s = np.arange(round(10 * fps)) / fps
    chosen = at_most(times_s, rate_hz)
    assert len(chosen) == pytest.approx(kept, abs=1)
    assert chosen[0] == 0
    assert np.diff(chosen).max() < 2 / rate_hz + 1e-9


def test_rounded_and_jittered_times_lose_no_picture() -> None:
    steady = np.arange(300) / 30
    assert len(at_most(np.round(steady, 3), 30)) == 300
    jitter = np.random.default_rng(0).uniform(-0.004, 0.004, 300)
    assert len(at_most(np.sort(steady + np.abs(jitter)), 30)) == 300


def cut(path: Path, share: float) -> Path:
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    return path


def test_a_truncated_mkv_gives_what_it_holds_and_says_so(tmp_path: Path) -> None:
    whole = make_clip(tmp_path / "a.mkv", [n / 5 for n in range(60)])
    info = probe(cut(whole, 0.6))
    assert 10 < info.frames < 50
    assert "cut off" in info.notes[0]
    assert len(list(read_frames(info))) >= info.frames - 2


def test_each_unreadable_file_is_refused_in_its_own_sentence(tmp_path: Path) -> None:
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "text.mp4").write_text("This is not a video.\n" * 50)
    (tmp_path / "folder.mp4").mkdir()
    cut(make_clip(tmp_path / "truncated.mp4", STEADY), 0.5)
    make_sound(tmp_path / "sound.mp4")
    make_clip(tmp_path / "single.mp4", [0.0])
    said = {}
    for name in ("absent", "empty", "text", "folder", "truncated", "sound", "single"):
        with pytest.raises(ClipError) as refused:
            probe(tmp_path / f"{name}.mp4")
        said[name] = str(refused.value)
        assert f"{name}.mp4" in said[name] and "\n" not in said[name]
    assert "no such file" in said["absent"]
    assert "is empty" in said["empty"]
    assert "not a video" in said["text"]
    assert "is a folder" in said["folder"]
    assert "cut off" in said["truncated"]
    assert "only sound" in said["sound"]
    assert "single picture" in said["single"]
    assert len(set(said.values())) == len(said)


def named(path: Path, name: str) -> Path:
    os.link(path, other := path.with_name(name))
    return other


@pytest.mark.parametrize(
    "name", ["12:30.mp4", "http:a.mp4", "concat:a.mp4", "-i.mp4", os.fsdecode(b"n\xff.mp4")]
)
def test_a_name_is_never_taken_for_an_address(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    named(make_clip(tmp_path / "whole.mp4", STEADY), name)
    monkeypatch.chdir(tmp_path)
    assert probe(Path(name)).frames == 20
    with pytest.raises(ClipError, match="no such file"):
        probe(Path("http://127.0.0.1:9/a.mp4"))


def test_a_file_that_refers_to_others_is_no_clip(tmp_path: Path) -> None:
    clip = make_clip(tmp_path / "whole.ts", STEADY)
    assert len(list(read_frames(probe(clip)))) == 20
    lists = {
        "concat.mp4": f"ffconcat version 1.0\nfile '{clip}'\n",
        "live.m3u8": f"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\n{clip}\n",
        "play.mp4": f"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\n{clip}\n",
        "session.mp4": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=a\nm=video 5004 RTP/AVP 96\n",
    }
    for name, text in lists.items():
        (tmp_path / name).write_text(text)
        with pytest.raises(ClipError, match="not a video"):
            probe(tmp_path / name)


def test_a_pipe_or_a_device_is_refused_and_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.mp4")
    for path in (tmp_path / "pipe.mp4", Path("/dev/zero")):
        with pytest.raises(ClipError, match="a device or a pipe"):
            probe(path)


@pytest.mark.parametrize(
    ("name", "jump_s"), [("a.mp4", 60.0), ("a.mp4", 4e3), ("a.mkv", 4e3), ("a.mkv", 3e7)]
)
def test_times_that_jump_are_cut_where_they_do(tmp_path: Path, name: str, jump_s: float) -> None:
    info = probe(make_clip(tmp_path / name, STEADY[:14] + [jump_s + t for t in STEADY[14:]]))
    assert info.frames == 14
    assert info.duration_s == pytest.approx(14 / 30, abs=0.01)
    assert "jump by" in info.notes[0] and "14 of its 20 pictures" in info.notes[0]
    assert len(list(read_frames(info))) == 14


def test_the_longest_stretch_between_jumps_is_read_from_its_own_first_picture(
    tmp_path: Path,
) -> None:
    info = probe(make_clip(tmp_path / "a.mp4", STEADY[:5] + [100 + t for t in STEADY[5:]]))
    assert (info.frames, info.times_s[0]) == (15, 0.0)
    read = list(read_frames(info))
    assert [t_s for t_s, _ in read] == pytest.approx(list(info.times_s), abs=1e-4)
    assert abs(square_left_edge(read[0][1]) - 4 * 5) <= 2


@pytest.mark.parametrize(
    ("times_s", "said"),
    [([n * 19.0 for n in range(200)], "minutes long"), ([n / 5000 for n in range(99)], "a second")],
)
def test_a_length_or_a_rate_no_clip_has_is_refused(
    tmp_path: Path, times_s: list[float], said: str
) -> None:
    with pytest.raises(ClipError, match=said):
        probe(make_clip(tmp_path / "a.mp4", times_s))


@pytest.mark.parametrize("size", [(16, 16), (2000, 16)])
def test_a_picture_too_small_to_show_a_body_is_refused(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    with pytest.raises(ClipError, match=r"pictures of \d+×16 px"):
        probe(make_clip(tmp_path / "a.mp4", STEADY, *size))


def test_a_codec_that_is_not_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match=r"not read \(ffv1\).*H\.264"):
        probe(make_clip(tmp_path / "a.mkv", STEADY, codec="ffv1"))


def test_a_clip_is_looked_at_in_a_process_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip = make_clip(tmp_path / "a.mp4", STEADY)
    assert probe_apart(clip).frames == 20

    def lost(*_: object) -> None:
        raise WorkLostError("memory")

    monkeypatch.setattr(read, "work_apart", lost)
    with pytest.raises(ClipError, match=r"a\.mp4: decoding it takes more memory"):
        probe_apart(clip)


def test_a_clip_without_permission_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip = make_clip(tmp_path / "a.mp4", STEADY)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)  # file modes do not bind the root user
    with pytest.raises(ClipError, match="no permission"):
        probe(clip)
