"""When to look: at every second picture, and at each one while the movement turns.

A look costs far more than reading the picture. Where the body goes straight on or rests, what
lies between two looks follows from them; where a fast rep turns, it does not. So each look is
held against where the two before it led, and when it is not there, the pictures left out on the
way are looked at too, and those that come, until it goes straight on again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

import numpy as np

from formcheck.pose.follow import Poses
from formcheck.pose.track import INDEX

_Picture = TypeVar("_Picture")
_Look = tuple[float, Poses]

# Shoulders, elbows and hips this far on average from straight on, in body sizes: a picture left
# out half way is then an eighth of it, 0.15 %, from its neighbours' mean; landmarks jitter by as
# much. Set on rendered sets of strangers: at 0.04 fast ones lost depth, and at 0.02 the tracking
# of one from the front went astray; slow sets are looked at as seldom with either.
_TURNS = 0.012
_MOVING = [
    INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("shoulder", "elbow", "hip")
]


def looked_at(
    pictures: Iterable[tuple[float, _Picture]],
    look: Callable[[_Picture], Poses],
    size: tuple[int, int],
) -> Iterator[tuple[float, Poses | None]]:
    """Every picture's time, with the (33, 6) pose that ``look`` finds in it; None where it need
    not be looked at. In order, one picture held back at most two times.

    ``size`` width and height px of the picture that poses are shares of.
    """
    coming = iter(pictures)
    first = next(coming, None)
    if first is None:
        return
    before: _Look | None = None
    left_out: tuple[float, _Picture] | None = None  # between the two last looks
    last: _Look = (first[0], look(first[1]))
    closely = True
    for one in coming:
        two = next(coming, None)
        between, now = (one, two) if two is not None else (None, one)
        inside = (between[0], look(between[1])) if between is not None and closely else None
        this = (now[0], look(now[1]))
        turns = before is None or _turns(before, last, this, size)
        if turns and not closely:
            if between is not None:
                inside = (between[0], look(between[1]))
            if left_out is not None:
                yield left_out[0], look(left_out[1])
                left_out = None
        if left_out is not None:
            yield left_out[0], None
        yield last
        if inside is not None:
            yield inside
        left_out = between if inside is None else None
        before, last, closely = last, this, turns
    if left_out is not None:
        yield left_out[0], None
    yield last


def _turns(before: _Look, last: _Look, this: _Look, size: tuple[int, int]) -> bool:
    """Whether the body is not where it would be, had it gone straight on.

    Somebody who comes or goes counts as turning; nobody there at all does not.
    """
    a, b, c = (pose[_MOVING, :2] * size for _, pose in (before, last, this))
    known = [bool(np.isfinite(points).all()) for points in (a, b, c)]
    if not all(known):
        return any(known)
    ahead = (this[0] - last[0]) / (last[0] - before[0])
    off = np.linalg.norm(c - b - (b - a) * ahead, axis=1).mean()
    body = np.linalg.norm(np.ptp(this[1][:, :2] * size, axis=0))
    return bool(off > _TURNS * body)
