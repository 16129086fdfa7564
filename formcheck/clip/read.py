"""Read a clip: what it is, and its pictures one at a time with their real times.

Times come from the container, since phones record variable frame rates. Pictures are turned
as the phone's rotation says, given square pixels, and scaled while their colour is converted,
so that one small picture at a time is all that is held.

A clip is read as the one regular file it is: opened by us and handed to the decoder, so that a
name is never taken for an address, and nothing a file refers to is opened. Only containers and
codecs read on purpose are; what a clip claims of its length and size is bounded; and whatever
the decoder raises becomes a sentence about the clip.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from threading import get_ident
from typing import Any, BinaryIO, TypeVar

import av
import numpy as np
import numpy.typing as npt
from av.container import InputContainer
from av.packet import Packet
from av.video.frame import VideoFrame
from av.video.reformatter import VideoReformatter
from av.video.stream import VideoStream

from formcheck.apart.process import WorkLostError, stream_apart, work_apart
from formcheck.clip.info import BT709, ClipInfo
from formcheck.errors import ClipError
from formcheck.files import open_regular
from formcheck.maths.arrays import FloatArray
from formcheck.plain import plain

RgbImage = npt.NDArray[np.uint8]  # (height, width, 3), contiguous
Plane = npt.NDArray[np.uint8]  # (height, width)
Planes = tuple[Plane, Plane, Plane]  # Y, and U and V at half the width and height
_Asked = TypeVar("_Asked")
_Read = TypeVar("_Read")

_DECODER_THREADS = 2  # each holds whole pictures
_LARGE_AREA_PX = 4_000_000  # of such, two processes at once hold no more than one each
_ATTACHED_PICTURE = "attached_pic"  # a sound file's cover art is no clip
_CONTAINERS = "mov,matroska,mpegts"  # mp4, mov and 3gp; mkv and webm; camcorders' ts
_CODECS = (
    "h264", "hevc", "vp8", "vp9", "av1", "libdav1d", "prores", "mjpeg", "mpeg4", "mpeg2video",
    "h263", "dnxhd",
)  # fmt: skip
_READ_BYTES = 1 << 18  # at once
# What a clip may claim. A set takes minutes; a picture between two of a phone's lasts 0.1 s at
# most; phones film 960 pictures a second; 8K is 7680 by 4320.
LONGEST_S = 3600.0
MOST_PICTURES = 1_000_000
FASTEST_FPS = 1000.0
SMALLEST_PX, LARGEST_PX, LARGEST_AREA_PX = 32, 8192, 8192 * 4608
_JUMP_S = 20.0  # times further apart are not those of one recording
_ALIVE_EVERY = 500  # packets
_LOST = {
    "died": "the decoder broke down on it",
    "memory": "decoding it takes more memory than a clip may",
    "stalled": "decoding it does not come to an end",
}
_REMEDY = "copy the clip again or re-export it as H.264 mp4."
# A frame up to a quarter period early still fills its place on the pose grid: mp4 and mkv
# round times to milliseconds and phones jitter by as much.
_EARLY = 0.25


def probe_apart(path: Path) -> ClipInfo:
    """``probe`` in a process of its own: how a clip from anywhere is first looked at.

    Raises ClipError, also when the decoder breaks down, hangs or takes too much memory.
    """
    _first_bytes(path)  # the usual refusals without a process
    try:
        return work_apart(probe, [path])[0]
    except WorkLostError as error:
        raise ClipError(f"{path}: {_LOST[error.how]}; {_REMEDY}") from error


def probe(path: Path, alive: Callable[[None], None] = lambda nothing: None) -> ClipInfo:
    """Look at a clip without keeping a picture; ``alive`` is called now and then.

    Raises ClipError, one sentence, when it is missing, a folder, empty, not a video, cut off
    before anything can be shown, sound only, a single picture, not permitted, or claims a length
    or size no clip has.
    """
    try:
        return _look(path, alive)
    except _DECODER_ERRORS as error:
        raise ClipError(f"{path}: the decoder cannot make sense of it; {_REMEDY}") from error


def _look(path: Path, alive: Callable[[None], None]) -> ClipInfo:
    head = _first_bytes(path)
    with _opened(path, head) as (container, stream):
        is_key: dict[int, bool] = {}
        for packet in _packets(container, stream):
            if packet.pts is None or packet.is_discard:
                continue
            is_key[packet.pts] = packet.is_keyframe
            if len(is_key) % _ALIVE_EVERY == 0:
                alive(None)
            if len(is_key) > MOST_PICTURES:
                raise ClipError(
                    f"{path} holds more than {MOST_PICTURES} pictures; cut the set out of it."
                )
        time_base = stream.time_base or Fraction(1)
    with _opened(path, head) as (container, stream):
        first = next((f for f in _decoded(container, stream) if f.pts is not None), None)
        if first is None or first.pts is None:
            raise ClipError(f"{path}: no picture in it can be decoded; {_REMEDY}")
        width, height = _displayed_size(first, stream)
        _check_size(path, width, height)
        shown = np.array(sorted(p for p in is_key if p >= first.pts), dtype=np.int64)
        shown, jumped = _one_recording(shown, float(time_base))
        if len(shown) < 2:
            raise ClipError(f"{path} is a single picture; give a video of the whole set.")
        times_s = np.asarray((shown - shown[0]) * float(time_base), dtype=np.float64)
        step_s = float(np.median(np.diff(times_s)))
        duration_s = float(times_s[-1]) + step_s
        fps = (len(times_s) - 1) / float(times_s[-1])
        if duration_s > LONGEST_S:
            raise ClipError(
                f"{path} is {duration_s / 60:.0f} minutes long by its own account, and at most "
                f"{LONGEST_S / 60:.0f} are read; cut the set out of it."
            )
        if fps > FASTEST_FPS:
            raise ClipError(
                f"{path} shows {fps:.3g} pictures a second by its own account, so its times cannot "
                f"be right; {_REMEDY}"
            )
        return ClipInfo(
            path=path,
            width=width,
            height=height,
            fps=fps,
            duration_s=duration_s,
            rotation_deg=_quarter_turn(first),
            variable_rate=_varies(times_s, step_s, float(time_base)),
            codec=stream.codec_context.name,
            times_s=times_s,
            key_times_s=times_s[[is_key[pts] for pts in shown.tolist()]],
            notes=jumped or _early_end(container, stream, len(times_s), duration_s),
            first_pts=int(shown[0]),
            time_base=time_base,
            colour_matrix=int(first.colorspace),
            transfer=int(first.color_trc),
            recorded_at=_recorded_at(container, stream),
        )


def _recorded_at(container: InputContainer, stream: VideoStream) -> datetime | None:
    """The container's or stream's creation time, which ISO base media files keep in UTC."""
    said = container.metadata.get("creation_time") or stream.metadata.get("creation_time") or ""
    try:
        at = datetime.fromisoformat(said)
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


@dataclass(frozen=True)
class Glance:
    """What a file's container says: whether it ``shows`` moving pictures, and when it was
    ``recorded``, as it is written there."""

    shows: bool
    recorded: str


def glance(path: Path) -> Glance | None:
    """What kind of file it is, at a glance; None where it is none of the containers that are read.

    Decodes nothing. Raises OSError where the file cannot be opened.
    """
    with open_regular(path) as file:
        try:
            with _container(file) as container:
                shows = any(
                    not stream.disposition & av.stream.Disposition[_ATTACHED_PICTURE]
                    for stream in container.streams.video
                )
                return Glance(shows, plain(container.metadata.get("creation_time", "")))
        except _DECODER_ERRORS:
            return None


def _one_recording(shown: npt.NDArray[np.int64], tick_s: float) -> tuple[Any, tuple[str, ...]]:
    """The longest stretch of times without a jump, and a remark where there was one."""
    # Not np.diff: times may lie so far apart that their difference has no 64-bit number.
    apart_s = np.diff(shown.astype(np.float64)) * tick_s
    jumps = np.flatnonzero(apart_s > _JUMP_S)
    if len(jumps) == 0:
        return shown, ()
    stretch = max(np.split(shown, jumps + 1), key=len)
    note = (
        f"The times in the file jump by {apart_s[jumps].max():.3g} s: only {len(stretch)} of its "
        f"{len(shown)} pictures, those of the longest stretch without a jump, are in this report."
    )
    return stretch, (note,)


def _check_size(path: Path, width: int, height: int) -> None:
    if (
        min(width, height) < SMALLEST_PX
        or max(width, height) > LARGEST_PX
        or (width * height > LARGEST_AREA_PX)
    ):
        raise ClipError(
            f"{path} has pictures of {width}×{height} px; between {SMALLEST_PX} and {LARGEST_PX} "
            "each way can be read: export it at 1080 lines."
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
    for t_s, frame in shown(info, info.times_s if times_s is None else times_s):
        yield t_s, rgb_of(info, frame, max_side_px)


def rgb_of(info: ClipInfo, frame: VideoFrame, max_side_px: int | None = None) -> RgbImage:
    """A decoded picture, upright and scaled."""
    size = scaled_size(info.width, info.height, max_side_px)
    picture = _scaled(info, frame, *_as_stored(info, *size), "rgb24").to_ndarray()
    # Rows may come padded; mediapipe ignores strides and would see a skewed picture.
    return np.ascontiguousarray(np.rot90(picture, info.rotation_deg // 90))


def read_planes(
    info: ClipInfo, width: int, height: int, times_s: FloatArray | None = None
) -> Iterator[tuple[float, Planes]]:
    """Pictures in order with their time in seconds, as video planes of the size asked.

    ``width``, ``height`` px as displayed, both even; ``times_s`` as in ``read_frames``.
    Y (height, width) and U, V of half the size, limited range, in the clip's ``shown_matrix``:
    nothing is converted that need not be, which makes this several times cheaper than RGB there
    and back.
    """
    for t_s, frame in shown(info, info.times_s if times_s is None else times_s):
        yield t_s, planes_of(info, frame, width, height)


def planes_of(info: ClipInfo, frame: VideoFrame, width: int, height: int) -> Planes:
    """A decoded picture as planes, upright and of the size asked."""
    to_width, to_height = _as_stored(info, width, height)
    if info.wide:
        frame = _scaled(info, frame, to_width, to_height, "yuv420p10le")
        frame = _in_usual_colours(info, frame)
    else:
        frame = _scaled(info, frame, to_width, to_height, "yuv420p", "MPEG")
    y, u, v = (np.rot90(plane, info.rotation_deg // 90) for plane in as_planes(frame.to_ndarray()))
    return y, u, v


def as_planes(packed: npt.NDArray[Any]) -> Planes:
    """Y, U and V of a packed picture, (H * 3 / 2, W), Y over U over V."""
    flat, (rows, width) = np.asarray(packed, np.uint8).reshape(-1), packed.shape
    height = rows * 2 // 3
    area, half = width * height, (height // 2, width // 2)
    return (
        flat[:area].reshape(height, width),
        flat[area : area + area // 4].reshape(half),
        flat[area + area // 4 :].reshape(half),
    )


def read_planes_apart(
    info: ClipInfo, width: int, height: int, times_s: FloatArray | None = None
) -> Generator[tuple[float, Planes]]:
    """``read_planes`` in a process of its own, which decodes while the pictures are used.

    Raises ClipError, also when the decoder breaks down, hangs or takes too much memory.
    """
    return from_apart(info.path, _planes_asked, (info, width, height, times_s))


def _planes_asked(
    asked: tuple[ClipInfo, int, int, FloatArray | None],
) -> Iterator[tuple[float, Planes]]:
    return read_planes(*asked)


def from_apart(
    path: Path, read: Callable[[_Asked], Iterable[_Read]], asked: _Asked
) -> Generator[_Read]:
    """What ``read(asked)`` gives of a clip, from a process of its own. Raises ClipError."""
    try:
        yield from stream_apart(read, asked)
    except WorkLostError as error:
        raise ClipError(f"{path}: {_LOST[error.how]}; {_REMEDY}") from error


def shown(info: ClipInfo, wanted: FloatArray) -> Iterator[tuple[float, VideoFrame]]:
    """The decoded pictures at the wanted times, as stored: not turned, not scaled."""
    if len(wanted) == 0:
        return
    half_tick_s = 0.5 * float(info.time_base)
    start = info.first_pts + round(float(wanted[0]) / float(info.time_base))
    position = 0
    with contextlib.closing(_decoded_from(info.path, start)) as frames:
        for frame in frames:
            if frame.pts is None:
                continue
            t_s = (frame.pts - info.first_pts) * float(info.time_base)
            if t_s < wanted[position] - half_tick_s:
                continue
            if t_s > info.times_s[-1] + half_tick_s:
                return
            yield t_s, frame
            position = int(np.searchsorted(wanted, t_s + half_tick_s))
            if position == len(wanted):
                return


def _as_stored(info: ClipInfo, width: int, height: int) -> tuple[int, int]:
    return (height, width) if info.rotation_deg % 180 else (width, height)


def _scaled(
    info: ClipInfo, frame: VideoFrame, width: int, height: int, kind: str, colour_range: Any = None
) -> VideoFrame:
    with _sentence(info.path):
        # Processes share the cores already: more threads in each gain nothing.
        return _scaler(get_ident(), info.path, width, height, kind).reformat(
            frame, width=width, height=height, format=kind, interpolation="AREA",
            dst_color_range=colour_range, threads=1,
        )  # fmt: skip


@lru_cache(maxsize=8)
def _scaler(thread: int, path: Path, width: int, height: int, kind: str) -> VideoReformatter:
    """One a clip and size: a picture's own works out its table anew, a quarter of the scaling."""
    return VideoReformatter()


def _in_usual_colours(info: ClipInfo, frame: VideoFrame) -> VideoFrame:
    """BT.2020, PQ and HLG as BT.709 has it, by the scaler's own mapping of tones."""
    with _sentence(info.path):
        return _mapping(info.path).reformat(
            frame, format="yuv420p", dst_colorspace=BT709, dst_color_trc=BT709,
            dst_color_primaries=BT709, dst_color_range="MPEG",
        )  # fmt: skip


@lru_cache(maxsize=2)
def _mapping(path: Path) -> VideoReformatter:
    """One a clip: it takes seconds to work out its table, and milliseconds to use it."""
    return VideoReformatter()


@contextlib.contextmanager
def _sentence(path: Path) -> Iterator[None]:
    try:
        yield
    except _DECODER_ERRORS as error:
        raise ClipError(f"{path}: its pictures cannot be converted ({error}); {_REMEDY}") from error


def scaled_size(width: int, height: int, max_side_px: int | None) -> tuple[int, int]:
    """Width and height, in proportion, with the longer side at most ``max_side_px``."""
    scale = min(1.0, (max_side_px or math.inf) / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def _first_bytes(path: Path) -> bytes:
    try:
        with open_regular(path) as file:
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
        raise ClipError(
            f"{path} cannot be read ({error.strerror}); give the clip itself, or copy it again."
        ) from error
    if not head:
        raise ClipError(f"{path} is empty; copy the clip again from the camera.")
    return head


def _container(file: BinaryIO) -> InputContainer:
    return av.open(
        file,
        "r",
        metadata_errors="replace",
        buffer_size=_READ_BYTES,
        # No protocol at all: nothing but the file handed over is opened.
        options={"format_whitelist": _CONTAINERS, "protocol_whitelist": "none"},
    )


@contextlib.contextmanager
def _opened(path: Path, head: bytes = b"") -> Iterator[tuple[InputContainer, VideoStream]]:
    """The clip's container and the stream of its pictures."""
    with contextlib.ExitStack() as open_now:
        file = open_now.enter_context(open_regular(path))
        try:
            container = open_now.enter_context(_container(file))
        except _DECODER_ERRORS as error:
            if head[4:8] == b"ftyp":
                raise ClipError(
                    f"{path} is cut off: its index is missing, so the recording or the copy was "
                    "interrupted; copy the clip again."
                ) from error
            raise ClipError(
                f"{path} is not a video that can be read; give an mp4, mov, mkv or webm clip."
            ) from error
        yield container, _picture_stream(path, container)


def _picture_stream(path: Path, container: InputContainer) -> VideoStream:
    for stream in container.streams.video:
        if stream.disposition & av.stream.Disposition[_ATTACHED_PICTURE]:
            continue
        codec = stream.codec_context.name if stream.codec_context is not None else "unknown"
        if codec not in _CODECS:
            raise ClipError(
                f"{path}: its pictures are coded in a way that is not read ({codec}); re-export it "
                "as H.264 mp4."
            )
        stream.thread_type = "AUTO"
        large = stream.codec_context.width * stream.codec_context.height > _LARGE_AREA_PX
        stream.codec_context.thread_count = 1 if large else _DECODER_THREADS
        return stream
    raise ClipError(f"{path} holds no picture, only sound or data; give the video clip.")


# All that PyAV was seen to raise over damaged files; its own errors are FFmpegError.
_DECODER_ERRORS = (
    av.error.FFmpegError, ValueError, ArithmeticError, OSError, EOFError, MemoryError,
    AttributeError, NotImplementedError, TypeError,
)  # fmt: skip


def _packets(container: InputContainer, stream: VideoStream) -> Iterator[Packet[VideoStream]]:
    """The stream's packets; an unreadable tail ends the clip."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except av.error.InvalidDataError:
            continue
        except _DECODER_ERRORS:
            return
        if packet is None:
            return
        yield packet


def _decoded(container: InputContainer, stream: VideoStream) -> Iterator[VideoFrame]:
    """Decode on past damaged packets."""
    for packet in _packets(container, stream):
        try:
            frames = packet.decode()
        except av.error.InvalidDataError:
            continue
        except _DECODER_ERRORS:
            return
        yield from frames


def pictures_of(path: Path) -> Iterator[tuple[float, VideoFrame]]:
    """Every picture of a file that we wrote, with its own time in seconds."""
    with _opened(path) as (container, stream):
        for frame in _decoded(container, stream):
            if frame.time is not None:
                yield frame.time, frame


def _decoded_from(path: Path, start_pts: int) -> Generator[VideoFrame]:
    """Decoded pictures from the last key picture up to a time on, or from the beginning."""
    with _opened(path) as (container, stream), contextlib.suppress(*_DECODER_ERRORS):
        container.seek(start_pts, stream=stream, backward=True)
        frames = _decoded(container, stream)
        first = next((frame for frame in frames if frame.pts is not None), None)
        if first is not None and first.pts is not None and first.pts <= start_pts:
            yield first
            yield from frames
            return
    with _opened(path) as (container, stream):  # without an index, seeking led elsewhere
        yield from _decoded(container, stream)


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
