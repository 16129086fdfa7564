"""A batch from end to end: find, plan, judge what is missing or changed, sum up."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import dataclass, field, replace
from pathlib import Path

from formcheck.batch.codes import Codes
from formcheck.batch.find import ClipFile, files_in, look_at
from formcheck.batch.known import Known, state_of
from formcheck.batch.plan import STATE, SetPlan, plan_sets
from formcheck.batch.processes import fitting_workers, worker_died, workers
from formcheck.batch.records import Record, Records, Result, Standing, only_run
from formcheck.batch.roster import Roster, read_roster, write_roster
from formcheck.batch.summary import write_summary
from formcheck.batch.work import Done, EndedBeforeError, Judge, judge_plan, why_ended
from formcheck.errors import Exit, FormcheckError, OutputError
from formcheck.job import SetJob, judge_set
from formcheck.plain import plain
from formcheck.report.tables import check_xlsx

# Judging takes about as long as the clip on one core, drawing included; a slow or busy machine
# may take many times that (assumed).
_LIMIT_S, _LIMIT_PER_S = 120.0, 20.0
LONGEST_MIN = 20.0  # a clip that is longer was not cut to a set (assumed)


class BatchError(FormcheckError):
    """The batch cannot be started as asked."""


@dataclass(frozen=True)
class BatchJob:
    """A folder of clips to judge into ``out``.

    ``each`` is how a set is judged where the ``roster`` says nothing else; its clips are not
    used, nor the person of its ``log``: each set is entered for its own, where one is known.
    ``codes_key`` the file that keeps who is who when codes stand for names. ``count`` of workers,
    0 for as many as fit; ``scheduler`` address of a Dask cluster to work on instead.
    ``longest_min`` a clip may be; ``patience`` multiplies the time that a set may take.
    ``again_failed`` tries sets again that failed in an earlier run and have not changed.
    """

    folder: Path
    out: Path
    each: SetJob = field(default_factory=lambda: SetJob(()))
    roster: Path | None = None
    codes_key: Path | None = None
    count: int = 0
    scheduler: str | None = None
    longest_min: float = LONGEST_MIN
    patience: float = 1.0
    again_failed: bool = False


@dataclass(frozen=True)
class Progress:
    """How far a batch is: sets, and seconds of clip. ``results`` have just come in."""

    done: int
    of: int
    done_s: float
    of_s: float
    results: tuple[Result, ...] = ()


@dataclass(frozen=True)
class BatchOutcome:
    """Every set's result in order, and how many sets were judged in this run.

    ``absent`` people of the roster who sent no clip; ``left`` folders of reports whose clips are
    no longer there; ``failed_before`` sets that failed in an earlier run and were left at that.
    """

    standings: tuple[Standing, ...]
    judged_now: int
    absent: tuple[str, ...]
    left: tuple[str, ...]
    failed_before: int = 0

    @property
    def results(self) -> list[Result]:
        return [result for one in self.standings for result in one.record.results]

    @property
    def exit_code(self) -> Exit:
        well = all(result.status == "judged" for result in self.results)
        return Exit.DONE if well else Exit.SOME_FAILED


OnProgress = Callable[[Progress], None]


def run_batch(
    job: BatchJob,
    on_progress: OnProgress = lambda progress: None,
    judge: Judge = judge_set,
    ready: Callable[[Path], bool] | None = None,
) -> BatchOutcome:
    """Judge what is missing or changed, and write the summary of everything.

    ``ready`` says of each file whether it may be looked at, where clips are still coming in.
    Raises FormcheckError when nothing can be done at all; what is wrong with single clips is in
    their results.
    """
    _check(job)
    if job.each.xlsx:
        check_xlsx()
    job = replace(job, folder=job.folder.absolute(), out=job.out.absolute())
    count = fitting_workers(job.count)
    with only_run(job.out), workers(count, job.scheduler, job.out / STATE) as executor:
        clips = find_clips(job, executor, ready or (lambda path: True))
        # While clips come in, a row of the roster may be about one that is still to come.
        roster = Roster()
        if job.roster is not None:
            roster = read_roster(job.roster, clips if ready is None else None)
        plans = _plans(job, clips, roster)
        records = Records(job.out)
        standing = {} if job.each.fresh else _current(plans, records, job)
        failed_before = sum(
            standing[plan.name].failed
            for plan in plans
            if plan.name in standing and plan.refused is None
        )
        missing = [plan for plan in plans if plan.name not in standing]
        standing |= _judge(missing, len(plans), job, records, executor, on_progress, judge)
        standings = [Standing(plan, standing[plan.name]) for plan in plans]
        left = _supersede(records, standings)
        absent = _absent(roster, clips, job)
        write_summary(standings, absent, records, job.out, xlsx=job.each.xlsx)
        return BatchOutcome(tuple(standings), len(missing), absent, left, failed_before)


def _current(plans: Sequence[SetPlan], records: Records, job: BatchJob) -> dict[str, Record]:
    found = {plan.name: records.current(plan, job.patience, job.again_failed) for plan in plans}
    return {name: record for name, record in found.items() if record is not None}


def find_clips(job: BatchJob, executor: Executor, ready: Callable[[Path], bool]) -> list[ClipFile]:
    """Every clip of the folder; a file that ends the process that looks at it is a broken one."""
    known = Known(job.folder)
    asked: list[tuple[Path, str, list[int], Future[ClipFile | None] | None]] = []
    for path in files_in(job.folder, job.out):
        if not ready(path):
            continue
        # A name from outside becomes the name of a report's folder, and stands in every list.
        place, state = plain(path.relative_to(job.folder).as_posix()), state_of(path)
        future = None if known.has(place, state) else executor.submit(look_at, path, place)
        asked.append((path, place, state, future))
    clips = []
    for path, place, state, future in asked:
        if future is None:
            clip = known.clip(path, place)
        else:
            clip = _seen(path, place, future)
            known.keep(place, state, clip)
        if clip is not None:
            clips.append(clip)
    known.write([place for _, place, _, _ in asked])
    return clips


def _seen(path: Path, place: str, future: Future[ClipFile | None]) -> ClipFile | None:
    try:
        return future.result()
    except Exception as error:
        if not worker_died(error):
            raise
        why = f"{path} makes the video library crash; export the clip again as H.264 mp4."
        return ClipFile(path, place, "", 0.0, unreadable=why)


def _check(job: BatchJob) -> None:
    if not job.folder.is_dir():
        raise BatchError(f"{job.folder} is no folder; give the folder that holds the clips.")
    if job.out.exists() and not job.out.is_dir():
        raise OutputError(f"{job.out} is a file; choose a folder with --out.")
    if job.folder.resolve() == job.out.resolve():
        raise BatchError(f"{job.out} holds the clips; choose another folder with --out.")


def _plans(job: BatchJob, clips: Sequence[ClipFile], roster: Roster) -> list[SetPlan]:
    codes = None if job.codes_key is None else Codes(job.codes_key, job.out)
    plans = plan_sets(clips, roster, job.each, job.out, codes, 60 * job.longest_min)
    if codes is not None:
        codes.write()
    return plans


def _absent(roster: Roster, clips: Sequence[ClipFile], job: BatchJob) -> tuple[str, ...]:
    there = {roster.told(clip, job.each.prescription).name for clip in clips}
    return tuple(name for name in roster.people if name not in there)


def _judge(
    missing: Sequence[SetPlan],
    of: int,
    job: BatchJob,
    records: Records,
    executor: Executor,
    on_progress: OnProgress,
    judge: Judge,
) -> dict[str, Record]:
    """Judge each set and remember it at once, in whatever order they come in."""
    of_s = sum(plan.length_s for plan in missing)
    before = of - len(missing)
    on_progress(Progress(before, of, 0.0, of_s))
    done: dict[str, Record] = {}
    done_s = 0.0

    def keep(plan: SetPlan, came: Done) -> None:
        nonlocal done_s
        done[plan.name] = records.keep(plan, came.results, came.note, job.patience)
        done_s += plan.length_s
        on_progress(Progress(before + len(done), of, done_s, of_s, came.results))

    futures: dict[Future[Done], tuple[SetPlan, float]] = {}
    for plan in missing:
        records.forget(plan.name)
        records.trace(plan.name).unlink(missing_ok=True)
        if plan.refused is not None:
            keep(plan, Done((Result(plan.name, plan.shown, "failed", plan.refused),)))
            continue
        limit_s = job.patience * (_LIMIT_S + _LIMIT_PER_S * plan.length_s)
        futures[executor.submit(judge_plan, plan, limit_s, judge)] = (plan, limit_s)
    for future in as_completed(futures):
        plan, limit_s = futures[future]
        keep(plan, _came(plan, limit_s, future))
    return done


def _came(plan: SetPlan, limit_s: float, future: Future[Done]) -> Done:
    try:
        return future.result()
    except Exception as error:
        if not (worker_died(error) or isinstance(error, EndedBeforeError)):
            raise
        why = f"{' and '.join(plan.shown)}: {why_ended(plan, limit_s)}"
        return Done((Result(plan.name, plan.shown, "failed", why),))


def _supersede(records: Records, standings: Sequence[Standing]) -> tuple[str, ...]:
    """Remove reports whose clips are now judged otherwise; name those whose clips have gone."""
    now = {clip.sha256 for one in standings for clip in one.plan.clips}
    keep = {result.name for one in standings for result in one.record.results}
    left = []
    for name, record in records.others([one.plan for one in standings]):
        if all(digest in now for digest in record.digests):
            records.remove(name, record, keep)
        else:
            left += [result.name for result in record.results if result.status != "failed"]
    whole = {r.name for one in standings for r in one.record.results if r.status != "failed"}
    for plan in (one.plan for one in standings):
        for name in {plan.name, *plan.alone} - whole:
            records.clear(name)
    return tuple(left)


def roster_to_fill_in(job: BatchJob, path: Path) -> int:
    """Write a roster of the clips that are there; how many. Raises FormcheckError."""
    _check(job)
    job = replace(job, folder=job.folder.absolute(), out=job.out.absolute())
    with workers(fitting_workers(job.count), None, job.out) as executor:
        clips = find_clips(job, executor, lambda path: True)
    roster = Roster() if job.roster is None else read_roster(job.roster, clips)
    plans = plan_sets(clips, roster, job.each, job.out)
    found = [
        (clip, plan.person or None, plan.name.rpartition("/")[2] if plan.by else None)
        for plan in plans
        for clip in plan.clips
    ]
    write_roster(path, found)
    return len(found)


def default_out(folder: Path) -> Path:
    """Here, named after the folder of the clips."""
    return Path(f"{folder.resolve().name}_reports")
