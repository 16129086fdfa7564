"""Left stays left: undo the landmark model's exchanges of the two sides.

Seen from the side the two arms lie over each other, and for some frames a model may take one for
the other. A body part cannot jump across between two frames, so the exchange shows: each point
lands where its counterpart was.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack

# Arms and legs are exchanged together or each for itself.
_GROUPS = (
    ("shoulder", "elbow", "wrist", "pinky", "index", "thumb"),
    ("hip", "knee", "ankle", "heel", "foot_index"),
)
# In arm lengths, summed over a group: what an exchange must gain to be believed, and what each
# exchanged frame costs, so that sides which lie exactly over each other stay as they are.
_GAIN, _COST_PER_FRAME = 0.25, 0.001
_JUMP = 0.3  # a point further off than this is a slip of the model, and counts no more
_UNLIKE = 0.1  # points that fit neither way by more than this show another scene
_LONGEST_GAP_S = 0.5  # after which nothing is known of where a point was


def with_steady_sides(track: PoseTrack) -> PoseTrack:
    """The same track with left and right exchanged where the model had exchanged them."""
    xy_px, visibility = track.xy_px.copy(), track.visibility.copy()
    world_m = None if track.world_m is None else track.world_m.copy()
    arms = [track.xy(f"{side}_wrist") - track.xy(f"{side}_shoulder") for side in ("left", "right")]
    lengths = np.linalg.norm(arms, axis=2)
    if not np.isfinite(lengths).any():
        return track
    arm_px = float(np.nanpercentile(lengths, 90))
    changed = False
    for group in _GROUPS:
        left, right = ([INDEX[f"{side}_{joint}"] for joint in group] for side in ("left", "right"))
        exchanged = _exchanged(track.t_s, track.xy_px[:, left], track.xy_px[:, right], arm_px)
        if not exchanged.any():
            continue
        changed = True
        here, there = np.arange(len(LANDMARKS)), np.arange(len(LANDMARKS))
        there[left + right] = here[right + left]
        for values in (xy_px, visibility, world_m):
            if values is not None:
                values[exchanged] = values[exchanged][:, there]
    if not changed:
        return track
    return replace(track, xy_px=xy_px, visibility=visibility, world_m=world_m)


def _exchanged(t_s: FloatArray, left: FloatArray, right: FloatArray, arm_px: float) -> BoolArray:
    """(N,) where ``left`` (N, K, 2) and ``right`` are each other's, by the cheapest history."""
    seen = np.flatnonzero(np.isfinite(left).any(axis=(1, 2)) & np.isfinite(right).any(axis=(1, 2)))
    out = np.zeros(len(t_s), dtype=bool)
    if len(seen) < 2:
        return out
    a, b = left[seen], right[seen]
    # What both sides do alike is no exchange but a movement, or a jump of the picture.
    steps = np.concatenate([np.diff(a, axis=0), np.diff(b, axis=0)], axis=1)
    alike = np.nan_to_num(np.nanmedian(steps, axis=1, keepdims=True))
    stays = _moved(np.diff(a, axis=0) - alike, arm_px) + _moved(np.diff(b, axis=0) - alike, arm_px)
    crosses = _moved(a[1:] - b[:-1] - alike, arm_px) + _moved(b[1:] - a[:-1] - alike, arm_px)
    points = np.isfinite(steps[..., 0]).sum(axis=1)
    lost = np.diff(t_s[seen]) > _LONGEST_GAP_S
    lost |= np.minimum(stays, crosses) > _UNLIKE * points
    stays[lost] = crosses[lost] = 0.0
    # Two states, as labelled and exchanged; the cheapest way to each, and where it came from.
    being = np.array([0.0, _COST_PER_FRAME])
    cost = being
    came = np.zeros((len(seen), 2), dtype=int)
    for i, (stay, cross) in enumerate(zip(stays, crosses, strict=True), start=1):
        change = np.array([[stay, cross + _GAIN / 2], [cross + _GAIN / 2, stay]])
        if lost[i - 1]:
            change[:] = 0.0
        total = cost[:, None] + change
        came[i] = total.argmin(axis=0)
        cost = total.min(axis=0) + being
    state = int(cost.argmin())
    for i in range(len(seen) - 1, -1, -1):
        out[seen[i]] = state == 1
        state = came[i, state]
    return out


def _moved(step_px: FloatArray, arm_px: float) -> FloatArray:
    """(N,) how far the points of a group moved together, in arm lengths."""
    away = np.minimum(np.linalg.norm(step_px, axis=2) / arm_px, _JUMP)
    return np.asarray(np.nansum(away, axis=1))
