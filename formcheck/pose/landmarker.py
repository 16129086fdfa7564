"""Find the pose of the person doing the set, in every picture looked at.

The landmarker runs in its video mode: it finds the person once and then tracks, which costs
a third less than finding the person anew in each picture and is as exact. Video mode also
smooths, forward in time only, which delays every landmark by 10 to 25 ms and smears a shaky
camera's picture; we smooth later with zero phase. So it is told that pictures are far apart,
which leaves its smoothing without effect.

The clip is divided among processes, because one inference uses one core.
"""

from __future__ import annotations

import contextlib
import itertools
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from formcheck.clip.read import ClipInfo, FloatArray, RgbImage, at_most, read_frames
from formcheck.errors import ModelError
from formcheck.pose.follow import changes_person, follow_the_set, people_apart
from formcheck.pose.model import PoseModel, find_model
from formcheck.pose.track import LANDMARKS, PoseTrack

Poses = npt.NDArray[np.float32]  # (people, 33, 6): x, y, visibility, world x, y, z

MAX_PEOPLE = 4
_MAX_SIDE_PX = 960  # the networks see 256 px of the person: 640 to 1280 read the same
_LOOKS_FOR_PEOPLE = 4  # spread over the first part of the clip
_WARM_UP_S = 0.5  # tracking settles before a part's own pictures begin
_SHORTEST_PART_S = 4.0  # below this another process costs more than it saves
_TIME_STRETCH = 100_000  # pictures this much further apart are not smoothed together
_SYSTEM_PACKAGES = {
    "libEGL": "libegl1",
    "libGLESv2": "libgles2",
    "libGL.": "libgl1",
    "libgthread": "libglib2.0-0",
    "libglib": "libglib2.0-0",
}

_looked_at: Any = None  # in a worker process: the shared count of pictures done


@dataclass(frozen=True)
class _Part:
    """One process's work: pictures at ``times_s``, of which the first ``warm_up`` are dropped.

    Up to ``people`` are tracked; the model at ``counting_path``, if any, looks a few times how
    many there are.
    """

    info: ClipInfo
    model_path: str
    times_s: FloatArray
    warm_up: int
    people: int
    counting_path: str | None


@dataclass(frozen=True)
class _Found:
    """``poses`` (N, people, 33, 6), NaN where nobody was found; ``most_people`` ever seen."""

    t_s: FloatArray
    poses: npt.NDArray[np.float32]
    most_people: int


def find_pose(
    info: ClipInfo,
    model: PoseModel,
    rate_hz: float | None = None,
    processes: int = 0,
    source_sha256: str | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> PoseTrack:
    """Landmarks of the person doing the set, at most ``rate_hz`` times a second.

    ``processes`` 0 works in this process; more start that many (a script that asks for them
    needs the usual ``if __name__ == "__main__":``). ``on_progress(done, all)`` counts pictures.
    When several people are in frame all are tracked, the one doing the set is kept, and
    ``notes`` say so.

    Raises ModelError when the pose library cannot start or breaks down.
    """
    times_s = at_most(info.times_s, rate_hz or model.rate_hz)
    report = on_progress or (lambda done, of: None)
    found = _look(info, model, times_s, 1, processes, report)
    notes = info.notes
    poses = found.poses[:, 0]
    if found.most_people > 1 or changes_person(found.t_s, poses):
        people = max(2, found.most_people)
        found = _look(info, model, times_s, people, processes, report)
        poses, followed = follow_the_set(found.poses)
        notes = (*notes, *followed)
    scale = np.array([info.width, info.height], dtype=np.float32)
    return PoseTrack(
        t_s=found.t_s,
        xy_px=(poses[..., :2] * scale).astype(np.float64),
        visibility=poses[..., 2].astype(np.float64),
        world_m=poses[..., 3:].astype(np.float64),
        width=info.width,
        height=info.height,
        fps=info.fps,
        duration_s=info.duration_s,
        frames=info.frames,
        source_name=info.path.name,
        source_sha256=source_sha256,
        model_name=model.name,
        model_sha256=model.sha256,
        notes=notes,
    )


def _look(
    info: ClipInfo,
    model: PoseModel,
    times_s: FloatArray,
    people: int,
    processes: int,
    report: Callable[[int, int], None],
) -> _Found:
    parts = _divide(info, model, times_s, people, max(1, processes))
    total = sum(len(part.times_s) for part in parts)
    if processes == 0:
        done = 0

        def one_more() -> None:
            nonlocal done
            done += 1
            report(done, total)

        found = [_work(part, one_more) for part in parts]
    else:
        found = _in_processes(parts, total, report)
    return _Found(
        t_s=np.concatenate([part.t_s for part in found]),
        poses=np.concatenate([part.poses for part in found]),
        most_people=max(part.most_people for part in found),
    )


def _divide(
    info: ClipInfo, model: PoseModel, times_s: FloatArray, people: int, processes: int
) -> list[_Part]:
    count = max(1, min(processes, int(info.duration_s / _SHORTEST_PART_S)))
    edges = np.linspace(0, len(times_s), count + 1).astype(int)
    parts = []
    for first, last in itertools.pairwise(edges):
        early = int(np.searchsorted(times_s, times_s[first] - _WARM_UP_S))
        # One more landmarker in every process would cost memory for nothing: whoever comes
        # later cannot take over the tracking without a jump, which changes_person sees.
        counting = str(find_model("full").path) if people == 1 and first == 0 else None
        own = times_s[early:last]
        parts.append(_Part(info, str(model.path), own, first - early, people, counting))
    return parts


def _in_processes(
    parts: list[_Part], total: int, report: Callable[[int, int], None]
) -> list[_Found]:
    context = multiprocessing.get_context("spawn")
    counter = context.Value("i", 0)
    with ProcessPoolExecutor(
        len(parts), mp_context=context, initializer=_start_worker, initargs=(counter,)
    ) as pool:
        jobs = [pool.submit(_work, part, _count_one) for part in parts]
        try:
            waiting = True
            while waiting:
                waiting = bool(wait(jobs, timeout=0.2).not_done)
                report(min(counter.value, total), total)
            return [job.result() for job in jobs]
        except BrokenProcessPool as error:
            raise ModelError(
                "The pose library broke down while it looked at the clip; close other programs "
                "if memory is short, and try again."
            ) from error
        except BaseException:
            for process in list((pool._processes or {}).values()):
                process.terminate()
            raise


def _start_worker(counter: Any) -> None:
    global _looked_at
    _looked_at = counter
    # The library's drawing helpers import these, 90 MB a process for nothing: in a process
    # that only looks for the pose, empty modules take their place.
    for name in ("cv2", "matplotlib", "matplotlib.pyplot"):
        sys.modules[name] = ModuleType(name)


def _count_one() -> None:
    with _looked_at.get_lock():
        _looked_at.value += 1


def _work(part: _Part, one_more: Callable[[], None]) -> _Found:
    """Look at one part of the clip; stops early when one person was expected and more show."""
    with _silent_stderr(), contextlib.ExitStack() as stack:
        landmarker = stack.enter_context(_landmarker(part.model_path, "VIDEO", part.people))
        counter = None
        if part.counting_path is not None:
            counter = stack.enter_context(_landmarker(part.counting_path, "IMAGE", MAX_PEOPLE))
        every = max(1, len(part.times_s) // _LOOKS_FOR_PEOPLE)
        times, poses, most_people = [], [], part.people
        for n, (t_s, rgb) in enumerate(read_frames(part.info, part.times_s, _MAX_SIDE_PX)):
            image = _image(rgb)
            if counter is not None and n % every == every // 2:
                most_people = max(
                    most_people, people_apart(_poses(counter.detect(image), MAX_PEOPLE))
                )
                if most_people > part.people:
                    break
            stretched_ms = round(t_s * 1000 * _TIME_STRETCH)
            if t_s >= part.times_s[part.warm_up] - 1e-9:
                times.append(t_s)
                poses.append(_poses(landmarker.detect_for_video(image, stretched_ms), part.people))
            else:
                landmarker.detect_for_video(image, stretched_ms)
            one_more()
    shape = (-1, part.people, len(LANDMARKS), 6)
    return _Found(
        t_s=np.array(times, dtype=np.float64),
        poses=np.array(poses, dtype=np.float32).reshape(shape),
        most_people=most_people,
    )


def _landmarker(model_path: str, mode: str, people: int) -> Any:
    try:
        from mediapipe.tasks.python.core.base_options import BaseOptions
        from mediapipe.tasks.python.vision import pose_landmarker
        from mediapipe.tasks.python.vision.core.vision_task_running_mode import (
            VisionTaskRunningMode,
        )

        return pose_landmarker.PoseLandmarker.create_from_options(
            pose_landmarker.PoseLandmarkerOptions(
                base_options=BaseOptions(model_asset_path=model_path),
                running_mode=VisionTaskRunningMode[mode],
                num_poses=people,
            )
        )
    except (ImportError, OSError) as error:
        raise ModelError(_missing_library(error)) from error
    except (RuntimeError, ValueError) as error:
        raise ModelError(
            f"{model_path} does not work as a pose landmark bundle; make one with "
            "models/assemble.py."
        ) from error


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


def _poses(result: Any, people: int) -> Poses:
    """(people, 33, 6) with x and y as shares of the picture; NaN for absent people."""
    poses = np.full((people, len(LANDMARKS), 6), np.nan, dtype=np.float32)
    found = zip(result.pose_landmarks, result.pose_world_landmarks, strict=True)
    for person, (image, world) in enumerate(found):
        poses[person, :, :3] = [(p.x, p.y, p.visibility) for p in image]
        poses[person, :, 3:] = [(p.x, p.y, p.z) for p in world]
    return poses


@contextlib.contextmanager
def _silent_stderr() -> Iterator[None]:
    """Keep the pose library's C++ log lines off the terminal; exceptions still pass."""
    kept = os.dup(2)
    with Path(os.devnull).open("w") as nowhere:
        os.dup2(nowhere.fileno(), 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
