"""The one queue: sets are judged one after another, the first to be whole first."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from formcheck.apart.process import WorkLostError, told_apart
from formcheck.desk.folder import DeskFolder, DeskSet, Ended
from formcheck.desk.groups import pair_by_time
from formcheck.desk.remarks import print_remarks
from formcheck.desk.work import DeskJob, Result, Seen, Step, desk_job, judge_told
from formcheck.errors import FormcheckError
from formcheck.reps.early import EarlySet
from formcheck.reps.pairing import NotOneSetError

LIMIT_S = 3600.0  # of one set: a clip of twenty minutes on a slow machine
STALL_S = 180.0
STILL_COMING_S = 60.0  # of a folder, after its last byte; clips on their own wait so long
_DRAWING = 0.4  # of the time that looking for the pose in one clip takes
_SETTLE_S = 0.5
_LOST = {
    "died": "judging it broke down; close other programs if memory is short, and judge it again.",
    "memory": "judging it takes more memory than it may; export it at 1080 lines.",
    "stalled": "judging it stood still and was ended; judge it again.",
}

# Of data a process that judges may hold: the libraries of measuring, drawing and tables together
# set aside more than those of the pose alone.
MEMORY_BYTES = 3 << 30

Judge = Callable[[DeskJob], Generator[Step | Seen | None, None, Result]]


@dataclass(frozen=True)
class Progress:
    """``share`` 0 to 1 of the work, ``left_s`` seconds left, None where that cannot be said.
    ``early`` what each clip shows so far, by its place."""

    what: str = "Starting"
    share: float = 0.0
    left_s: float | None = None
    early: Mapping[int, EarlySet] = field(default_factory=dict)


def judge_apart(job: DeskJob) -> Generator[Step | Seen | None, None, Result]:
    return told_apart(judge_told, job, MEMORY_BYTES, STALL_S)


class Queue:
    """Judges what waits in a folder, in a thread that starts a process a set.

    ``log`` the training log, None for the usual one.
    """

    def __init__(
        self, folder: DeskFolder, log: Path | None = None, judge: Judge = judge_apart
    ) -> None:
        self._folder, self._log, self._judge = folder, log, judge
        self._wake, self._closing = threading.Event(), threading.Event()
        self._cancelled: set[str] = set()
        self._looked_at: dict[str, frozenset[DeskSet]] = {}  # sets on their own, by their group
        self._now: tuple[str, Progress] | None = None
        self._thread = threading.Thread(target=self._run, name="queue", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wake(self) -> None:
        """There may be something new to judge."""
        self._wake.set()

    def close(self) -> None:
        """Stop; what is being judged will be judged by the next desk."""
        self._closing.set()
        self._wake.set()

    def join(self) -> None:
        self._thread.join(timeout=10.0)

    def progress(self, set_id: str) -> Progress | None:
        """Of the set that is being judged now; None for any other."""
        now = self._now
        return now[1] if now is not None and now[0] == set_id else None

    def cancel(self, one: DeskSet) -> None:
        """End the judging of a set that waits or is being judged."""
        self._cancelled.add(one.id)
        if self.progress(one.id) is None:
            self._folder.end(one, Ended("cancelled"))

    def _run(self) -> None:
        while not self._closing.is_set():
            self._wake.clear()
            one = self._next()
            if one is None:
                self._wake.wait(timeout=5.0)
                continue
            self._now = (one.id, Progress())
            try:
                self._judge_one(one)
            except Exception as error:  # one set must not stop the others
                with contextlib.suppress(FormcheckError):
                    why = f"formcheck went wrong ({type(error).__name__}: {error})."
                    self._folder.end(one, Ended("failed", why))
                self._wake.wait(timeout=1.0)
            finally:
                self._now = None

    def _next(self) -> DeskSet | None:
        states = {one: self._folder.standing(one).state for one in self._folder.all()}
        waiting = [one for one, state in states.items() if state == "waiting"]
        for group, alone in _on_their_own(waiting).items():
            whole = [one for one in states if one.group == group]
            latest_s = max(self._folder.touched_s(one) for one in whole)
            if any(states[one] == "arriving" for one in whole) and (
                time.time() - latest_s < STILL_COMING_S
            ):
                waiting = [one for one in waiting if one not in alone]
            elif self._looked_at.get(group) != alone:
                pair_by_time(self._folder, group)
                self._looked_at[group] = alone
                return self._next()
        return min(waiting, key=lambda one: one.id, default=None)

    def _judge_one(self, one: DeskSet) -> None:
        self._cancelled.discard(one.id)
        apart = False
        try:
            found = self._judged(one)
        except FormcheckError as error:
            why, apart = self._told(one, str(error)), isinstance(error, NotOneSetError)
        except WorkLostError as error:
            why = _LOST[error.how]
        else:
            if found is None:
                return
            # A report is shown once its set has ended: with its remarks, or not yet.
            print_remarks(self._folder, one)
            how: Literal["judged", "empty"] = "judged" if found.found else "empty"
            ended = Ended(how, found.answer, False, found.fix_first, found.variation)
            self._folder.end(one, ended)
            return
        # Ctrl-C reaches the processes too: then nothing failed, and the next desk goes on.
        if self._closing.wait(_SETTLE_S):
            return
        if apart and one.by:  # nobody but the desk took them for one set
            self._folder.part(one, why)
        else:
            self._folder.end(one, Ended("failed", why, apart))

    def _told(self, one: DeskSet, text: str) -> str:
        """A message about the clips, which calls them as they were called where they come from."""
        for path, clip in zip(self._folder.clips(one), one.clips, strict=False):
            text = text.replace(str(path), clip.name)
        for path, clip in zip(self._folder.clips(one), one.clips, strict=False):
            text = text.replace(f"pose in {path.name}", f"pose in {clip.name}")
        return text

    def _judged(self, one: DeskSet) -> Result | None:
        """What came of it; None where judging was cancelled or is left to the next desk."""
        began = time.monotonic()
        clips = len(one.clips)
        with contextlib.closing(self._judge(desk_job(self._folder, one, self._log))) as steps:
            seen: list[str] = []
            now = Progress()
            while True:
                try:
                    step = next(steps)
                except StopIteration as done:
                    result: Result = done.value
                    return result
                if self._closing.is_set():
                    return None
                if one.id in self._cancelled:
                    self._folder.end(one, Ended("cancelled"))
                    return None
                took_s = time.monotonic() - began
                if took_s > LIMIT_S:
                    raise WorkLostError("stalled")
                if isinstance(step, Seen):
                    early = {**now.early, step.place: step.early}
                    now = replace(now, early=early)
                elif step is not None:
                    step = replace(step, what=self._told(one, step.what))
                    now = replace(_progress(step, seen, clips, took_s), early=now.early)
                self._now = (one.id, now)


def _on_their_own(waiting: Sequence[DeskSet]) -> dict[str, frozenset[DeskSet]]:
    """Sets of one clip that may turn out to be half of one, by the group that they came in."""
    alone = [one for one in waiting if one.group and len(one.clips) == 1 and not one.note]
    return {
        group: frozenset(one for one in alone if one.group == group)
        for group in dict.fromkeys(one.group for one in alone)
    }


def _progress(step: Step, seen: list[str], clips: int, took_s: float) -> Progress:
    """How far the whole is: the pose in each clip, then the drawing."""
    if step.what not in seen:
        seen.append(step.what)
    part = min(1.0, step.done / step.of) if step.of > 0 else 0.0
    if step.what.startswith("Drawing"):
        share = (clips + _DRAWING * part) / (clips + _DRAWING)
    else:
        share = (min(len(seen), clips) - 1 + part) / (clips + _DRAWING)
    left_s = took_s * (1 - share) / share if share > 0.03 and took_s > 1.0 else None
    return Progress(step.what, share, left_s)
