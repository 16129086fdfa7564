"""Find the pose of the person doing the set, in every picture looked at.

The landmarker runs in its video mode: it finds the person once and then tracks, which costs
a third less than finding the person anew in each picture and is as exact. Video mode also
smooths, forward in time only, which delays every landmark by 10 to 25 ms and smears a shaky
camera's picture; we smooth later with zero phase. So it is told that pictures are far apart,
which leaves its smoothing without effect.

It finds the most prominent person only. A few looks at key pictures, each person found painted
over to find the next, tell whether others are there; only then is it worked out who does the
set, and the pose is looked for in that part of the picture. So it is when somebody is too small
in the picture to be found, but is found in windows of it; and when the tracking of somebody small
was lost or jumped, for a body found anew in a part of the picture is found more exactly.

Not every picture is looked at: ``pace`` tells which.

The clip is divided among processes, because one inference uses one core. None of it is done in
the caller's own process: the library reports its use over the network, and ``apart`` closes that.
"""

from __future__ import annotations

import contextlib
import itertools
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

import numpy as np

from formcheck.apart.process import WorkLostError, work_apart
from formcheck.clip.info import ClipInfo
from formcheck.clip.read import RgbImage, at_most, read_frames
from formcheck.clip.small import Keep, drawn_times, read_frames_keeping, worth_keeping
from formcheck.errors import ClipError, ModelError
from formcheck.maths.arrays import FloatArray
from formcheck.plain import plain
from formcheck.pose.follow import (
    WHOLE,
    WINDOWS,
    Poses,
    Region,
    changes_person,
    close_around,
    doing_the_set,
    found_up_close,
    people_apart,
    strays,
)
from formcheck.pose.model import POSE_RATE_HZ, SEARCHES, PoseModel, find_model
from formcheck.pose.pace import looked_at
from formcheck.pose.track import LANDMARKS, PoseTrack

_Report = Callable[[int, int], None]
_Seen = tuple[float, Poses]  # when, and the (33, 6) pose then
OnTrack = Callable[[PoseTrack], None]
_Task = TypeVar("_Task")
_Result = TypeVar("_Result")

# Good enough to count people, and light on memory beside the model in use.
COUNTING_MODEL = "full"
_MAX_SIDE_PX = 960  # the networks see 256 px of the person: 640 to 1280 read the same
_WARM_UP_S = 0.5  # tracking settles before a part's own pictures begin
# Where a part begins shows in its landmarks, so a clip is divided the same way on any machine.
_PARTS = 2
_SHORTEST_PART_S = 4.0  # below this another process costs more than it saves
_TRACK_EVERY_S = 1.0  # the track found so far is handed on no more often
_STEP_MS = 10_000_000  # pictures so far apart are not smoothed together
_MAX_PEOPLE = 4
_LOOKS_FOR_OTHERS = 6  # at key pictures, which cost no decoding of others
_LOOKS_AT_ALL = 24  # over the clip, when there are others: enough to tell who goes up and down
_OFTEN_SEEN = 0.5  # a person found in fewer pictures may be too small in them
_LOOKS_UP_CLOSE = 8
_BORDER = 0.1  # painted over beyond the landmarks of a person found, as a share of the body
_KEEN = 0.3  # detection confidence of these looks: people_apart sorts out mistaken finds
_SYSTEM_PACKAGES = {
    "libEGL": "libegl1",
    "libGLESv2": "libgles2",
    "libGL.": "libgl1",
    "libgthread": "libglib2.0-0",
    "libglib": "libglib2.0-0",
}

SMALL = (
    "The person is small in this picture: film from nearer, so that the body fills most of its "
    "width, for sharper numbers."
)

_LOST = {
    "died": "the search for the pose in it broke down; close other programs if memory is short, "
    "and try again, or re-export it as H.264 mp4.",
    "memory": "the search for the pose in it takes more memory than it may; export it at 1080 "
    "lines, and try again.",
    "stalled": "the search for the pose in it stood still and was ended; try again.",
}


@dataclass(frozen=True)
class _Part:
    """One part of the work: looks at ``looks_s``, or fewer; those before ``own_s`` warm it up.

    First it looks for other people at ``others_s``, key pictures of its part. ``region`` is the
    part of the picture to look at; ``keep`` what to keep of the part as a small copy.
    """

    info: ClipInfo
    model_path: str
    looks_s: FloatArray
    own_s: float
    others_s: FloatArray
    region: Region
    keep: Keep | None = None

    @property
    def times_s(self) -> FloatArray:
        """The times of all its pictures, from its first look to its last."""
        first, last = self.looks_s[[0, -1]] + (-1e-9, 1e-9)
        times_s = self.info.times_s
        return np.asarray(times_s[(times_s >= first) & (times_s <= last)])


@dataclass(frozen=True)
class _Found:
    """``poses`` (N, 33, 6), NaN where nobody was found; ``others`` when it stopped for them."""

    t_s: FloatArray
    poses: Poses
    others: bool

    @property
    def unseen_s(self) -> FloatArray:
        return self.t_s[np.isnan(self.poses[:, 0, 0])]


@dataclass(frozen=True)
class _Looks:
    """Pictures in which to find everybody, each looked at window by window."""

    info: ClipInfo
    times_s: FloatArray
    windows: tuple[Region, ...]


def find_pose(
    info: ClipInfo,
    model: PoseModel | None = None,
    rate_hz: float = POSE_RATE_HZ,
    processes: int = 1,
    source_sha256: str | None = None,
    on_progress: Callable[[int, int], None] | None = None,
    on_track: OnTrack | None = None,
    small_in: Path | None = None,
) -> PoseTrack:
    """Landmarks of the person doing the set, at most ``rate_hz`` times a second.

    ``model`` is the default model when not given.
    More than one of ``processes`` share the work of a clip that is long enough to be worth it;
    the result is the same.
    ``on_progress(done, all)`` counts pictures. ``on_track`` is handed the track found so far,
    from the clip's beginning on without a gap, about once a second; it may begin anew, when
    somebody else turns out to be in frame. A small copy of a large clip is left in the folder
    ``small_in``, to draw from: one file a part, in order of their names.
    When several people are in frame the one doing the set is followed, and ``notes`` say so.

    Raises ModelError when the pose library cannot start, and ClipError when the search breaks
    down, stands still or takes too much memory.
    """
    model = model or find_model()
    times_s = at_most(info.times_s, rate_hz)
    report = on_progress or (lambda done, of: None)
    notes = info.notes

    def track_of(t_s: FloatArray, poses: Poses, notes: tuple[str, ...]) -> PoseTrack:
        scale = np.array([info.width, info.height], dtype=np.float32)
        return PoseTrack(
            t_s=t_s,
            xy_px=(poses[..., :2] * scale).astype(np.float64),
            visibility=poses[..., 2].astype(np.float64),
            world_m=poses[..., 3:].astype(np.float64),
            width=info.width,
            height=info.height,
            fps=info.fps,
            duration_s=info.duration_s,
            frames=info.frames,
            source_name=plain(info.path.name),
            source_sha256=source_sha256,
            model_name=model.name,
            model_sha256=model.sha256,
            notes=notes,
        )

    def tell(found: _Found) -> None:
        if on_track is not None:
            on_track(track_of(found.t_s, found.poses, info.notes))

    keep_in = small_in if worth_keeping(info) else None
    found = _find(info, model, times_s, None, processes, report, tell, keep_in)
    alone = True
    if found.others or changes_person(found.t_s, found.poses):
        looks_s = info.times_s[:: max(1, len(info.times_s) // _LOOKS_AT_ALL)]
        asked = [_Looks(info, looks_s, (WHOLE,))]
        looks = _run(info.path, model, _everyone_in, asked, len(looks_s), report)[0]
        region, note = doing_the_set(looks)
        alone = not found.others and region is None
        if not alone:
            region = region or WHOLE
            found = _find(info, model, times_s, region, processes, report, tell, keep_in)
        notes = (*notes, *note)
    elif len(unseen_s := found.unseen_s) > (1 - _OFTEN_SEEN) * len(found.t_s):
        looks_s = unseen_s[:: max(1, len(unseen_s) // _LOOKS_UP_CLOSE)]
        asked = [_Looks(info, looks_s, WINDOWS)]
        looks = _run(info.path, model, _everyone_in, asked, len(looks_s), report)[0]
        if (region := found_up_close(looks)) is not None:
            closer = _find(info, model, times_s, region, processes, report, tell)
            if len(closer.unseen_s) < len(unseen_s):
                found, notes = closer, (*notes, SMALL)
    size = (info.width, info.height)
    astray = strays(found.t_s, found.poses, size)
    region = close_around(found.poses, size) if alone and astray[0] else None
    if region is not None:
        closer = _find(info, model, times_s, region, processes, report, tell)
        if sum(strays(closer.t_s, closer.poses, size)) < sum(astray):
            found, notes = closer, tuple(dict.fromkeys((*notes, SMALL)))
    return track_of(found.t_s, found.poses, notes)


def _find(
    info: ClipInfo,
    model: PoseModel,
    times_s: FloatArray,
    region: Region | None,
    processes: int,
    report: _Report,
    tell: Callable[[_Found], None],
    keep_in: Path | None = None,
) -> _Found:
    """Look for the pose in a region; without one, for other people first, then everywhere."""
    count = max(1, min(_PARTS, int(info.duration_s / _SHORTEST_PART_S)))
    looks_s = info.key_times_s[:: max(1, len(info.key_times_s) // _LOOKS_FOR_OTHERS)]
    others_s = np.array_split(looks_s if region is None else looks_s[:0], count)
    edges = np.linspace(0, len(times_s), count + 1).astype(int)
    drawn_s = drawn_times(info)
    parts = []
    for n, (first, last) in enumerate(itertools.pairwise(edges)):
        early = int(np.searchsorted(times_s, times_s[first] - _WARM_UP_S))
        own = times_s[early:last]
        keep = None
        if keep_in is not None:
            until_s = times_s[last] if last < len(times_s) else np.inf
            kept_s = drawn_s[(drawn_s >= times_s[first]) & (drawn_s < until_s)]
            keep = Keep(keep_in / f"{n:04}.mkv", kept_s)
        parts.append(
            _Part(
                info, str(model.path), own, float(times_s[first]), others_s[n], region or WHOLE,
                keep,
            )
        )  # fmt: skip
    seen: list[list[_Seen]] = [[] for _ in parts]
    told_at = time.monotonic()

    def on_seen(n: int, one: _Seen | None) -> None:
        nonlocal told_at
        if one is None:
            return
        seen[n].append(one)
        if time.monotonic() - told_at > _TRACK_EVERY_S:
            tell(_found(_from_the_beginning(parts, seen)))
            told_at = time.monotonic()

    pictures = sum(len(part.times_s) for part in parts)
    others = _run(info.path, model, _pose_in, parts, pictures, report, processes, on_seen)
    return _found([one for part in seen for one in part], any(others))


def _from_the_beginning(parts: Sequence[_Part], seen: Sequence[list[_Seen]]) -> list[_Seen]:
    """What was seen up to the first picture that is still to be looked at."""
    whole: list[_Seen] = []
    for part, part_seen in zip(parts, seen, strict=True):
        whole += part_seen
        # The last picture of a part is always looked at.
        if not part_seen or part_seen[-1][0] < part.looks_s[-1] - 1e-6:
            break
    return whole


def _found(seen: Sequence[_Seen], others: bool = False) -> _Found:
    return _Found(
        t_s=np.array([t_s for t_s, _ in seen], dtype=np.float64),
        poses=np.array([pose for _, pose in seen], np.float32).reshape(-1, len(LANDMARKS), 6),
        others=others,
    )


def _run(
    clip: Path,
    model: PoseModel,
    work: Callable[[_Task, Callable[[Any], None]], _Result],
    tasks: Sequence[_Task],
    pictures: int,
    report: _Report,
    processes: int = 1,
    on_told: Callable[[int, Any], None] = lambda n, value: None,
) -> list[_Result]:
    """Do the tasks in processes of their own; ``report`` hears of each picture done, ``on_told``
    what was told of it."""
    done = 0

    def on_step(n: int, value: Any) -> None:
        nonlocal done
        if n >= 0:
            done += 1
            on_told(n, value)
        report(min(done, pictures), pictures)

    try:
        return work_apart(
            _without_drawing,
            [(work, task) for task in tasks],
            on_step,
            processes=max(1, processes),
            prepared=SEARCHES,
        )
    except WorkLostError as error:
        if error.how == "died" and not model.shipped:
            raise ModelError(_not_a_bundle(str(model.path))) from error
        raise ClipError(f"{clip}: {_LOST[error.how]}") from error
    except RuntimeError as error:  # what the library says of networks that do not fit
        raise ModelError(_not_a_bundle(str(model.path))) from error


def get_ready() -> None:
    """Import what looks for the pose, in a process that does nothing else."""
    # What the library draws and hears with imports these, 90 MB a process for nothing: empty
    # modules take their place.
    for name in ("cv2", "matplotlib", "matplotlib.pyplot", "sounddevice"):
        sys.modules.setdefault(name, ModuleType(name))
    with contextlib.suppress(ImportError, OSError):  # told when a landmarker is made
        _pose_library()


def _without_drawing(
    asked: tuple[Callable[[_Task, Callable[[Any], None]], _Result], _Task],
    tell: Callable[[Any], None],
) -> _Result:
    get_ready()
    work, task = asked
    return work(task, tell)


def _pose_in(part: _Part, tell: Callable[[_Seen | None], None]) -> bool:
    """Look at one part of the clip, telling each pose, and nothing of pictures to warm up on.

    Whether it stopped before it began because there are other people.
    """
    if _others_at(part.info, part.others_s):
        return True
    own_s = part.own_s - 1e-9
    info, looks = part.info, itertools.count(1)
    shape = (
        round((part.region.right - part.region.left) * info.width),
        round((part.region.bottom - part.region.top) * info.height),
    )
    with _landmarker(part.model_path, "VIDEO") as landmarker:

        def look(picture: RgbImage) -> Poses:
            return _pose(landmarker.detect_for_video(_image(picture), next(looks) * _STEP_MS))

        frames = read_frames_keeping(info, part.times_s, _side_px(info, part.region), part.keep)
        pictures = ((t_s, partial(_cut, part.region, whole)) for t_s, whole in frames)
        for t_s, pose in looked_at(pictures, look, part.looks_s, shape):
            warming_up = t_s < own_s
            tell(None if pose is None or warming_up else (t_s, part.region.to_whole(pose)))
    return False


def _cut(region: Region, whole: Callable[[], RgbImage]) -> RgbImage:
    return region.cut(whole())


def _side_px(info: ClipInfo, region: Region) -> int:
    """Longer side of the whole picture when that of the region is as large as is useful."""
    part_px = max(
        (region.right - region.left) * info.width, (region.bottom - region.top) * info.height
    )
    return round(max(info.width, info.height) * min(1.0, _MAX_SIDE_PX / part_px))


def _others_at(info: ClipInfo, times_s: FloatArray) -> bool:
    """Whether more than one person is in any of these pictures."""
    if len(times_s) == 0:
        return False
    with _landmarker(str(find_model(COUNTING_MODEL).path), "IMAGE", _KEEN) as landmarker:
        for t_s in times_s:
            for _, rgb in read_frames(info, np.array([t_s]), _MAX_SIDE_PX):
                if len(_everyone(landmarker, rgb)) > 1:
                    return True
    return False


def _everyone_in(asked: _Looks, tell: Callable[[Any], None]) -> list[Poses]:
    """The people in each picture."""
    looks = []
    side_px = _side_px(asked.info, asked.windows[0])
    with _landmarker(str(find_model(COUNTING_MODEL).path), "IMAGE", _KEEN) as landmarker:
        for _, rgb in read_frames(asked.info, asked.times_s, side_px):
            finds = [
                window.to_whole(pose)
                for window in asked.windows
                for pose in _everyone(landmarker, window.cut(rgb))
            ]
            looks.append(people_apart(_together(finds)))
            tell(None)
    return looks


def _everyone(landmarker: Any, rgb: RgbImage) -> Poses:
    """(K, 33, 6) people in one picture: who is found is painted over to find the next."""
    finds: list[Poses] = []
    grey = rgb.mean(axis=(0, 1)).astype(np.uint8)
    left = rgb.copy()
    while len(finds) < _MAX_PEOPLE:
        pose = _pose(landmarker.detect(_image(left)))
        if np.isnan(pose[0, 0]):
            break
        finds.append(pose)
        low, high = pose[:, :2].min(axis=0), pose[:, :2].max(axis=0)
        size = np.array([rgb.shape[1], rgb.shape[0]])
        (x0, y0), (x1, y1) = (
            np.clip((corner * size).astype(int), 0, size)
            for corner in (low - _BORDER * (high - low), high + _BORDER * (high - low))
        )
        left[y0:y1, x0:x1] = grey
    return people_apart(_together(finds))


def _together(finds: list[Poses]) -> Poses:
    return np.array(finds, dtype=np.float32).reshape(-1, len(LANDMARKS), 6)


def _pose_library() -> tuple[Any, Any, Any]:
    from mediapipe.tasks.python.core.base_options import BaseOptions
    from mediapipe.tasks.python.vision import pose_landmarker
    from mediapipe.tasks.python.vision.core.vision_task_running_mode import VisionTaskRunningMode

    return pose_landmarker, BaseOptions, VisionTaskRunningMode


def _landmarker(model_path: str, mode: str, least_confidence: float = 0.5) -> Any:
    try:
        pose_landmarker, base, mode_of = _pose_library()
        return pose_landmarker.PoseLandmarker.create_from_options(
            pose_landmarker.PoseLandmarkerOptions(
                base_options=base(model_asset_path=model_path),
                running_mode=mode_of[mode],
                min_pose_detection_confidence=least_confidence,
            )
        )
    except (ImportError, OSError) as error:
        raise ModelError(_missing_library(error)) from error
    except (RuntimeError, ValueError) as error:
        raise ModelError(_not_a_bundle(model_path)) from error


def _not_a_bundle(model_path: str) -> str:
    return (
        f"{model_path} does not work as a pose landmark bundle, a zip of the detector as "
        "pose_detector.tflite and the landmark network as pose_landmarks_detector.tflite; give "
        "--model full or heavy, which ship."
    )


def _missing_library(error: ImportError | OSError) -> str:
    for library, package in _SYSTEM_PACKAGES.items():
        if library in str(error):
            return (
                f"The pose library needs the system library {library.rstrip('.')}, which is "
                f"missing; install it, on Debian with: apt-get install {package}"
            )
    return f"The pose library cannot start ({error}); install formcheck again."


def _image(rgb: RgbImage) -> Any:
    from mediapipe.tasks.python.vision.core.image import Image, ImageFormat

    return Image(image_format=ImageFormat.SRGB, data=rgb)


def _pose(result: Any) -> Poses:
    """(33, 6) with x and y as shares of the picture; NaN when nobody was found."""
    if not result.pose_landmarks:
        return np.full((len(LANDMARKS), 6), np.nan, dtype=np.float32)
    image, world = result.pose_landmarks[0], result.pose_world_landmarks[0]
    return np.array(
        [(p.x, p.y, p.visibility, w.x, w.y, w.z) for p, w in zip(image, world, strict=True)],
        dtype=np.float32,
    )
