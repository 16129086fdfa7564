"""Judge one set into one folder: the one job that every command and page starts.

What is slow to import is imported where it is used: the processes that look for the pose start
from the commands that import this.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.errors import Exit
from formcheck.files import cut_name
from formcheck.pose.model import DEFAULT_MODEL, POSE_RATE_HZ, find_model
from formcheck.report.folder import made_whole

if TYPE_CHECKING:
    from formcheck.analysis import Analysis
    from formcheck.judged import OnTrack
    from formcheck.log.enter import Entered
    from formcheck.log.today import LogAsk
    from formcheck.report.weeks import Weeks
    from formcheck.signals.view import ViewKind

_SMALL = "small"  # in the scratch folder: copies of the clips to draw from
# Told what is being done, and how much of it, in whatever unit.
OnProgress = Callable[[str, float, float], None]


@dataclass(frozen=True)
class SetJob:
    """One set to judge, and how.

    ``clips`` one or two files, in any order: clips, or saved pose tracks (``.parquet``).
    ``out`` the folder of the report; None: here, named after the first clip. ``limits`` values
    that differ from the default ones, by key. ``views`` what each clip shows, where recognition
    is not wanted; empty otherwise. ``names`` shown in place of the clips' file names; empty to
    show those. ``drawing`` whether to write the annotated clip and the pictures on the page;
    ``blur_faces`` hides the face of who does the set in all of them.
    ``processes`` to look for the pose in. ``fresh`` finds the pose again even if it is known.
    ``log`` whose training log to enter the set in; None enters it in none.
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
    blur_faces: bool = False
    xlsx: bool = False
    overwrite: bool = False
    fresh: bool = False
    processes: int = 1
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


def judge_set(
    job: SetJob,
    on_progress: OnProgress = lambda what, done, of: None,
    on_track: OnTrack | None = None,
) -> Outcome:
    """Judge a set and write its report folder, whole or not at all.

    ``on_track(place, track)`` is handed the track found so far in the clip at that place, about
    once a second while the pose is searched for, to show the first reps by; whatever time it
    takes, the search goes on meanwhile.

    A clip in which no set is found gets a report too, which says so. Raises FormcheckError,
    one sentence, for everything that can be wrong with what was given; then nothing was written.
    """
    from formcheck.judged import judge

    if job.xlsx:
        from formcheck.report.tables import check_xlsx

        check_xlsx()
    if job.log:
        from formcheck.log.enter import enter
        from formcheck.log.today import body_of, look_back, weighed
    folder = job.out or default_folder(job.clips)
    find_model(job.model)
    before = look_back(job.log, job.clips) if job.log else None
    with made_whole(folder, job.overwrite, job.clips) as scratch:
        judged = judge(
            *job.clips,
            prescription=job.prescription,
            person=body_of(before, job.person) if before else job.person,
            limits=job.limits,
            views=job.views,
            names=job.names,
            model=job.model,
            pose_rate_hz=job.pose_rate_hz,
            fresh=job.fresh,
            processes=job.processes,
            on_progress=on_progress,
            on_track=on_track,
            small_in=scratch / _SMALL if job.drawing else None,
        )
        weeks = None
        if before and judged.analysis.reps:
            analysis, weeks = weighed(judged.analysis, before)
            judged = replace(judged, analysis=analysis)
        judged.fill(
            scratch,
            job.note,
            drawing=job.drawing,
            xlsx=job.xlsx,
            weeks=weeks,
            blur_faces=job.blur_faces,
            home=folder,
            small_in=scratch / _SMALL,
            on_progress=on_progress,
        )
    entered = enter(folder, log_path=before.ask.path) if before and weeks else None
    return Outcome(judged.analysis, folder, weeks, entered)


def default_folder(clips: Sequence[Path]) -> Path:
    """Here, named after the first clip; a saved track is named after the clip it is of."""
    from formcheck.judged import is_track
    from formcheck.pose.store import read_track

    if not clips:
        return Path("report")
    name = read_track(clips[0]).source_name if is_track(clips[0]) else clips[0].name
    # A name stays within what file systems take (255 bytes), and is never that of another folder.
    stem = cut_name(PurePath(name).stem, 200) or "set"
    return Path(f"{stem}_report")
