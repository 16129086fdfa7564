"""Write a clip that plays anywhere: H.264, yuv420p, index in front, no sound."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
from av.video.frame import VideoFrame

from formcheck.clip.read import Plane, RgbImage

_TICK = Fraction(1, 90_000)  # fine enough for any camera's timestamps
_CRF = 27  # still clean for thin lines and text on a phone
_PRESET = "veryfast"
_BT709 = 1  # H.273 number


def even_size(width: int, height: int) -> tuple[int, int]:
    """The picture size that will be written: yuv420p needs even sides."""
    return max(2, width - width % 2), max(2, height - height % 2)


class ClipWriter:
    """Write pictures with their own times; the file appears when the block ends well.

    ``width``, ``height`` px of the pictures given; an odd last row or column is dropped.
    ``fps`` is the mean rate, a hint to the encoder; the times given to ``write`` are kept.
    ``max_bit_rate`` in bits a second caps the size. ``colour_matrix`` (H.273) is what the
    planes given to ``write_planes`` are in; ``write`` needs BT.709.

        with ClipWriter(path, 1280, 720, fps=30) as clip:
            clip.write(rgb, t_s)
    """

    def __init__(
        self,
        path: Path,
        width: int,
        height: int,
        fps: float = 30.0,
        max_bit_rate: int | None = None,
        colour_matrix: int = _BT709,
    ) -> None:
        self._path = path
        self._partial = path.with_name(f".{path.name}.{os.getpid()}.partial")
        self._width, self._height = even_size(width, height)
        self._last_pts = -1
        options = {"crf": str(_CRF), "preset": _PRESET}
        if max_bit_rate is not None:
            options |= {"maxrate": str(max_bit_rate), "bufsize": str(2 * max_bit_rate)}
        self._container = av.open(
            str(self._partial), "w", format="mp4", options={"movflags": "+faststart"}
        )
        self._stream = self._container.add_stream(
            "libx264", rate=Fraction(fps).limit_denominator(1001), options=options
        )
        self._stream.width, self._stream.height = self._width, self._height
        self._stream.pix_fmt = "yuv420p"
        self._stream.codec_context.time_base = _TICK
        self._stream.codec_context.color_range = 1  # limited, as players expect
        self._stream.codec_context.colorspace = colour_matrix

    def write(self, rgb: RgbImage, t_s: float) -> None:
        """Add one (height, width, 3) uint8 picture shown from ``t_s``, later than the last."""
        frame = VideoFrame.from_ndarray(rgb[: self._height, : self._width], format="rgb24")
        self._encode(frame.reformat(format="yuv420p", dst_colorspace="ITU709"), t_s)

    def write_planes(self, packed: Plane, t_s: float) -> None:
        """Add one (height * 3 / 2, width) uint8 picture, Y over U over V, limited range."""
        self._encode(VideoFrame.from_ndarray(packed, format="yuv420p"), t_s)

    def _encode(self, frame: VideoFrame, t_s: float) -> None:
        frame.pts = self._last_pts = max(round(t_s / _TICK), self._last_pts + 1)
        frame.time_base = _TICK
        for packet in self._stream.encode(frame):
            self._container.mux(packet)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if kind is None:
                for packet in self._stream.encode():
                    self._container.mux(packet)
            self._container.close()
            if kind is None:
                self._partial.replace(self._path)
        finally:
            self._partial.unlink(missing_ok=True)
