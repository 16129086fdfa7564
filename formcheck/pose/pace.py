"""When to look: as often as the body moves.

A look costs a hundred times what reading the picture costs. From the side, slow movement is known
as exactly from fewer looks; and where the picture has not changed since the last look, there is
nothing new to see. Fast movement, and any other view, is looked at with the full rate: from the
front what tells the depth of a rep is small, and more looks average more of the jitter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import numpy as np
import numpy.typing as npt

from formcheck.maths.arrays import FloatArray
from formcheck.pose.follow import Picture, Poses
from formcheck.pose.track import INDEX

Shown = Callable[[], Picture]  # made only when it is looked at

_SLOWER = 1.5  # times the interval between looks, from the side
# Body sizes a second, of shoulders, elbows and hips: lowering in 2 s takes half of it, a rushed
# rep twice.
_FAST = 0.15
# From the side the shoulders lie over each other: this far apart, of the trunk's length in the
# picture, they are seen from 33 degrees off at most (view.SHOULDER_WIDTH_PER_TRUNK).
_SIDE = 0.45
_LONGEST_S = 0.2  # without a look: what moves begins to move within it
_BLOCK_PX = 8
# Grey levels of a block's mean: an edge of ordinary contrast moved half a pixel. More where the
# picture is noisy, so many standard deviations of its blocks.
_LEAST_CHANGE, _MOST_CHANGE, _NOISES = 3.0, 6.0, 6.0
_BLOCKS = 5  # a forearm has more; fewer change by what compression leaves behind
_AROUND = 0.1  # of the body's size: what moves beside it does not count
_SHOULDERS = [INDEX["left_shoulder"], INDEX["right_shoulder"]]
_HIPS = [INDEX["left_hip"], INDEX["right_hip"]]
_MOVING = _SHOULDERS + _HIPS + [INDEX["left_elbow"], INDEX["right_elbow"]]
_Grey = npt.NDArray[np.float32]


def looked_at(
    pictures: Iterable[tuple[float, Shown]],
    look: Callable[[Picture], Poses],
    full_s: FloatArray,
    size: tuple[int, int],
) -> Iterator[tuple[float, Poses | None]]:
    """Every picture's time, with the (33, 6) pose that ``look`` finds in it; None where it need
    not be looked at. The poses come in order; the first and the last picture are looked at.

    ``full_s`` increasing: the times of looks at the full rate. ``size`` width and height px of
    the picture that poses are shares of.
    """
    usual_s = float(np.median(np.diff(full_s))) if len(full_s) > 1 else 0.0
    last: tuple[float, Poses] | None = None
    slow = False
    then: _Grey | None = None
    left_out: tuple[float, Picture] | None = None
    for (t_s, picture), is_last in _with_last(pictures):
        if last is not None and not is_last:
            since_s = last[0] if left_out is None else left_out[0]
            if not _due(t_s, since_s, full_s, usual_s, slow):
                yield t_s, None
                continue
        rgb = picture()
        grey = _coarse(rgb)
        moved = last is None or then is None or _moved(then, grey, last[1], size)
        again_soon = last is not None and t_s - last[0] <= 0.5 * _LONGEST_S + 1e-3
        if not moved and again_soon and not is_last and left_out is None:
            left_out = (t_s, rgb)
            continue
        if left_out is not None:
            # What begins to move is looked at as it was before, too.
            between = look(left_out[1]) if moved else None
            if between is not None:
                last = (left_out[0], between)
            yield left_out[0], between
            left_out = None
        before, last, then = last, (t_s, look(rgb)), grey
        slow = before is not None and _slow_from_the_side(before, last, size)
        yield last


def _with_last(
    pictures: Iterable[tuple[float, Shown]],
) -> Iterator[tuple[tuple[float, Shown], bool]]:
    coming = iter(pictures)
    one = next(coming, None)
    while one is not None:
        following = next(coming, None)
        yield one, following is None
        one = following


def _due(t_s: float, since_s: float, full_s: FloatArray, usual_s: float, slow: bool) -> bool:
    """Whether it is time to look again since the picture last looked at, or left out."""
    if slow:
        slow_s = max(usual_s, min(_SLOWER * usual_s, 0.5 * _LONGEST_S))
        return t_s - since_s > slow_s - 0.25 * usual_s - 1e-6  # the nearest picture
    on_time, passed = np.searchsorted(full_s, since_s + np.array([-1e-6, 1e-6]))
    if passed == on_time and t_s - since_s < 0.75 * usual_s:
        return False  # the last look was one of the slower ones
    return bool(passed < np.searchsorted(full_s, t_s + 1e-6))


def _slow_from_the_side(
    before: tuple[float, Poses], last: tuple[float, Poses], size: tuple[int, int]
) -> bool:
    """Nobody there counts as slow."""
    earlier, now = before[1][:, :2] * size, last[1][:, :2] * size
    if not np.isfinite(now[_MOVING]).all() or not np.isfinite(earlier[_MOVING]).all():
        return bool(np.isnan(now[0, 0]) and np.isnan(earlier[0, 0]))
    trunk = np.linalg.norm(now[_SHOULDERS].mean(axis=0) - now[_HIPS].mean(axis=0))
    if np.linalg.norm(now[_SHOULDERS[0]] - now[_SHOULDERS[1]]) > _SIDE * trunk:
        return False
    body = np.linalg.norm(np.ptp(now, axis=0))
    moved = np.linalg.norm(now[_MOVING] - earlier[_MOVING], axis=1).mean()
    return bool(moved < _FAST * body * (last[0] - before[0]))


def _coarse(rgb: Picture) -> _Grey:
    """Mean green of blocks of the picture."""
    height, width = (_BLOCK_PX * (edge // _BLOCK_PX) for edge in rgb.shape[:2])
    blocks = rgb[:height, :width, 1].reshape(
        height // _BLOCK_PX, _BLOCK_PX, width // _BLOCK_PX, _BLOCK_PX
    )
    return np.asarray(blocks.mean(axis=(1, 3), dtype=np.float32))


def _moved(then: _Grey, now: _Grey, pose: Poses, size: tuple[int, int]) -> bool:
    """Whether anything in or close to the body is elsewhere than at the last look."""
    change = (now - then)[_body(now.shape, pose)]
    if change.size < _BLOCKS:
        return True
    change = change - np.median(change)  # the light as a whole may change
    noise = 1.4826 * float(np.median(np.abs(change)))
    most = min(max(_LEAST_CHANGE, _NOISES * noise), _MOST_CHANGE)
    return bool(np.partition(np.abs(change), -_BLOCKS, axis=None)[-_BLOCKS] > most)


def _body(shape: tuple[int, ...], pose: Poses) -> tuple[slice, slice]:
    xy = pose[:, :2]
    if not np.isfinite(xy).all():
        return slice(None), slice(None)
    low, high = xy.min(axis=0), xy.max(axis=0)
    margin = _AROUND * float((high - low).max())
    (left, top), (right, bottom) = (
        np.clip(corner, 0.0, 1.0) * (shape[1], shape[0]) for corner in (low - margin, high + margin)
    )
    return slice(int(top), int(bottom) + 1), slice(int(left), int(right) + 1)
