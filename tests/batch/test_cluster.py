"""The same work on a Dask cluster: a scheduler and two worker processes, as a user starts them."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from distributed import Client

from formcheck.batch.processes import ClusterError, workers
from formcheck.batch.run import BatchJob, BatchOutcome, run_batch
from tests.batch.folders import batch, fill, summary_of, troubled
from tests.solved import judge

ROOT = Path(__file__).parents[2]
Judged = tuple[Path, Path, BatchOutcome]


def start(*arguments: str, folder: Path, stderr: int = subprocess.DEVNULL) -> subprocess.Popen[str]:
    command = "from distributed.cli import dask_{0}; dask_{0}.main()".format(arguments[0])
    return subprocess.Popen(
        [sys.executable, "-c", command, *arguments[1:]],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        cwd=folder, stdout=subprocess.DEVNULL, stderr=stderr, text=True,
    )  # fmt: skip


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("cluster")
    running = [start("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
                     folder=folder, stderr=subprocess.PIPE)]  # fmt: skip
    try:
        address = None
        assert running[0].stderr is not None
        for line in running[0].stderr:
            if found := re.search(r"Scheduler at:\s+(tcp://\S+)", line):
                address = found[1]
                break
        assert address is not None
        running.append(
            start("worker", address, "--nthreads", "1", "--nworkers", "2", "--no-dashboard",
                  "--local-directory", str(folder / "workers"), folder=folder)
        )  # fmt: skip
        connect: Any = Client
        with connect(address, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=120)
        yield address
    finally:
        for process in reversed(running):
            process.terminate()
        for process in running:
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()


def test_a_cluster_gives_the_same_summary(scheduler: str, judged: Judged, tmp_path: Path) -> None:
    clips, whole, _ = judged
    address = scheduler.removeprefix("tcp://")  # as a user types it
    outcome = run_batch(BatchJob(clips, tmp_path / "out", scheduler=address), judge=judge)
    assert outcome.judged_now == 4
    assert summary_of(tmp_path / "out") == summary_of(whole)
    assert batch(clips, tmp_path / "out").judged_now == 0


def test_a_worker_that_dies_is_told_and_the_others_go_on(scheduler: str, tmp_path: Path) -> None:
    names = {
        "x/crash.parquet": "pike_side",
        "x/hang.parquet": "pike_side",
        "a.parquet": "pike_side",
    }
    clips = fill(tmp_path / "clips", names)
    job = BatchJob(clips, tmp_path / "out", scheduler=scheduler, patience=0.04)
    said = {r.name: (r.status, r.reason) for r in run_batch(job, judge=troubled).results}
    assert said["a"][0] == "judged"
    assert "crashed (Segmentation fault)" in said["x/crash"][1]
    assert "took longer" in said["x/hang"][1]


def test_workers_that_cannot_do_the_work_are_refused(tmp_path: Path) -> None:
    (tmp_path / "clips").mkdir()
    job = BatchJob(tmp_path / "clips", tmp_path / "out", scheduler="127.0.0.1:1")
    with pytest.raises(ClusterError, match="No Dask scheduler answers"):
        run_batch(job)


def test_a_worker_that_does_not_see_the_folder_is_refused(scheduler: str, tmp_path: Path) -> None:
    with (
        pytest.raises(ClusterError, match="does not see"),
        workers(1, scheduler, tmp_path / "elsewhere"),
    ):
        pass
