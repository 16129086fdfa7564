"""Folders of clips to judge, and judges that go wrong: saved tracks, so that no model runs."""

from __future__ import annotations

import ctypes
import os
import shutil
import signal
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

from formcheck.batch import run
from formcheck.batch.find import ClipFile
from formcheck.batch.run import BatchJob, BatchOutcome, run_batch
from formcheck.job import Outcome, SetJob
from tests.solved import judge

TRACKS = Path(__file__).parents[1] / "data"
GROUP = {
    "anna/flared_side.parquet": "flared_pair_side",
    "anna/flared_front.parquet": "flared_pair_front",
    "anna/sag.parquet": "hip_sag_side",
    "bo/short.parquet": "partial_side",
    "cy/pike.parquet": "pike_side",
}


def clip_file(place: str, seconds: float = 30.0, **told: float | None) -> ClipFile:
    return ClipFile(Path("/clips") / place, place, f"sha of {place}", seconds, **told)  # type: ignore[arg-type]


def fill(folder: Path, clips: Mapping[str, str]) -> Path:
    """Copy saved tracks of ``tests/data`` to places in a folder."""
    for place, name in clips.items():
        target = folder / place
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(TRACKS / f"{name}.parquet", target)
    return folder


class Here(Executor):
    """Does the work at once, in this process."""

    def submit(self, work: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(work(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@contextmanager
def working_here(*_: object) -> Iterator[Here]:
    yield Here()


def batch(folder: Path, out: Path, **asked: Any) -> BatchOutcome:
    """A batch whose sets this process judges, where processes are not what is tested."""
    with mock.patch.object(run, "workers", working_here):
        return run_batch(BatchJob(folder, out, **asked))


def summary_of(out: Path) -> dict[str, bytes]:
    """The content of everything that tells of all sets."""
    return {
        name: (out / name).read_bytes() for name in ("summary.html", "summary.csv", "reps.parquet")
    }


def troubled(job: SetJob) -> Outcome:
    """Judge a set; but one called crash ends the process, and one called hang never ends."""
    name = str(job.out)
    if "crash" in name:
        os.kill(os.getpid(), signal.SIGSEGV)
    if "gone" in name:
        os.kill(os.getpid(), signal.SIGKILL)
    if "hang" in name:
        ctypes.PyDLL(None).pause()  # in native code, and nothing else in the process goes on
    if "mistake" in name:
        raise KeyError("no such thing")
    return judge(job)
