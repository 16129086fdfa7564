"""Keep looking for clips in a folder that a phone or a sync service fills."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from formcheck.batch.find import files_in
from formcheck.batch.known import State, state_of
from formcheck.batch.run import BatchJob, BatchOutcome, OnProgress, run_batch
from formcheck.batch.work import Judge
from formcheck.job import judge_set

EVERY_S = 5.0


def watch_batch(
    job: BatchJob,
    on_progress: OnProgress,
    on_round: Callable[[BatchOutcome], None],
    every_s: float = EVERY_S,
    judge: Judge = judge_set,
    ended: Callable[[], bool] = lambda: False,
) -> None:
    """Run at once, and again whenever clips have come, changed or gone, until ``ended``.

    A file is left alone until it has stopped growing: until nothing about it has changed from
    one look to the next.
    """
    seen = _states(job)
    judged: dict[Path, State] | None = None
    while not ended():
        time.sleep(every_s)
        now = _states(job)
        steady = {path: state for path, state in now.items() if seen.get(path) == state}
        if steady != judged:
            on_round(run_batch(job, on_progress, judge, steady.__contains__))
            judged = steady
        seen = now


def _states(job: BatchJob) -> dict[Path, State]:
    return {path: state_of(path) for path in files_in(job.folder.absolute(), job.out)}
