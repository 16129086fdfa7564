"""Who is doing the set, when several people are in frame."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from formcheck.pose.track import INDEX

Poses = npt.NDArray[np.float32]

_SHOULDERS = [INDEX["left_shoulder"], INDEX["right_shoulder"]]
_HIPS = [INDEX["left_hip"], INDEX["right_hip"]]
_WRISTS = [INDEX["left_wrist"], INDEX["right_wrist"]]
_TRUNK = _SHOULDERS + _HIPS
# Two finds closer than this share of a body's size are one person found twice.
_APART = 0.35
# A person moves less than this share of the body's size between two looks.
_REACH = 0.5
# In the fastest push-up the trunk moves 0.05 of the body's size between two looks.
_JUMP = 0.25
_AT_ONCE_S = 0.5
# Shorter than this share of the clip: somebody passing, or a mistaken find.
_PASSING = 0.05


def people_apart(poses: Poses) -> int:
    """How many different people are among (people, 33, 6) finds of one picture."""
    centres: list[npt.NDArray[np.float32]] = []
    for pose in poses[np.isfinite(poses[:, 0, 0])]:
        centre = pose[_TRUNK, :2].mean(axis=0)
        if all(np.linalg.norm(centre - other) > _APART * _size(pose) for other in centres):
            centres.append(centre)
    return len(centres)


def changes_person(t_s: npt.NDArray[np.float64], poses: Poses) -> bool:
    """Whether an (N, 33, 6) track jumps from one body to another, as no body moves."""
    seen = np.isfinite(poses[:, 0, 0])
    if seen.sum() < 2:
        return False
    size = float(np.median([_size(pose) for pose in poses[seen]]))
    step = np.linalg.norm(np.diff(poses[seen][:, _TRUNK, :2].mean(axis=1), axis=0), axis=1)
    at_once = np.diff(t_s[seen]) < _AT_ONCE_S
    return bool((step[at_once] > _JUMP * size).any())


def follow_the_set(poses: Poses) -> tuple[Poses, tuple[str, ...]]:
    """From (N, people, 33, 6) finds to the (N, 33, 6) of the person doing the set.

    Finds are linked from picture to picture by nearness. The person kept is large, seen for
    long, and raises and lowers the shoulders above hands that stay put. Second value: what to
    tell the user, empty when nobody else was there for more than a moment.
    """
    people = _link(poses)
    seen = [np.isfinite(person[:, 0, 0]).mean() for person in people]
    staying = [person for person, share in zip(people, seen, strict=True) if share > _PASSING]
    if not staying:
        return np.full((len(poses), *poses.shape[2:]), np.nan, dtype=np.float32), ()
    chosen = max(staying, key=_does_the_set)
    if len(staying) == 1:
        return chosen, ()
    note = (
        f"{len(staying)} people are in frame; the one whose shoulders rise and fall above planted "
        "hands was followed. Film with nobody else in frame to be certain."
    )
    return chosen, (note,)


def _link(poses: Poses) -> list[Poses]:
    """One (N, 33, 6) array a person."""
    people: list[Poses] = []
    last: list[Poses] = []  # where each was last seen
    for n, finds in enumerate(poses):
        free = set(range(len(people)))
        for find in finds[np.isfinite(finds[:, 0, 0])]:
            distance = {who: _distance(find, last[who]) for who in free}
            who = min(distance, key=distance.__getitem__, default=-1)
            if who < 0 or distance[who] > _REACH * _size(find):
                who = len(people)
                people.append(np.full((len(poses), *poses.shape[2:]), np.nan, dtype=np.float32))
                last.append(find)
            free.discard(who)
            people[who][n] = last[who] = find
    return people


def _distance(one: Poses, other: Poses) -> float:
    return float(np.linalg.norm(one[_TRUNK, :2].mean(axis=0) - other[_TRUNK, :2].mean(axis=0)))


def _size(pose: Poses) -> float:
    return float(np.linalg.norm(np.ptp(pose[:, :2], axis=0)))


def _does_the_set(person: Poses) -> float:
    present = person[np.isfinite(person[:, 0, 0])]
    size = float(np.median(np.linalg.norm(np.ptp(present[:, :, :2], axis=1), axis=1)))
    shoulders = present[:, _SHOULDERS, 1].mean(axis=1)
    wrists = present[:, _WRISTS, :2].mean(axis=1)
    travel = _spread(shoulders)
    wander = _spread(wrists[:, 0]) + _spread(wrists[:, 1])
    planted = travel / (travel + wander + 0.01 * size)
    return planted * travel * size * len(present)


def _spread(values: npt.NDArray[np.float32]) -> float:
    low, high = np.percentile(values, [10, 90])
    return float(high - low)
