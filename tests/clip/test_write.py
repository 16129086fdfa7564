from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from formcheck.clip.read import probe, read_frames
from formcheck.clip.write import ClipWriter
from tests.clip.clips import picture, planes_of, square_left_edge

TIMES = [0.0, 0.0333, 0.1, 0.14, 0.15, 0.3]


def write(path: Path, width: int = 320, height: int = 180) -> Path:
    with ClipWriter(path, width, height, fps=20) as clip:
        for n, t_s in enumerate(TIMES):
            clip.write_planes(planes_of(picture(n, width, height)), t_s)
    return path


def test_written_pictures_come_back_at_their_times(tmp_path: Path) -> None:
    info = probe(write(tmp_path / "a.mp4"))
    np.testing.assert_allclose(info.times_s, TIMES, atol=1e-4)
    for n, (_, rgb) in enumerate(read_frames(info)):
        assert abs(square_left_edge(rgb) - 4 * n) <= 2
        assert abs(int(rgb[10, 300, 0]) - 90) <= 4  # the grey keeps its brightness


def test_the_clip_plays_anywhere(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4")
    with av.open(str(path)) as container:
        assert container.streams.video[0].codec_context.name == "h264"
        assert container.streams.video[0].codec_context.pix_fmt == "yuv420p"
        assert not container.streams.audio
    data = path.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_a_failure_leaves_neither_a_part_nor_an_earlier_clip_changed(tmp_path: Path) -> None:
    path = tmp_path / "a.mp4"
    path.write_bytes(b"earlier")
    with pytest.raises(ValueError, match="ndim"), ClipWriter(path, 320, 180) as clip:
        clip.write_planes(np.zeros((180, 320, 3), dtype=np.uint8), 0.0)
    assert path.read_bytes() == b"earlier"
    assert list(tmp_path.iterdir()) == [path]


def test_what_changed_does_not_shine_through(tmp_path: Path) -> None:
    path, pictures = tmp_path / "a.mp4", []
    with ClipWriter(path, 320, 96) as clip:
        for n in range(60):  # bars as fine as digits, elsewhere every third picture
            rgb = np.full((96, 320, 3), 24, np.uint8)
            places = np.random.default_rng(n // 3).integers(8, 300, 12)
            for x in places:
                rgb[30:60, x : x + 4] = 235
            pictures.append(planes_of(rgb))
            clip.write_planes(pictures[-1], n / 30)
    with av.open(str(path)) as written:
        shown = [frame.to_ndarray()[:96].astype(int) for frame in written.decode(video=0)]
    away = [np.abs(after - before[:96]) for after, before in zip(shown, pictures, strict=True)]
    assert max(np.percentile(one, 99.5) for one in away) < 40


def test_a_folder_named_like_an_address_is_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("concat:reports").mkdir()
    assert probe(write(Path("concat:reports") / "a.mp4")).frames == len(TIMES)
