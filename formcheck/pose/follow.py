"""Who is doing the set, when several people are in frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formcheck.maths.arrays import FloatArray
from formcheck.pose.track import INDEX

Poses = npt.NDArray[np.float32]  # (…, 33, 6): x, y as shares of the picture, visibility, world

Picture = npt.NDArray[np.uint8]

_SHOULDERS = [INDEX["left_shoulder"], INDEX["right_shoulder"]]
_HIPS = [INDEX["left_hip"], INDEX["right_hip"]]
_WRISTS = [INDEX["left_wrist"], INDEX["right_wrist"]]
_TRUNK = _SHOULDERS + _HIPS
# Two finds closer than this share of a body's size are one person found twice.
_APART = 0.35
# What is left of a painted-over person, or a chair, is found small or hardly visible.
_LEAST_SIZE = 0.4
_LEAST_VISIBILITY = 0.6
# A person moves less than this share of the body's size between two looks.
_REACH = 0.5
# In the fastest push-up the trunk moves 0.05 of the body's size between two pictures.
_JUMP = 0.25
_AT_ONCE_S = 0.5
# One of shoulders and hips, of the body's size between two looks so soon after each other; in the
# sets that are tracked well none moved by more than 0.17.
_ASTRAY, _ASTRAY_S = 0.2, 0.25
_FAR_ASTRAY, _FAR_ASTRAY_S = 0.5, 2.0  # after a longer loss, in which a body moves
_HANDS_LOW = 0.3  # of the arm in the picture the hands lie below the hips: they do not hang
_MOST_OF_IT = 0.8  # of the picture's longer side: a part as large shows nobody larger
# Seen in fewer looks than this share: somebody passing, or a mistaken find.
_PASSING = 0.15
_LASTING = 0.4  # of the looks up close: who is found in so many is no mistaken find
_MARGIN = 0.15  # around a person, for what moves out between the looks
_AIR = 0.5  # around a person found up close, as much as the model likes to have


@dataclass(frozen=True)
class Region:
    """A part of the picture, as shares of its width and height."""

    left: float
    top: float
    right: float
    bottom: float

    def cut(self, picture: Picture) -> Picture:
        """This part of a (height, width, 3) picture, contiguous."""
        height, width = picture.shape[:2]
        rows = slice(round(self.top * height), round(self.bottom * height))
        columns = slice(round(self.left * width), round(self.right * width))
        return np.ascontiguousarray(picture[rows, columns])

    def to_whole(self, pose: Poses) -> Poses:
        """A (33, 6) pose in shares of this part, in shares of the whole picture."""
        whole = pose.copy()
        whole[:, 0] = self.left + pose[:, 0] * (self.right - self.left)
        whole[:, 1] = self.top + pose[:, 1] * (self.bottom - self.top)
        return whole


WHOLE = Region(0.0, 0.0, 1.0, 1.0)
# Windows of half the picture's width and height, half over each other.
WINDOWS = tuple(
    Region(left / 4, top / 4, left / 4 + 0.5, top / 4 + 0.5)
    for top in range(3)
    for left in range(3)
)


def people_apart(finds: Poses) -> Poses:
    """Of (M, 33, 6) finds in one picture, those that are different people, (K, 33, 6)."""
    largest = max((_size(pose) for pose in finds), default=0.0)
    people: list[Poses] = []
    for pose in finds:
        if pose[:, 2].mean() < _LEAST_VISIBILITY or _size(pose) < _LEAST_SIZE * largest:
            continue
        if all(_distance(pose, other) > _APART * _size(pose) for other in people):
            people.append(pose)
    return np.array(people, dtype=np.float32).reshape(-1, *finds.shape[1:])


def changes_person(t_s: FloatArray, poses: Poses) -> bool:
    """Whether an (N, 33, 6) track jumps from one body to another, as no body moves."""
    seen = np.isfinite(poses[:, 0, 0])
    if seen.sum() < 2:
        return False
    size = float(np.median([_size(pose) for pose in poses[seen]]))
    step = np.linalg.norm(np.diff(poses[seen][:, _TRUNK, :2].mean(axis=1), axis=0), axis=1)
    at_once = np.diff(t_s[seen]) < _AT_ONCE_S
    return bool((step[at_once] > _JUMP * size).any())


def strays(t_s: FloatArray, poses: Poses, size: tuple[int, int]) -> tuple[int, int]:
    """How often an (N, 33, 6) track jumped as no body moves, and in how many looks the person was
    lost on the way.

    ``size`` width and height px of the picture that poses are shares of. Who comes late or goes
    early was not lost.
    """
    seen = np.flatnonzero(np.isfinite(poses[:, 0, 0]))
    if len(seen) < 2:
        return 0, 0
    there = poses[seen][..., :2] * size
    body = float(np.median(np.linalg.norm(np.ptp(there, axis=1), axis=1)))
    step = np.linalg.norm(np.diff(there[:, _TRUNK], axis=0), axis=2).max(axis=1)
    after_s = np.diff(t_s[seen])
    most = np.where(after_s < _ASTRAY_S, _ASTRAY, _FAR_ASTRAY) * body
    jumps = (step > most) & (after_s < _FAR_ASTRAY_S)
    return int(jumps.sum()), int(np.ptp(seen)) + 1 - len(seen)


def close_around(poses: Poses, size: tuple[int, int]) -> Region | None:
    """A square part of the picture around who is usually there, the hands on the floor if they are
    for a part of the time; None when that is most of it.

    Who walks in and stands takes far more of the picture than who does push-ups to the camera.
    """
    seen = poses[np.isfinite(poses[:, 0, 0])][..., :2] * size
    shoulder, hip, wrist = (seen[:, at, 1].mean(axis=1) for at in (_SHOULDERS, _HIPS, _WRISTS))
    low_hands = wrist - hip > _HANDS_LOW * (wrist - shoulder)
    there = (seen[low_hands] if low_hands.mean() > _PASSING else seen).reshape(-1, 2)
    low, high = np.percentile(there, [2, 98], axis=0)
    half = (0.5 + _AIR) * float((high - low).max())
    if 2 * half > _MOST_OF_IT * max(size):
        return None
    (left, top), (right, bottom) = (
        np.clip(((low + high) / 2 + sign * half) / size, 0.0, 1.0) for sign in (-1, 1)
    )
    return Region(float(left), float(top), float(right), float(bottom))


def doing_the_set(looks: list[Poses]) -> tuple[Region | None, tuple[str, ...]]:
    """Where the person doing the set is, and remarks for the user.

    ``looks`` holds the (K, 33, 6) people of each of some pictures spread over the clip. They
    are linked from look to look by nearness. The one doing the set is large, there for long,
    and raises and lowers the shoulders above hands that stay put. None when no two people were
    there for more than a moment.
    """
    people = [person for person in _link(looks) if len(person) > _PASSING * len(looks)]
    if len(people) < 2:
        return None, ()
    region = _around(max(people, key=_does_the_set), _MARGIN)
    note = (
        f"{len(people)} people are in frame; the one whose shoulders rise and fall above planted "
        "hands was followed. Film with nobody else in frame to be certain."
    )
    return region, (note,)


def found_up_close(looks: list[Poses]) -> Region | None:
    """Where somebody is whom the whole picture is too large to show; None if nobody lasts.

    ``looks`` as in ``doing_the_set``, found in windows of the picture.
    """
    people = [person for person in _link(looks) if len(person) > _LASTING * len(looks)]
    return _around(max(people, key=_does_the_set), _AIR) if people else None


def _around(person: Poses, margin: float) -> Region:
    low, high = person[..., :2].min(axis=(0, 1)), person[..., :2].max(axis=(0, 1))
    (left, top), (right, bottom) = low - margin * (high - low), high + margin * (high - low)
    return Region(max(0.0, left), max(0.0, top), min(1.0, right), min(1.0, bottom))


def _link(looks: list[Poses]) -> list[Poses]:
    """One (looks seen in, 33, 6) array a person: those nearest to where they were last."""
    # Here only: the processes that look for the pose have no need of its memory.
    from scipy.optimize import linear_sum_assignment

    people: list[list[Poses]] = []
    for finds in looks:
        apart = np.array(
            [[_distance(find, one[-1]) / _size(find) for one in people] for find in finds]
        ).reshape(len(finds), len(people))
        whose = dict(zip(*linear_sum_assignment(np.minimum(apart, _REACH)), strict=True))
        for i, find in enumerate(finds):
            if i in whose and apart[i, whose[i]] <= _REACH:
                people[whose[i]].append(find)
            else:
                people.append([find])
    return [np.stack(person) for person in people]


def _distance(one: Poses, other: Poses) -> float:
    return float(np.linalg.norm(one[_TRUNK, :2].mean(axis=0) - other[_TRUNK, :2].mean(axis=0)))


def _size(pose: Poses) -> float:
    return float(np.linalg.norm(np.ptp(pose[:, :2], axis=0)))


def _does_the_set(person: Poses) -> float:
    size = float(np.median([_size(pose) for pose in person]))
    wrists = person[:, _WRISTS, :2].mean(axis=1)
    travel = _spread(person[:, _SHOULDERS, 1].mean(axis=1))
    wander = _spread(wrists[:, 0]) + _spread(wrists[:, 1])
    planted = travel / (travel + wander + 0.01 * size)
    return planted * travel * size * len(person)


def _spread(values: npt.NDArray[np.float32]) -> float:
    low, high = np.percentile(values, [10, 90])
    return float(high - low)
