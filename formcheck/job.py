"""Judge one set into one folder: the one job that every command and page starts.

What is slow to import is imported where it is used: the processes that look for the pose start
from the commands that import this.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from os import getpid
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.errors import Exit, FormcheckError, OutputError
from formcheck.pose.model import DEFAULT_MODEL, POSE_RATE_HZ, PoseModel, find_model
from formcheck.pose.track import PoseTrack
from formcheck.signals.view import ViewKind

if TYPE_CHECKING:
    from formcheck.analysis import Analysis
    from formcheck.clip.read import ClipInfo
    from formcheck.log.enter import Entered
    from formcheck.log.today import Before, LogAsk
    from formcheck.report.weeks import Weeks

    Given = ClipInfo | PoseTrack  # a clip, or the pose track that was found in one

# Told what is being done, and how much of it, in whatever unit.
OnProgress = Callable[[str, float, float], None]

TRACK_FILES = ("landmarks.parquet", "landmarks_2.parquet")  # of each view, in order
# What a set's folder may hold; other files in it are the user's and are never touched.
MADE = (*TRACK_FILES, "report.json", "reps.csv", "reps.xlsx", "report.html", "annotated.mp4")


class JobError(FormcheckError):
    """What is asked of the set makes no sense."""


@dataclass(frozen=True)
class SetJob:
    """One set to judge, and how.

    ``clips`` one or two files, in any order: clips, or saved pose tracks (``.parquet``).
    ``out`` the folder of the report; None: here, named after the first clip. ``limits`` values
    that differ from the default ones, by key. ``views`` what each clip shows, where recognition
    is not wanted; empty otherwise. ``names`` shown in place of the clips' file names; empty to
    show those. ``drawing`` whether to write the annotated clip and the pictures on the page.
    ``processes`` to look for the pose in; 0 looks in this one. ``fresh`` finds the pose again
    even if it is known. ``log`` whose training log to enter the set in; None enters it in none.
    """

    clips: tuple[Path, ...]
    out: Path | None = None
    prescription: Prescription = field(default_factory=Prescription)
    person: Person = field(default_factory=Person)
    limits: Mapping[str, float] = field(default_factory=dict)
    views: tuple[ViewKind, ...] = ()
    names: tuple[str, ...] = ()
    model: str = DEFAULT_MODEL
    pose_rate_hz: float = POSE_RATE_HZ
    note: str = ""
    drawing: bool = True
    xlsx: bool = False
    overwrite: bool = False
    fresh: bool = False
    processes: int = 0
    log: LogAsk | None = None


@dataclass(frozen=True)
class Outcome:
    """A judged set, the folder that holds its report, what the report says of the person's weeks,
    and the entry in their log; None where it was not to be entered, or holds no rep."""

    analysis: Analysis
    folder: Path
    weeks: Weeks | None = None
    entered: Entered | None = None

    @property
    def exit_code(self) -> Exit:
        return Exit.NO_SET_FOUND if self.analysis.empty else Exit.DONE


def judge_set(job: SetJob, on_progress: OnProgress = lambda what, done, of: None) -> Outcome:
    """Judge a set and write its report folder, whole or not at all.

    A clip in which no set is found gets a report too, which says so. Raises FormcheckError,
    one sentence, for everything that can be wrong with what was given; then nothing was written.
    """
    from formcheck.analysis import analyse
    from formcheck.faults.limits import default_limits, with_values
    from formcheck.log.enter import enter
    from formcheck.log.today import body_of, weighed
    from formcheck.pose.store import write_track
    from formcheck.report.tables import check_xlsx
    from formcheck.report.write import write_report

    _check(job)
    if job.xlsx:
        check_xlsx()
    given = [_look_at(path) for path in job.clips]
    folder = job.out or _default_folder(given[0])
    check_free(folder, job.overwrite)
    model = find_model(job.model)
    before = _look_back(job.log, job.clips, given) if job.log else None
    person = job.person if before is None else body_of(before, job.person)

    with made_whole(folder) as scratch:
        tracks = [
            one if isinstance(one, PoseTrack) else _pose(one, model, job, on_progress)
            for one in given
        ]
        if job.names:
            named = zip(tracks, job.names, strict=True)
            tracks = [replace(track, source_name=name) for track, name in named]
        limits = with_values(default_limits(), job.limits)
        analysis = analyse(tracks, job.prescription, limits, job.views or None, person)
        weeks = None
        if before is not None and analysis.reps:
            analysis, weeks = weighed(analysis, before, folder)
        order = [look.clip for look in analysis.looks]
        for place, name in zip(order, TRACK_FILES, strict=False):
            write_track(tracks[place], scratch / name)
        length_s = analysis.looks[0].track.duration_s
        write_report(
            analysis,
            [_drawn_on(given[place]) for place in order] if job.drawing else (),
            scratch,
            xlsx=job.xlsx,
            note=job.note,
            weeks=weeks,
            on_frame=lambda t_s: on_progress("Drawing the clip", t_s, length_s),
        )
    entered = enter(folder, log_path=job.log.path) if job.log and analysis.reps else None
    return Outcome(analysis, folder, weeks, entered)


def _check(job: SetJob) -> None:
    if len(job.clips) not in (1, 2):
        raise JobError(
            f"a set is seen by one camera or by two, not by {len(job.clips)}: give one clip, or "
            "two clips of the same set."
        )
    if job.views and len(job.views) != len(job.clips):
        raise JobError("give the view once for each clip, in the same order.")
    for word in job.views:
        if word not in get_args(ViewKind):
            raise JobError(f"“{word}” is no view: give one of {', '.join(get_args(ViewKind))}.")
    if job.names and len(job.names) != len(job.clips):
        raise JobError("give a name once for each clip, in the same order.")


def _look_at(path: Path) -> Given:
    from formcheck.clip.read import probe
    from formcheck.pose.store import read_track

    if path.suffix == ".parquet":
        return read_track(path)
    return probe(path)


def _look_back(ask: LogAsk, clips: Sequence[Path], given: Sequence[Given]) -> Before:
    from formcheck.log.today import look_back

    said = [None if isinstance(one, PoseTrack) else one.recorded_at for one in given]
    return look_back(ask, clips, said)


def _default_folder(given: Given) -> Path:
    """Here, named after the clip."""
    name = given.source_name if isinstance(given, PoseTrack) else given.path.name
    return Path(f"{Path(name).stem}_report")


def _pose(clip: ClipInfo, model: PoseModel, job: SetJob, on_progress: OnProgress) -> PoseTrack:
    from formcheck.pose.cache import find_pose_once

    what = f"Finding the pose in {clip.path.name}"
    return find_pose_once(
        clip,
        model,
        job.pose_rate_hz,
        job.processes,
        job.fresh,
        lambda done, of: on_progress(what, done, of),
    )


def _drawn_on(given: Given) -> Path | None:
    return None if isinstance(given, PoseTrack) else given.path


def check_free(out: Path, overwrite: bool) -> None:
    """Raise OutputError when ``out`` holds a report that may not be replaced."""
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out} is a file; choose a folder with --out.")
    if not overwrite and any((out / name).exists() for name in MADE):
        raise OutputError(
            f"{out} already holds a report: replace it with --overwrite, or choose another folder "
            "with --out."
        )


@contextmanager
def made_whole(out: Path) -> Iterator[Path]:
    """A scratch folder whose files move into ``out`` when the block ends well.

    Files of an earlier report that were not made again go; until then nothing of it is
    touched. On any error the scratch folder goes and ``out`` stays as it was.
    """
    existing = next(folder for folder in (out, *out.absolute().parents) if folder.exists())
    scratch = existing / f".{out.name}.{getpid()}.partial"
    try:
        scratch.mkdir()
    except OSError as error:
        raise OutputError(
            f"{out} cannot be written ({error.strerror}); choose another folder with --out."
        ) from error
    try:
        yield scratch
        out.mkdir(parents=True, exist_ok=True)
        for name in MADE:
            if (scratch / name).exists():
                (scratch / name).replace(out / name)
            else:
                (out / name).unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(
            f"{out} could not be written ({error.strerror or error}); free some space or choose "
            "another folder with --out."
        ) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
