"""Small clips made for the tests: a white square walks over grey, one step a frame."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

TICK = Fraction(1, 90_000)


def picture(n: int, width: int, height: int) -> npt.NDArray[np.uint8]:
    """Grey, with a white square of a quarter of the height, 4 n pixels from the left edge."""
    rgb = np.full((height, width, 3), 90, dtype=np.uint8)
    side = height // 4
    rgb[side : 2 * side, 4 * n : 4 * n + side] = 255
    return rgb


def planes_of(rgb: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """(height * 3 / 2, width): Y over U over V, BT.709, limited range."""
    frame = VideoFrame.from_ndarray(rgb, format="rgb24")
    planes = frame.reformat(format="yuv420p", dst_colorspace="ITU709").to_ndarray()
    return np.asarray(planes, dtype=np.uint8)


def square_left_edge(rgb: npt.NDArray[np.uint8]) -> int:
    """First column with a white pixel."""
    return int(np.flatnonzero((rgb[..., 1] > 180).any(axis=0))[0])


def make_clip(
    path: Path,
    times_s: Sequence[float],
    width: int = 320,
    height: int = 180,
    codec: str = "libx264",
    rotation_deg: int = 0,
    sound: bool = False,
) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=30)
        assert isinstance(stream, VideoStream)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.codec_context.time_base = TICK
        if codec == "libx265":
            stream.codec_context.options = {"x265-params": "log-level=none"}
        if rotation_deg:
            stream.set_display_rotation(rotation_deg)
        if sound:
            voice = container.add_stream("aac", rate=48_000)
            _hush(container, voice)
        for n, t_s in enumerate(times_s):
            frame = VideoFrame.from_ndarray(picture(n, width, height), format="rgb24")
            frame.pts, frame.time_base = round(t_s / TICK), TICK
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def make_sound(path: Path) -> Path:
    with av.open(str(path), "w") as container:
        _hush(container, container.add_stream("aac", rate=48_000))
    return path


def _hush(container: av.container.OutputContainer, stream: av.AudioStream) -> None:
    frame = av.AudioFrame.from_ndarray(np.zeros((1, 48_000), dtype=np.float32), "fltp", "mono")
    frame.sample_rate, frame.pts = 48_000, 0
    container.mux(stream.encode(frame))
    container.mux(stream.encode())
