"""Where the work is done: processes of this machine, or the workers of a Dask cluster.

Both are executors of the standard library's kind, so nothing else knows which it is.
"""

from __future__ import annotations

import contextlib
import faulthandler
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psutil

from formcheck.apart.network import close_network
from formcheck.errors import FormcheckError

# A worker with the larger model at 1080p (tests/truth/batch_bench.py), and room for the rest.
WORKER_BYTES = 700_000_000
_SETS_A_PROCESS = 40  # then a new one takes its place, so that nothing can pile up


class WorkersError(FormcheckError):
    """No worker can be started."""


class ClusterError(FormcheckError):
    """The cluster cannot be used."""


class Processes(ThreadPoolExecutor):
    """Several processes, each with its own queue of one: one that dies takes only its own task
    with it, which then raises BrokenProcessPool, and another one takes its place."""

    def __init__(self, count: int) -> None:
        super().__init__(count, thread_name_prefix="set")
        self._own = threading.local()
        self._pools: set[ProcessPoolExecutor] = set()

    def submit(self, work: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return super().submit(self._apart, work, *args, **kwargs)

    def _apart(self, work: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        pool = getattr(self._own, "pool", None) or self._start()
        try:
            return pool.submit(work, *args, **kwargs).result()
        except BrokenProcessPool:
            self._own.left = 0
            raise
        finally:
            self._own.left -= 1
            if self._own.left <= 0:
                self._own.pool = None
                self._pools.discard(pool)
                pool.shutdown()

    def _start(self) -> ProcessPoolExecutor:
        try:
            pool = ProcessPoolExecutor(
                1, mp_context=multiprocessing.get_context("spawn"), initializer=_start_worker
            )
        except OSError as error:
            raise WorkersError(
                f"no worker can be started ({error.strerror}): what processes share memory in, on "
                "Linux /dev/shm, is full or may not be written; free some space there."
            ) from error
        self._own.pool, self._own.left = pool, _SETS_A_PROCESS
        self._pools.add(pool)
        return pool

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes too; with ``cancel_futures`` in the midst of their work."""
        if cancel_futures:
            super().shutdown(wait=False, cancel_futures=True)
            for pool in list(self._pools):
                for process in list((pool._processes or {}).values()):
                    process.terminate()
        super().shutdown(wait=wait, cancel_futures=cancel_futures)
        for pool in list(self._pools):
            pool.shutdown(wait=wait, cancel_futures=cancel_futures)


def fitting_workers(asked: int = 0) -> int:
    """As many as asked; else one a core, fewer where memory is short, one at least."""
    mine = getattr(os, "sched_getaffinity", None)  # the cores this process may use; on Linux
    cores = len(mine(0)) if mine else os.cpu_count() or 1
    room = psutil.virtual_memory().available // WORKER_BYTES
    return asked or max(1, min(cores, int(room)))


@contextmanager
def workers(count: int, scheduler: str | None, shared: Path) -> Iterator[Executor]:
    """An executor for the block; whatever still runs when it ends badly is ended.

    Raises ClusterError when ``scheduler`` (``HOST:PORT``) is not there, or its workers do not
    fit or do not see the ``shared`` folder.
    """
    if scheduler is not None:
        with _cluster(scheduler, shared) as executor:
            yield executor
        return
    executor = Processes(count)
    try:
        yield executor
    except BaseException:
        executor.shutdown(wait=True, cancel_futures=True)
        raise
    executor.shutdown()


@contextmanager
def _cluster(scheduler: str, shared: Path) -> Iterator[Executor]:
    try:
        from distributed import Client
    except ImportError as error:
        raise ClusterError(
            "--scheduler needs the package distributed; install formcheck[cluster]."
        ) from error
    address = scheduler if "://" in scheduler else f"tcp://{scheduler}"
    try:
        client: Any = Client(  # type: ignore[no-untyped-call]
            address, timeout="10s", set_as_default=False
        )
    except (OSError, TimeoutError, ValueError) as error:
        raise ClusterError(
            f"No Dask scheduler answers at {scheduler}; start one with “dask scheduler”."
        ) from error
    with client:
        threads = client.nthreads()
        if not threads:
            raise ClusterError(
                f"The scheduler at {scheduler} has no workers; start some with "
                f"“dask worker {scheduler} --nthreads 1”."
            )
        if set(threads.values()) != {1}:
            raise ClusterError(
                "A worker judges one set at a time; start the workers with --nthreads 1 (and as "
                "many with --nworkers as the machine has cores)."
            )
        blind = [name for name, sees in client.run(os.path.isdir, str(shared)).items() if not sees]
        if blind:
            raise ClusterError(
                f"The worker at {blind[0]} does not see {shared.parent}; clips and reports must "
                "lie in a folder that every worker has at the same path."
            )
        executor: Executor = client.get_executor(pure=False, retries=0)
        try:
            yield executor
        except BaseException:
            executor.shutdown(wait=False, cancel_futures=True)
            raise
        executor.shutdown()


def worker_died(error: BaseException) -> bool:
    """Whether a task failed because its process did."""
    return isinstance(error, BrokenProcessPool) or type(error).__name__ == "KilledWorker"


def _start_worker() -> None:
    close_network()  # clips are looked at here
    # Ctrl-C is for the process that started this one, which then ends it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    faulthandler.disable()
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # libraries' log lines stay off the terminal
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """A formcheck that was killed leaves no process behind that works on or waits for it."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        with contextlib.suppress(OSError):
            parent.join()
        os._exit(1)
