from __future__ import annotations

import base64
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import numpy.typing as npt
import pytest

from formcheck.analysis import Analysis
from formcheck.clip.read import probe
from formcheck.clip.small import LONG_SIDE_PX, Drawn
from formcheck.faults.catalogue import fault_kinds
from formcheck.report.video.annotate import annotate
from formcheck.report.video.canvas import Canvas
from formcheck.report.video.overlay import Readings
from formcheck.reps.look import Look
from tests.report.conftest import CLIPS, Written


def film(
    path: Path, times_s: npt.NDArray[np.float64], size: tuple[int, int], late_s: float
) -> None:
    """A clip whose pictures are as bright as the set is old: 40 + 40 levels a second."""
    width, height = size
    rng = np.random.default_rng(0)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"crf": "10"})
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 90_000)
        for t_s in times_s:
            planes = np.full((height * 3 // 2, width), 128, np.uint8)
            planes[:height] = round(40 + 40 * (t_s + late_s))
            # Noise below, so that the clip is not smaller than any real one of its size.
            planes[height * 2 // 3 : height] = rng.integers(
                0, 255, (height - height * 2 // 3, width)
            )
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.pts, frame.time_base = round(t_s * 90_000), Fraction(1, 90_000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())


def pictures(path: Path) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.uint8]]:
    """Times (N,) and luma (N, H, W) of every picture of a clip."""
    times, lumas = [], []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            times.append(float(frame.time or 0.0))
            lumas.append(frame.to_ndarray(format="gray"))
    return np.array(times), np.array(lumas)


def seen_by(analysis: Analysis, *looks: Look) -> Analysis:
    return replace(analysis, measured=replace(analysis.measured, looks=looks))


def out_of_sight(view: Look, offset_s: float = 0.0) -> Look:
    """The view with nobody in position, so that nothing is drawn over the picture."""
    signals = replace(view.signals, in_position=np.zeros_like(view.signals.in_position))
    return replace(view, signals=signals, offset_s=offset_s)


def test_every_picture_keeps_its_time(written: Written) -> None:
    before, _ = pictures(CLIPS / "hip_sag_side.mp4")
    after, _ = pictures(written.folder / "annotated.mp4")
    assert len(after) == len(before)
    assert np.abs(after - before).max() < 0.001


def test_the_clip_takes_about_25_kb_a_second_as_the_readme_says(written: Written) -> None:
    path = written.folder / "annotated.mp4"
    assert path.stat().st_size / probe(path).duration_s == pytest.approx(25_000, rel=0.25)


def test_the_clip_is_one_that_every_browser_plays(written: Written) -> None:
    with av.open(str(written.folder / "annotated.mp4")) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264" and stream.pix_fmt == "yuv420p"
        assert not container.streams.audio
    head = (written.folder / "annotated.mp4").read_bytes()
    assert head.index(b"moov") < head.index(b"mdat")


def test_variable_frame_times_are_kept(sagging: Analysis, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    times_s = np.concatenate(([0.0], np.cumsum(rng.uniform(0.02, 0.08, 60))))
    film(tmp_path / "phone.mp4", times_s, (320, 240), 0.0)
    hidden = seen_by(sagging, out_of_sight(sagging.looks[0]))
    annotate(hidden, [Drawn(probe(tmp_path / "phone.mp4"))], tmp_path / "out.mp4")
    after, _ = pictures(tmp_path / "out.mp4")
    assert np.abs(after - times_s).max() < 0.001


def test_two_views_stand_side_by_side_in_step(sagging: Analysis, tmp_path: Path) -> None:
    late_s = 0.83
    film(tmp_path / "a.mp4", np.arange(0, 4, 1 / 30), (320, 180), 0.0)
    film(tmp_path / "b.mp4", np.arange(0, 3, 1 / 24), (180, 320), late_s)
    views = (out_of_sight(sagging.looks[0]), out_of_sight(sagging.looks[0], late_s))
    clips = [Drawn(probe(tmp_path / name)) for name in ("a.mp4", "b.mp4")]
    annotated = annotate(seen_by(sagging, *views), clips, tmp_path / "o.mp4")
    times_s, lumas = pictures(tmp_path / "o.mp4")
    shared = (times_s > late_s + 0.1) & (times_s < 3.7)
    left_s, right_s = (
        lumas[shared, 60:160, columns].mean(axis=(1, 2)) / 40
        for columns in (slice(40, 140), slice(annotated.width - 100, annotated.width - 40))
    )
    assert shared.sum() > 80 and np.ptp(left_s) > 1 and np.ptp(right_s) > 1
    assert np.abs(left_s - right_s).max() <= 1 / 24 + 0.02  # a frame, and the encoder's rounding


def test_the_elbow_has_a_number_only_in_the_view_that_judged_it(
    sagging: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a.mp4", "b.mp4"):
        film(tmp_path / name, np.arange(0, 4, 1 / 30), (320, 180), 0.0)
    judged, other = sagging.looks[0], replace(sagging.looks[0])
    numbers: dict[int, list[float]] = {id(judged): [], id(other): []}

    def keep(picture: Canvas, points: object, look: Look, readings: Readings, unit: float) -> None:
        numbers[id(look)].append(readings.elbow_deg)

    monkeypatch.setattr("formcheck.report.video.annotate.paint_body", keep)
    clips = [Drawn(probe(tmp_path / name)) for name in ("a.mp4", "b.mp4")]
    annotate(seen_by(sagging, judged, other), clips, tmp_path / "o.mp4")
    assert len(numbers[id(other)]) > 60 and np.isnan(numbers[id(other)]).all()
    assert np.isfinite(numbers[id(judged)]).mean() > 0.9


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920), (854, 480), (362, 202)])
def test_any_picture_size_gives_an_even_one_of_at_most_the_long_side(
    sagging: Analysis, tmp_path: Path, size: tuple[int, int]
) -> None:
    film(tmp_path / "clip.mp4", np.arange(3) / 30, size, 0.0)
    annotated = annotate(sagging, [Drawn(probe(tmp_path / "clip.mp4"))], tmp_path / "out.mp4")
    _, lumas = pictures(tmp_path / "out.mp4")
    assert lumas.shape[1:] == (annotated.height, annotated.width)
    assert max(lumas.shape[1:]) <= LONG_SIDE_PX
    assert annotated.width % 2 == annotated.height % 2 == 0
    assert annotated.poster.shape == (annotated.height, annotated.width, 3)


def test_each_fault_has_its_picture_on_the_page(written: Written) -> None:
    page = (written.folder / "report.html").read_text(encoding="utf-8")
    stills = re.findall(r'<img src="data:image/jpeg;base64,([^"]+)"', page)
    shown = [f for f in written.analysis.faults if fault_kinds()[f.key].phase is None]
    assert len(stills) == len(shown) > 0
    for still in stills:
        picture = cv2.imdecode(np.frombuffer(base64.b64decode(still), np.uint8), cv2.IMREAD_COLOR)
        assert picture is not None
        height, width = picture.shape[:2]
        assert width <= 480 and width / height == pytest.approx(1.6, abs=0.02)
        assert picture.std() > 10


def test_a_sagging_hip_turns_the_line_hot_in_that_rep_only(written: Written) -> None:
    hot = []
    rows = 280  # above the faults that are called
    bottoms = [result.rep.bottom_s for result in written.analysis.reps]
    with (
        av.open(str(CLIPS / "hip_sag_side.mp4")) as source,
        av.open(str(written.folder / "annotated.mp4")) as drawn,
    ):
        for before, after in zip(source.decode(video=0), drawn.decode(video=0), strict=True):
            if not bottoms or float(after.time or 0.0) < bottoms[0]:
                continue
            bottoms.pop(0)
            was, now = (f.to_ndarray(format="rgb24")[:rows].astype(int) for f in (before, after))
            changed = np.abs(now - was).max(axis=2) > 60
            orange = (now[..., 0] > 190) & (now[..., 1] < 170) & (now[..., 2] < 130)
            hot.append(int((changed & orange).sum()))
    assert max(hot[:3]) < 60 < 300 < min(hot[-2:])


def test_faults_are_called_along_the_upper_edge_when_the_person_is_at_the_lower(
    sagging: Analysis, tmp_path: Path
) -> None:
    view = sagging.looks[0]
    low = {name: xy + np.array([0.0, 70.0]) for name, xy in view.signals.drawn_px.items()}
    lower = replace(view, signals=replace(view.signals, drawn_px=low))
    called = next(f for f in sagging.faults if f.key == "hip_sag" and f.verdict == "fault")
    for shown, edge in ((view, slice(300, 350)), (lower, slice(2, 30))):
        annotate(
            seen_by(sagging, shown),
            [Drawn(probe(CLIPS / "hip_sag_side.mp4"))],
            tmp_path / "out.mp4",
        )
        with av.open(str(tmp_path / "out.mp4")) as drawn:
            picture = next(
                frame.to_ndarray(format="rgb24").astype(int)
                for frame in drawn.decode(video=0)
                if float(frame.time or 0.0) >= called.at_s + 0.1
            )
        strip = np.median(picture[edge, 300:340], axis=(0, 1))
        assert strip[0] > 140 > 90 > strip[1], f"no call in rows {edge}"
