"""One set of the desk, judged in a process of its own by the one job that there is."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from formcheck.desk.folder import DeskFolder, DeskSet
from formcheck.job import Outcome, SetJob, judge_set
from formcheck.log.today import LogAsk
from formcheck.plain import plain

_PROCESSES = 2  # to look for the pose in, as “formcheck set” does


@dataclass(frozen=True)
class Step:
    """What is being done, and how much of it, in whatever unit."""

    what: str
    done: float
    of: float


def set_job(folder: DeskFolder, one: DeskSet, log: Path | None) -> SetJob:
    """The job for a set whose clips are all there. Raises FormcheckError."""
    return SetJob(
        clips=folder.clips(one),
        out=folder.report(one.id),
        prescription=one.asked.prescription,
        names=tuple(plain(clip.name) for clip in one.clips),
        note=one.asked.note,
        overwrite=True,
        processes=min(_PROCESSES, os.cpu_count() or 1),
        log=LogAsk(one.asked.person, log) if one.asked.person else None,
    )


@dataclass(frozen=True)
class Result:
    """Whether a set was ``found``, and the answer in a line."""

    found: bool
    answer: str


def judge_told(job: SetJob, tell: Callable[[Step], None]) -> Result:
    """Judge a set, telling each step."""
    # Ctrl-C is for the desk, which then ends this process.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    outcome = judge_set(job, lambda what, done, of: tell(Step(what, done, of)))
    return result_of(outcome)


def result_of(outcome: Outcome) -> Result:
    from formcheck.report.answer import answer_line  # slow to import

    return Result(not outcome.analysis.empty, answer_line(outcome.analysis))
