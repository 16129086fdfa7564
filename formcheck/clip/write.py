"""Write a clip that plays anywhere: H.264, yuv420p, index in front, no sound."""

from __future__ import annotations

import os
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
from av.video.frame import VideoFrame

from formcheck.clip.read import Plane

_TICK = Fraction(1, 90_000)  # fine enough for any camera's timestamps
# Constant quality, whatever size that takes: clean for thin lines and for digits that change, of
# which earlier ones shine through where the size is capped (looked at; 22 shows no difference).
_CRF = 24
_PRESET = "veryfast"
# For a copy that is read once and gone: close to the original, and quick both ways.
_PASSING = {"crf": "18", "preset": "ultrafast", "threads": "1"}
_BT709 = 1  # H.273 number
_AHEAD = 4  # pictures handed over that may wait for the encoder


class ClipWriter:
    """Write pictures with their own times; the file appears when the block ends well.

    Pictures are encoded beside the block, a few behind it.

    ``width``, ``height`` px, both even. ``fps`` is the mean rate, a hint to the encoder; the
    times given with the pictures are kept.
    ``colour_matrix`` (H.273) is what the planes are in. ``passing`` writes fast instead of small.

        with ClipWriter(path, 1280, 720, fps=30) as clip:
            clip.write_planes(packed, t_s)
    """

    def __init__(
        self,
        path: Path,
        width: int,
        height: int,
        fps: float = 30.0,
        colour_matrix: int = _BT709,
        *,
        passing: bool = False,
    ) -> None:
        self._path = path
        self._partial = path.with_name(f".{path.name}.{os.getpid()}.partial")
        self._last_pts = -1
        self._encoder = ThreadPoolExecutor(1)
        self._waiting: deque[Future[None]] = deque()
        options = {"crf": str(_CRF), "preset": _PRESET, "threads": "auto"}
        if passing:
            options = dict(_PASSING)
        self._container = av.open(
            os.path.abspath(self._partial),  # noqa: PTH100 - never taken for an address
            "w",
            format="matroska" if passing else "mp4",
            options={} if passing else {"movflags": "+faststart"},
        )
        self._stream = self._container.add_stream(
            "libx264", rate=Fraction(fps).limit_denominator(1001), options=options
        )
        self._stream.width, self._stream.height = width, height
        self._stream.pix_fmt = "yuv420p"
        self._stream.codec_context.time_base = _TICK
        self._stream.codec_context.color_range = 1  # limited, as players expect
        self._stream.codec_context.colorspace = colour_matrix

    def write_planes(self, packed: Plane, t_s: float) -> None:
        """Add one (height * 3 / 2, width) uint8 picture, Y over U over V, limited range.

        It is shown from ``t_s`` seconds on, which must be later than the last one's.
        """
        frame = VideoFrame.from_ndarray(packed, format="yuv420p")
        frame.pts = self._last_pts = max(round(t_s / _TICK), self._last_pts + 1)
        frame.time_base = _TICK
        self._waiting.append(self._encoder.submit(self._encode, frame))
        if len(self._waiting) > _AHEAD:
            self._waiting.popleft().result()

    def _encode(self, frame: VideoFrame | None) -> None:
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
            self._encoder.shutdown(cancel_futures=kind is not None)
            if kind is None:
                for written in self._waiting:
                    written.result()
                self._encode(None)
            self._container.close()
            if kind is None:
                self._partial.replace(self._path)
        finally:
            self._partial.unlink(missing_ok=True)
