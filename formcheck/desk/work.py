"""One set of the desk, judged in a process of its own by the one job that there is."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from formcheck.batch.plan import told_job
from formcheck.batch.work import keep_picture
from formcheck.desk.asked import PRESCRIBED
from formcheck.desk.folder import DeskFolder, DeskSet
from formcheck.desk.groups import files_of, roster_of
from formcheck.errors import FormcheckError
from formcheck.job import Outcome, SetJob, judge_set
from formcheck.log.today import LogAsk
from formcheck.plain import plain
from formcheck.pose.track import PoseTrack
from formcheck.reps.early import EarlySet, early_set

_PROCESSES = 2  # to look for the pose in, as “formcheck set” does


@dataclass(frozen=True)
class Step:
    """What is being done, and how much of it, in whatever unit."""

    what: str
    done: float
    of: float


@dataclass(frozen=True)
class Seen:
    """The reps so far in the clip at that ``place``."""

    place: int
    early: EarlySet


@dataclass(frozen=True)
class DeskJob:
    """A set to judge, and where the small picture of its decisive moment goes."""

    job: SetJob
    picture: Path


def desk_job(folder: DeskFolder, one: DeskSet, log: Path | None) -> DeskJob:
    """The job for a set whose clips are all there. Raises FormcheckError."""
    each = SetJob(
        clips=(),
        prescription=one.asked.prescription,
        limits=one.asked.limit_values,
        model=one.asked.model_asked,
        note=one.asked.note,
        processes=min(_PROCESSES, os.cpu_count() or 1),
        log=LogAsk(one.asked.person, log) if one.asked.person else None,
    )
    files = files_of(folder, one)
    roster = roster_of(folder, one)
    told = [roster.told(file, each.prescription) for file in files]
    names = tuple(plain(clip.name) for clip in one.clips)
    job = told_job(files, told, each, folder.report(one.id), names)
    # The form began with what the roster says, and has the last word.
    asked = {name: getattr(each.prescription, name) for name in PRESCRIBED}
    job = replace(job, prescription=replace(job.prescription, **asked), note=each.note or job.note)
    return DeskJob(job, folder.picture(one))


@dataclass(frozen=True)
class Result:
    """Whether a set was ``found``, the answer in a line, and what a summary says besides."""

    found: bool
    answer: str
    fix_first: str | None = None
    variation: str = ""


def judge_told(asked: DeskJob, tell: Callable[[Step | Seen], None]) -> Result:
    """Judge a set, telling each step, and the reps as they are found."""
    # Ctrl-C is for the desk, which then ends this process.
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def tell_reps(place: int, track: PoseTrack) -> None:
        with contextlib.suppress(Exception):  # a guess that fails must not stop the judging
            tell(Seen(place, early_set(track)))

    outcome = judge_set(asked.job, lambda what, done, of: tell(Step(what, done, of)), tell_reps)
    with contextlib.suppress(FormcheckError, OSError):
        keep_picture(outcome, asked.picture)
    return result_of(outcome)


def result_of(outcome: Outcome) -> Result:
    from formcheck.report.answer import FAILED, answer_line, fix_first  # slow to import
    from formcheck.report.words import variation_text

    analysis = outcome.analysis
    return Result(
        not analysis.empty,
        answer_line(analysis),
        fix_first(analysis, besides=FAILED),
        variation_text(analysis.variation),
    )
