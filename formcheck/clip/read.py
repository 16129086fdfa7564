"""Read a clip: what it is, and its pictures one at a time with their real times.

Times come from the container, since phones record variable frame rates. Pictures are turned
as the phone's rotation says, given square pixels, and scaled while their colour is converted,
so that one small picture at a time is all that is held.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from formcheck.errors import ClipError
from formcheck.maths.arrays import FloatArray

RgbImage = npt.NDArray[np.uint8]  # (height, width, 3), contiguous
Plane = npt.NDArray[np.uint8]  # (height, width)
Planes = tuple[Plane, Plane, Plane]  # Y, and U and V at half the width and height

_DECODER_THREADS = 2  # decoding is never what takes long, and each holds whole frames
_ATTACHED_PICTURE = "attached_pic"  # a sound file's cover art is no clip
# A frame up to a quarter period early still fills its place on the pose grid: mp4 and mkv
# round times to milliseconds and phones jitter by as much.
_EARLY = 0.25


@dataclass(frozen=True)
class ClipInfo:
    """A readable clip.

    ``width``, ``height`` px as displayed (turned, square pixels); ``fps`` mean rate;
    ``times_s`` (N,) presentation times of all N pictures from the first one, ``key_times_s`` of
    those that can be decoded without others; ``rotation_deg``
    counter-clockwise turn applied for display; ``variable_rate`` when intervals differ by more
    than timestamp rounding; ``notes`` are remarks for the report;
    ``colour_matrix`` as H.273 numbers it (1 BT.709, 5 and 6 BT.601, 2 not said).
    """

    path: Path
    width: int
    height: int
    fps: float
    duration_s: float
    rotation_deg: int
    variable_rate: bool
    codec: str
    times_s: FloatArray = field(repr=False)
    key_times_s: FloatArray = field(repr=False)
    notes: tuple[str, ...] = ()
    colour_matrix: int = 2
    first_pts: int = field(default=0, repr=False)
    time_base: Fraction = field(default=Fraction(1), repr=False)

    @property
    def frames(self) -> int:
        return len(self.times_s)


def probe(path: Path) -> ClipInfo:
    """Look at a clip without keeping a picture.

    Raises ClipError, one sentence, when it is missing, a folder, empty, not a video, cut off
    before anything can be shown, sound only, a single picture, or not permitted.
    """
    head = _first_bytes(path)
    with _opened(path, head) as container:
        stream = _picture_stream(path, container)
        is_key = {
            packet.pts: packet.is_keyframe
            for packet in container.demux(stream)
            if packet.pts is not None and not packet.is_discard
        }
        container.seek(0)
        first = next(_decoded(container, stream), None)
        if first is None or first.pts is None:
            raise ClipError(
                f"{path}: no picture in it can be decoded; copy the clip again or re-export it "
                "as H.264 mp4."
            )
        time_base = stream.time_base or Fraction(1)
        shown = np.array(sorted(p for p in is_key if p >= first.pts), dtype=np.int64)
        times_s = np.asarray((shown - first.pts) * float(time_base), dtype=np.float64)
        if len(times_s) < 2:
            raise ClipError(f"{path} is a single picture; give a video of the whole set.")
        step_s = float(np.median(np.diff(times_s)))
        duration_s = float(times_s[-1]) + step_s
        width, height = _displayed_size(first, stream)
        return ClipInfo(
            path=path,
            width=width,
            height=height,
            fps=(len(times_s) - 1) / float(times_s[-1]),
            duration_s=duration_s,
            rotation_deg=_quarter_turn(first),
            variable_rate=_varies(times_s, step_s, float(time_base)),
            codec=stream.codec_context.name,
            times_s=times_s,
            key_times_s=times_s[[is_key[pts] for pts in shown.tolist()]],
            notes=_early_end(container, stream, len(times_s), duration_s),
            first_pts=first.pts,
            time_base=time_base,
            colour_matrix=int(first.colorspace),
        )


def at_most(times_s: FloatArray, rate_hz: float) -> FloatArray:
    """The times to look at so that no more than ``rate_hz`` a second remain, evenly spread."""
    place = np.floor(times_s * rate_hz + _EARLY)
    kept: FloatArray = times_s[np.diff(place, prepend=-1) > 0]
    return kept


def read_frames(
    info: ClipInfo,
    times_s: FloatArray | None = None,
    max_side_px: int | None = None,
) -> Iterator[tuple[float, RgbImage]]:
    """Pictures in order, each with its time in seconds from the clip's first picture.

    ``times_s`` increasing: the pictures wanted (all by default); decoding starts at the last
    key picture before the first of them. ``max_side_px``: scale down so the longer side is at
    most this. Pictures that cannot be decoded are left out.
    """
    to_width, to_height = scaled_size(info.width, info.height, max_side_px)
    if info.rotation_deg % 180:
        to_width, to_height = to_height, to_width
    for t_s, frame in _shown(info, info.times_s if times_s is None else times_s):
        picture = frame.reformat(
            width=to_width, height=to_height, format="rgb24", interpolation="AREA"
        ).to_ndarray()
        # Rows may come padded; mediapipe ignores strides and would see a skewed picture.
        yield t_s, np.ascontiguousarray(np.rot90(picture, info.rotation_deg // 90))


def read_planes(info: ClipInfo, width: int, height: int) -> Iterator[tuple[float, Planes]]:
    """Every picture in order with its time in seconds, as video planes of the size asked.

    ``width``, ``height`` px as displayed, both even. Y (height, width) and U, V of half the
    size, limited range, in the clip's own ``colour_matrix``: nothing is converted that need not
    be, which makes this several times cheaper than RGB there and back.
    """
    to_width, to_height = (height, width) if info.rotation_deg % 180 else (width, height)
    for t_s, frame in _shown(info, info.times_s):
        packed = frame.reformat(
            width=to_width, height=to_height, format="yuv420p", interpolation="AREA",
            dst_color_range="MPEG",
        ).to_ndarray()  # fmt: skip
        flat, area = np.asarray(packed, np.uint8).reshape(-1), to_width * to_height
        half = (to_height // 2, to_width // 2)
        y, u, v = (
            np.rot90(plane, info.rotation_deg // 90)
            for plane in (
                flat[:area].reshape(to_height, to_width),
                flat[area : area + area // 4].reshape(half),
                flat[area + area // 4 :].reshape(half),
            )
        )
        yield t_s, (y, u, v)


def _shown(info: ClipInfo, wanted: FloatArray) -> Iterator[tuple[float, VideoFrame]]:
    """The decoded pictures at the wanted times, as stored: not turned, not scaled."""
    if len(wanted) == 0:
        return
    half_tick_s = 0.5 * float(info.time_base)
    with _opened(info.path, b"") as container:
        stream = _picture_stream(info.path, container)
        start = info.first_pts + round(float(wanted[0]) / float(info.time_base))
        container.seek(start, stream=stream, backward=True)
        position = 0
        for frame in _decoded(container, stream):
            if frame.pts is None:
                continue
            t_s = (frame.pts - info.first_pts) * float(info.time_base)
            if t_s < wanted[position] - half_tick_s:
                continue
            yield t_s, frame
            position = int(np.searchsorted(wanted, t_s + half_tick_s))
            if position == len(wanted):
                return


def scaled_size(width: int, height: int, max_side_px: int | None) -> tuple[int, int]:
    """Width and height, in proportion, with the longer side at most ``max_side_px``."""
    scale = min(1.0, (max_side_px or math.inf) / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def _first_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            head = file.read(12)
    except FileNotFoundError as error:
        raise ClipError(f"{path}: there is no such file; check the name.") from error
    except IsADirectoryError as error:
        raise ClipError(
            f"{path} is a folder; give the clip inside it, or two clips of one set."
        ) from error
    except PermissionError as error:
        raise ClipError(f"{path}: no permission to read it; change its permissions.") from error
    except OSError as error:
        raise ClipError(f"{path} cannot be read ({error.strerror}); copy it again.") from error
    if not head:
        raise ClipError(f"{path} is empty; copy the clip again from the camera.")
    return head


def _opened(path: Path, head: bytes) -> InputContainer:
    try:
        return av.open(str(path), metadata_errors="replace")
    except (av.error.FFmpegError, ValueError) as error:
        if head[4:8] == b"ftyp":
            raise ClipError(
                f"{path} is cut off: its index is missing, so the recording or the copy was "
                "interrupted; copy the clip again."
            ) from error
        raise ClipError(
            f"{path} is not a video that can be read; give an mp4, mov, mkv or webm clip."
        ) from error


def _picture_stream(path: Path, container: InputContainer) -> VideoStream:
    for stream in container.streams.video:
        if not stream.disposition & av.stream.Disposition[_ATTACHED_PICTURE]:
            stream.thread_type = "AUTO"
            stream.codec_context.thread_count = _DECODER_THREADS
            return stream
    raise ClipError(f"{path} holds no picture, only sound or data; give the video clip.")


def _decoded(container: InputContainer, stream: VideoStream) -> Iterator[VideoFrame]:
    """Decode on past damaged packets; an unreadable tail ends the clip."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
            if packet is None:
                return
            yield from packet.decode()
        except av.error.InvalidDataError:
            continue
        except av.error.FFmpegError:
            return


def _quarter_turn(frame: VideoFrame) -> int:
    return round(frame.rotation / 90) * 90 % 360


def _displayed_size(frame: VideoFrame, stream: VideoStream) -> tuple[int, int]:
    aspect = stream.sample_aspect_ratio or Fraction(1)
    width, height = round(frame.width * aspect), frame.height
    return (height, width) if _quarter_turn(frame) % 180 else (width, height)


def _varies(times_s: FloatArray, step_s: float, tick_s: float) -> bool:
    rounding_s = max(2 * tick_s, 0.0015)
    return bool(np.mean(np.abs(np.diff(times_s) - step_s) > rounding_s) > 0.01)


def _early_end(
    container: InputContainer, stream: VideoStream, frames: int, duration_s: float
) -> tuple[str, ...]:
    """A remark when the file ends well before its index or header says it should."""
    if stream.duration is not None and stream.time_base is not None:
        promised_s = float(stream.duration * stream.time_base)
    elif container.duration is not None:
        promised_s = container.duration / av.time_base
    else:
        return ()
    if duration_s > promised_s - max(1.0, 0.02 * promised_s):
        return ()
    note = (
        f"The file is cut off: {duration_s:.1f} s of {promised_s:.1f} s can be read; "
        "what comes after is not in this report."
    )
    return (note,)
