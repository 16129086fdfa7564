"""A small copy of a clip, made while it is decoded for the pose, to draw the annotated clip from.

A phone's clip costs far more to decode than what is drawn, so a large one is decoded once: each
part of it that is searched for the pose leaves its pictures, as small as they will be shown.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from formcheck.clip.info import ClipInfo
from formcheck.clip.read import (
    Planes,
    RgbImage,
    as_planes,
    at_most,
    from_apart,
    pictures_of,
    planes_of,
    read_planes_apart,
    rgb_of,
    shown,
)
from formcheck.clip.write import ClipWriter
from formcheck.maths.arrays import FloatArray

LONG_SIDE_PX = 1280
MOST_PX = 800_000  # of the whole picture: a phone or a page shows no more
MOST_FPS = 30.0  # of the pictures that are drawn: more show nothing more of a rep
_FAST_FPS = 45.0  # clips faster than this are thinned out
_LARGE_PX = 2_500_000  # a clip of larger pictures costs more to decode again than to keep small


@dataclass(frozen=True)
class Keep:
    """Where to keep a small copy, and of which pictures, by their times."""

    path: Path
    times_s: FloatArray


@dataclass(frozen=True)
class Drawn:
    """A clip to draw, and the small ``copies`` of its parts where there are any."""

    info: ClipInfo
    copies: tuple[Path, ...] = ()

    def planes(self, width: int, height: int) -> Generator[tuple[float, Planes]]:
        """The pictures that are drawn, as ``read_planes_apart`` gives them."""
        if self.copies:
            return _small_apart(self.copies, self.info, width, height)
        return read_planes_apart(self.info, width, height, drawn_times(self.info))


def copies_in(folder: Path | None) -> tuple[Path, ...]:
    """The small copies that a search left in its folder, in order."""
    return tuple(sorted(folder.glob("*.mkv"))) if folder is not None else ()


def drawn_times(info: ClipInfo) -> FloatArray:
    """The times of the pictures that are drawn."""
    return info.times_s if info.fps < _FAST_FPS else at_most(info.times_s, MOST_FPS)


def worth_keeping(info: ClipInfo) -> bool:
    """Whether the small copy of a clip costs less than to decode the clip again."""
    return info.width * info.height > _LARGE_PX


def read_frames_keeping(
    info: ClipInfo, times_s: FloatArray, max_side_px: int, keep: Keep | None
) -> Iterator[tuple[float, Callable[[], RgbImage]]]:
    """``read_frames``, each picture made only when it is asked for, leaving a small copy of the
    pictures of other times on the way."""
    if keep is None or len(keep.times_s) == 0:
        wanted, kept = times_s, times_s[:0]
    else:
        wanted, kept = np.union1d(times_s, keep.times_s), keep.times_s
    width, height = _small_size(info)
    tick_s = 0.5 * float(info.time_base)
    with contextlib.ExitStack() as open_now:
        small = None
        if keep is not None and len(kept):
            small = open_now.enter_context(
                ClipWriter(
                    keep.path,
                    width,
                    height,
                    MOST_FPS,
                    colour_matrix=info.shown_matrix,
                    passing=True,
                )
            )
        for t_s, frame in shown(info, wanted):
            if small is not None and _is_among(kept, t_s, tick_s):
                planes = planes_of(info, frame, width, height)
                packed = np.concatenate([plane.reshape(-1) for plane in planes])
                small.write_planes(packed.reshape(-1, width), t_s)
            if _is_among(times_s, t_s, tick_s):
                yield t_s, partial(rgb_of, info, frame, max_side_px)


def _small_apart(
    copies: Sequence[Path], info: ClipInfo, width: int, height: int
) -> Generator[tuple[float, Planes]]:
    """The pictures of the small ``copies`` of a clip's parts, as ``read_planes_apart`` gives them.

    Raises ClipError, also when the decoder breaks down, hangs or takes too much memory.
    """
    return from_apart(info.path, _small_planes, (tuple(copies), info, width, height))


def _small_planes(
    asked: tuple[Sequence[Path], ClipInfo, int, int],
) -> Iterator[tuple[float, Planes]]:
    copies, info, width, height = asked
    for path in copies:
        for t_s, frame in pictures_of(path):
            # The copy's container rounds times to milliseconds.
            exact_s = float(info.times_s[np.argmin(np.abs(info.times_s - t_s))])
            scaled = frame.reformat(width=width, height=height, interpolation="AREA")
            yield exact_s, as_planes(scaled.to_ndarray())


def _small_size(info: ClipInfo) -> tuple[int, int]:
    shrink = min(
        1.0,
        LONG_SIDE_PX / max(info.width, info.height),
        (MOST_PX / (info.width * info.height)) ** 0.5,
    )
    return even(info.width * shrink), even(info.height * shrink)


def even(value: float) -> int:
    """The nearest even number of px."""
    return max(2, round(value / 2) * 2)


def _is_among(times_s: FloatArray, t_s: float, tick_s: float) -> bool:
    place = int(np.searchsorted(times_s, t_s - tick_s))
    return place < len(times_s) and abs(float(times_s[place]) - t_s) <= tick_s
