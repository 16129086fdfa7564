"""Which view a clip shows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.filtering import RATE_HZ
from formcheck.maths.geometry import usual_place
from formcheck.pose.track import INDEX, PoseTrack, Side

ViewKind = Literal["side", "front", "oblique", "rear"]

# Widths between the model's own left and right landmarks, over trunk length. Seen straight
# from the side and from the front, in arm lengths: trunk 1.0, shoulders 0.70, hips 0.34.
SHOULDER_WIDTH_PER_TRUNK = 0.70
HIP_WIDTH_PER_TRUNK = 0.34

# Half way, as read on landmarks of 98 rendered clips, between a side view filmed 15 degrees off
# square and an oblique one of 30 degrees; and between oblique at 60 degrees and 15 degrees off
# the front, which read as 66 and more.
SIDE_LIMIT_DEG = 26.0
FRONT_LIMIT_DEG = 64.0

# Focal length over the long side of the picture of a phone's main camera while filming (26 mm
# equivalent, cropped for stabilisation; common practice).
USUAL_FOCAL_PER_LONG_SIDE = 0.85

# A camera square to the body reads this much: mean over 13 rendered sets, sd 1 (tests/truth).
_SIDE_READS_DEG = 4.3
_PLANTED_RADIUS = 0.35  # hands this near their usual place, in arm lengths, are planted
_HANGING_ARM_COS = 0.88  # an arm along a trunk seen in full: standing or kneeling up
_SHORT_TRUNK = 0.75  # a trunk shorter than this, in arm lengths, is seen end on
# Of an arm's length in the picture, straight to bent; of the shoulders' way, that of hips that
# pivot over the feet (half of it), and of hands that stay (what landmarks wander).
_LEAST_BENT, _HIPS_FOLLOW, _HANDS_STAY = 0.8, 0.75, 0.4
_LEVEL, _STEEP = 0.34, 0.7  # sines of 20 and of 45 degrees
_ARM_AND_HIP = ("shoulder", "elbow", "wrist", "hip")
# A hand that the model gives less than this chance to be visible is hidden: in rendered sets with
# hands in sight it gives the near one 0.5 and more, and mostly over 0.8.
_HAND_SEEN = 0.35
# A phone put square to the body is off by 15 degrees at most, one meant to stand at a slant stands
# at 45, give or take as much.
_SLANTED_DEG = 22.5
_NOW_AND_THEN = 0.5  # a side seen in fewer pictures than this share of the other's shows nothing


@dataclass(frozen=True)
class View:
    """``yaw_deg`` from a square side view: 0 side, 90 front (head to camera), -90 rear."""

    kind: ViewKind
    near_side: Side | None
    yaw_deg: float = 0.0
    stated: bool = False  # by the user, not recognised

    @property
    def from_side(self) -> bool:
        """The body's length lies across the picture, square or at a slant."""
        return self.kind in ("side", "oblique")

    @property
    def slanted(self) -> bool:
        return self.kind == "oblique"

    @property
    def along_body(self) -> bool:
        """The camera looks along the body, from the head or from the feet."""
        return self.kind in ("front", "rear")


def told_by_body(view: View, yaw_deg: float) -> View:
    """The view, slanted where the body fitted to the set shows that it is, and the widths it was
    recognised by do not speak against it: the fit tells the yaw to 2 degrees, they to 8 (rendered
    sets), but the fit is of a body that moves both arms alike."""
    doubtful = view.kind == "side" and not view.stated and view.yaw_deg * yaw_deg > 0
    if not doubtful or min(2 * abs(view.yaw_deg), abs(yaw_deg)) < _SLANTED_DEG:
        return view
    return replace(view, kind="oblique", yaw_deg=yaw_deg)


def evenly(track: PoseTrack) -> PoseTrack:
    """The track as if looked at as often throughout: what is looked at more seldom counts for as
    long as it lasts, when somebody who walks in quickly is held against a slow set."""
    if len(track.t_s) < 2:
        return track
    step_s = max(float(np.percentile(np.diff(track.t_s), 5)), 1.0 / RATE_HZ)
    t_s = np.arange(track.t_s[0], track.t_s[-1] + step_s / 2, step_s)
    after = np.clip(np.searchsorted(track.t_s, t_s), 1, len(track.t_s) - 1)
    nearest = after - (t_s - track.t_s[after - 1] < track.t_s[after] - t_s)
    return replace(
        track,
        t_s=t_s,
        xy_px=track.xy_px[nearest],
        visibility=track.visibility[nearest],
        world_m=None if track.world_m is None else track.world_m[nearest],
    )


def recognise_view(track: PoseTrack) -> View:
    """Tell side, front, oblique and rear apart from the landmarks of the whole set.

    Two widths vary with the yaw of the camera: the shoulders (and hips) open up with its sine
    while the trunk shortens with its cosine. Both are taken across the direction from the
    shoulders to the hands, so a rolled or upside-down picture changes nothing. The model's
    world landmarks, where the track has them, are one more witness. Only frames with planted
    hands and arms away from the trunk count. A track without such frames reads as side with
    no near side.
    """
    use = push_up_frames(track)
    if not use.any():
        return View("side", None)
    ventral, head, shoulders, hips = _directions(track, use)
    across = _cross(head, ventral)  # > 0 right side near
    along = float(head @ ventral)
    at_trunk = [
        _yaw_deg(_cross(shoulders, ventral), across, along, SHOULDER_WIDTH_PER_TRUNK),
        _yaw_deg(_cross(hips, ventral), across, along, HIP_WIDTH_PER_TRUNK),
        _world_yaw_deg(track, use),
    ]
    if (seen := only_side_seen(track)) is not None:
        # Which side is near is no question then; how far off square it is, is not known.
        return View("front", None, 90.0) if _end_on(track, use) else View("side", seen)
    yaw = float(np.nanmean(at_trunk)) + _trunk_off_middle_deg(track, use, abs(across))
    near: Side = "right" if across > 0 else "left"
    if abs(yaw) <= SIDE_LIMIT_DEG:
        return View("side", near, yaw - _SIDE_READS_DEG)
    if yaw >= FRONT_LIMIT_DEG:
        return View("front", None, yaw)
    if yaw <= -FRONT_LIMIT_DEG:
        return View("rear", None, yaw)
    return View("oblique", near, yaw)


def lies_turned(track: PoseTrack, view: View) -> bool:
    """Whether a picture from the side lies on its side, head down, or upside down.

    Hands that carry a body are below its shoulders, or level with them against a wall; they are
    not above them, unless they hang from a bar over the head, and where the feet are high above
    the head, as in a handstand, they are straight below. Turned head up, a floor push-up looks
    like one against a wall.
    """
    use = push_up_frames(track)
    if not view.from_side or not use.any():
        return False
    shoulder, wrist, ankle = (
        _middle(track, joint)[use] for joint in ("shoulder", "wrist", "ankle")
    )
    arm, body = (np.nanmedian(one, axis=0) for one in (wrist - shoulder, shoulder - ankle))
    arm_down, head_down = (float(one[1] / max(np.linalg.norm(one), 1e-9)) for one in (arm, body))
    if head_down < -_STEEP:
        return False
    return arm_down < -_LEVEL or (head_down > _STEEP and arm_down < 0.5)


def hands_overhead(track: PoseTrack) -> bool:
    """Whether the hands are above the shoulders for most of the time, as on a bar that one hangs
    from or presses up."""
    shoulder, wrist = _middle(track, "shoulder"), _middle(track, "wrist")
    arm = wrist - shoulder
    down = arm[:, 1] / np.maximum(np.linalg.norm(arm, axis=1), 1e-9)
    known = down[np.isfinite(down)]
    return len(known) > 0 and float(np.median(known)) < -_LEVEL


def hands_hidden(track: PoseTrack, view: View) -> bool:
    """Whether the hands of somebody who is seen are hidden for most of the time, so that where the
    model puts them is its guess."""
    sides = (view.near_side,) if view.near_side is not None else ("left", "right")
    chances = []
    for side in sides:
        there = np.isfinite(track.xy(f"{side}_shoulder")[:, 0])
        seen = np.isfinite(track.xy(f"{side}_wrist")[:, 0])
        # A track that gives no chance of being visible shows what it holds.
        chance = np.nan_to_num(track.visibility[:, INDEX[f"{side}_wrist"]], nan=1.0)
        if there.any():
            chances.append(float(np.median(np.where(seen, chance, 0.0)[there])))
    return bool(chances) and max(chances) < _HAND_SEEN


def only_side_seen(track: PoseTrack) -> Side | None:
    """The side whose arm and trunk are tracked when the other's are not, or only now and then.

    Some trackers and annotated data sets follow the side that faces the camera alone.
    """
    left, right = (
        sum(np.isfinite(track.xy(f"{side}_{joint}")[:, 0]).sum() for joint in _ARM_AND_HIP)
        for side in ("left", "right")
    )
    if min(left, right) >= _NOW_AND_THEN * max(left, right):
        return None
    return "left" if left > right else "right"


def without_rare_side(track: PoseTrack) -> PoseTrack:
    """The track without a side that is seen now and then, which would be spliced into the other."""
    if (seen := only_side_seen(track)) is None:
        return track
    rare = "left" if seen == "right" else "right"
    xy_px = track.xy_px.copy()
    xy_px[:, [i for name, i in INDEX.items() if name.startswith(rare)]] = np.nan
    return replace(track, xy_px=xy_px)


def named_as_it_faces(track: PoseTrack) -> PoseTrack:
    """The track of one side under the name of the side that faces the camera.

    Which side that is follows from the way the body faces; a tracker of one side may call it by
    either name, and a body with its sides exchanged cannot be fitted.
    """
    seen, use = only_side_seen(track), push_up_frames(track)
    if seen is None or not use.any() or _end_on(track, use):
        return track
    ventral, head, _, _ = _directions(track, use)
    near: Side = "right" if _cross(head, ventral) > 0 else "left"
    if near == seen:
        return track
    other = {"left": "right", "right": "left"}
    order = [
        INDEX[name.replace(side, other[side]) if (side := name.split("_")[0]) in other else name]
        for name in INDEX
    ]
    world_m = None if track.world_m is None else track.world_m[:, order]
    return replace(
        track,
        xy_px=track.xy_px[:, order],
        visibility=track.visibility[:, order],
        world_m=world_m,
    )


def push_up_frames(track: PoseTrack) -> BoolArray:
    """(N,) True where the hands are planted and the arms do not hang along the trunk.

    Works on raw landmarks of any view. The planted place is where the hands are for most of
    the clip; it may move slowly with a handheld camera.
    """
    shoulder, wrist, hip = (_middle(track, joint) for joint in ("shoulder", "wrist", "hip"))
    arm, trunk = wrist - shoulder, hip - shoulder
    arm_length = np.linalg.norm(arm, axis=1)
    seen: BoolArray = np.isfinite(arm_length) & np.isfinite(trunk[:, 0])
    if not seen.any():
        return np.zeros(len(track.t_s), dtype=bool)
    # The arm is at its longest, or near it, for much of any set.
    scale = float(np.nanpercentile(arm_length, 80))
    candidate: BoolArray = seen & ~arms_hang(arm, trunk, scale)
    if not candidate.any():
        if not _pivots_over_hands(shoulder, wrist, hip):
            return candidate
        candidate = seen
    place = usual_place(wrist[candidate], scale, within=_PLANTED_RADIUS)
    planted: BoolArray = np.linalg.norm(wrist - place, axis=1) <= 2 * _PLANTED_RADIUS * scale
    return candidate & planted


def _pivots_over_hands(shoulder: FloatArray, wrist: FloatArray, hip: FloatArray) -> bool:
    """Whether shoulders come down to hands that stay, and the hips less than the shoulders.

    With the hands raised, from before the head, the trunk lies along the arms as in one who
    stands. Between two bars the hips would go down as far as the shoulders.
    """
    arm_length = np.linalg.norm(wrist - shoulder, axis=1)
    short, long = np.nanpercentile(arm_length, [5, 95])
    shoulders_px, hips_px, hands_px = (
        float(np.ptp(np.nanpercentile(joint[:, 1], [5, 95]))) for joint in (shoulder, hip, wrist)
    )
    return bool(
        short < _LEAST_BENT * long
        and hips_px < _HIPS_FOLLOW * shoulders_px
        and hands_px < _HANDS_STAY * shoulders_px
    )


def arms_hang(
    arm: FloatArray,
    trunk: FloatArray,
    arm_length_px: float | FloatArray,
    least_cosine: float = _HANGING_ARM_COS,
) -> BoolArray:
    """(M,) True where the arm lies along a trunk that is seen in full: standing, kneeling up.

    ``arm`` (M, 2) shoulder to wrist and ``trunk`` (M, 2) shoulder to hip, px.
    """
    trunk_length = np.linalg.norm(trunk, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = np.einsum("ij,ij->i", arm, trunk) / (np.linalg.norm(arm, axis=1) * trunk_length)
        return np.asarray((cosine > least_cosine) & (trunk_length > _SHORT_TRUNK * arm_length_px))


def _middle(track: PoseTrack, joint: str) -> FloatArray:
    """Middle of left and right; the one that is seen, where the other is not.

    A side that is seen now and then is left out: it would make the middle jump.
    """
    if (seen := only_side_seen(track)) is not None:
        return track.xy(f"{seen}_{joint}")
    left, right = track.xy(f"left_{joint}"), track.xy(f"right_{joint}")
    both = (left + right) / 2
    return np.where(np.isfinite(both), both, np.where(np.isfinite(left), left, right))


def _end_on(track: PoseTrack, use: BoolArray) -> bool:
    """Whether the trunk shows so short that it points at the camera."""
    shoulder, wrist, hip = (_middle(track, joint)[use] for joint in ("shoulder", "wrist", "hip"))
    arm_px = float(np.nanpercentile(np.linalg.norm(wrist - shoulder, axis=1), 80))
    return float(np.nanmedian(np.linalg.norm(hip - shoulder, axis=1))) < _SHORT_TRUNK * arm_px


def _across(track: PoseTrack, joint: str) -> FloatArray:
    return track.xy(f"left_{joint}") - track.xy(f"right_{joint}")


def _directions(
    track: PoseTrack, use: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Unit vector to the hands; hips to shoulders, right to left shoulder, right to left hip."""
    shoulder, wrist, hip = (_middle(track, joint)[use] for joint in ("shoulder", "wrist", "hip"))
    head = np.median(shoulder - hip, axis=0)
    shoulders = np.nanmedian(_across(track, "shoulder")[use], axis=0)
    hips = np.nanmedian(_across(track, "hip")[use], axis=0)
    ventral = np.median(wrist - shoulder, axis=0)
    length = float(np.linalg.norm(ventral))
    if length < 0.35 * max(float(np.linalg.norm(head)), float(np.linalg.norm(shoulders))):
        return np.array([0.0, 1.0]), head, shoulders, hips  # arms point away: trust gravity
    return ventral / length, head, shoulders, hips


def _cross(a: FloatArray, b: FloatArray) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _yaw_deg(width: float, across: float, along: float, width_per_trunk: float) -> float:
    """Yaw from a left-right width and the trunk's image components.

    With trunk length T, inclination i and yaw y: width = k·T·sin y, across = T·cos i·cos y,
    along = T·sin i, so across²/(T² - along²) + width²/(k²T²) = 1, a quadratic in T².
    """
    k2 = width_per_trunk**2
    b = k2 * (across**2 + along**2) + width**2
    discriminant = max(0.0, b * b - 4 * k2 * width**2 * along**2)
    trunk2 = (b + np.sqrt(discriminant)) / (2 * k2)
    if trunk2 <= 0 or not np.isfinite(trunk2):
        return float("nan")
    sine = width / np.sqrt(k2 * trunk2)
    return float(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def _trunk_off_middle_deg(track: PoseTrack, use: BoolArray, trunk_across_px: float) -> float:
    """How much farther from behind the camera sees the trunk than the middle of the body.

    The yaw of a view is that of the line to the middle between shoulders and feet.
    """
    shoulder, ankle = (_middle(track, joint)[use] for joint in ("shoulder", "ankle"))
    length = np.linalg.norm(np.nanmedian(shoulder - ankle, axis=0))
    off_px = min(max(0.0, float(length) / 2 - trunk_across_px / 2), trunk_across_px)
    if not np.isfinite(off_px):
        return 0.0
    focal_px = USUAL_FOCAL_PER_LONG_SIDE * max(track.width, track.height)
    return float(np.degrees(np.arctan(off_px / focal_px)))


def _world_yaw_deg(track: PoseTrack, use: BoolArray) -> float:
    """How far the model's own trunk points at the camera (its z grows away from it)."""
    if track.world_m is None:
        return float("nan")
    trunk = track.world_m[use][:, [INDEX["left_shoulder"], INDEX["right_shoulder"]]].mean(1)
    trunk = trunk - track.world_m[use][:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(1)
    x, y, z = np.nanmedian(trunk, axis=0)
    return float(np.degrees(np.arctan2(-z, np.hypot(x, y))))
