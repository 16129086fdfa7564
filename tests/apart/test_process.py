from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import psutil
import pytest

from formcheck.apart.process import WorkLostError, started_ahead, stream_apart, work_apart
from formcheck.errors import ClipError


def doubled(number: int, tell: Callable[[Any], None]) -> tuple[int, int]:
    for step in range(number):
        tell(step)
    return 2 * number, os.getpid()


def test_each_task_is_done_in_a_process_of_its_own_and_tells_its_steps() -> None:
    heard: list[tuple[int, Any]] = []
    answers = work_apart(doubled, [3, 1, 2], lambda *told: heard.append(told))
    assert [answer for answer, _ in answers] == [6, 2, 4]
    assert len({os.getpid(), *(pid for _, pid in answers)}) == 4
    for n, steps in enumerate([3, 1, 2]):
        assert [value for task, value in heard if task == n] == list(range(steps))


@pytest.mark.parametrize("processes", [1, 2])
def test_tasks_are_taken_by_as_many_processes_as_may_be(processes: int) -> None:
    heard: list[int] = []
    answers = work_apart(doubled, [1, 2, 3], lambda n, _: heard.append(n), processes=processes)
    assert [answer for answer, _ in answers] == [2, 4, 6]
    assert len({pid for _, pid in answers}) <= processes
    told = [n for n in heard if n >= 0]
    assert processes > 1 or told == [0, 1, 1, 2, 2, 2]


PREPARED: list[int] = []


def prepare() -> None:
    PREPARED.append(os.getpid())


def prepared_in(task: None, tell: Callable[[Any], None]) -> tuple[list[int], int]:
    return PREPARED, os.getpid()


def test_processes_started_ahead_are_taken_first_and_only_by_whom_they_are_prepared_for() -> None:
    name = f"{__name__}:prepare"
    with started_ahead(name, 1):
        assert work_apart(prepared_in, [None])[0][0] == []
        (first, own), (second, _) = work_apart(prepared_in, [None, None], prepared=name)
        assert (first, second) == ([own], [])
    assert work_apart(prepared_in, [None], prepared=name)[0][0] == []


def test_processes_that_nobody_asked_for_end_with_the_block() -> None:
    before = set(psutil.Process().children())
    with started_ahead(f"{__name__}:prepare", 2):
        assert len(set(psutil.Process().children()) - before) == 2
    assert set(psutil.Process().children()) <= before


def refuse(path: str, tell: Callable[[Any], None]) -> None:
    raise ClipError(f"{path} is empty.")


def test_a_problem_told_there_is_told_here() -> None:
    with pytest.raises(ClipError, match=r"a\.mp4 is empty"):
        work_apart(refuse, ["a.mp4"])


def end_badly(how: str, tell: Callable[[Any], None]) -> int:
    if how == "died":
        os.abort()
    if how == "memory":
        return int(np.ones(1 << 30).sum())
    if how == "stalled":
        os.kill(os.getpid(), signal.SIGSTOP)
    return 1


@pytest.mark.parametrize("how", ["died", "memory", "stalled"])
def test_an_abort_a_runaway_or_a_stopped_process_becomes_an_error(how: str) -> None:
    began = time.monotonic()
    with pytest.raises(WorkLostError, match=how):
        work_apart(end_badly, [how, "well"], memory_bytes=1 << 30, stall_s=6.0)
    assert time.monotonic() - began < 25


def slow_but_alive(_: None, tell: Callable[[Any], None]) -> int:
    for _step in range(11):
        time.sleep(0.5)
        tell(None)
    return 1


def test_slow_work_that_shows_progress_is_not_ended() -> None:
    assert work_apart(slow_but_alive, [None], stall_s=5.0) == [1]


def test_a_script_without_a_main_guard_may_ask_for_it() -> None:
    code = (
        "from formcheck.apart.process import work_apart\n"
        "from tests.apart.test_process import doubled\n"
        "print(work_apart(doubled, [4])[0][0])"
    )
    told = subprocess.run(
        [sys.executable, "-"], input=code, capture_output=True, text=True, check=True
    )
    assert told.stdout == "8\n" and told.stderr == ""


def counted(until: int) -> Iterator[tuple[int, int]]:
    for n in range(abs(until)):
        yield n, os.getpid()
    if until < 0:
        os.abort()


def test_items_are_made_apart_and_come_in_order() -> None:
    items = list(stream_apart(counted, 50))
    assert [n for n, _ in items] == list(range(50))
    assert {pid for _, pid in items} != {os.getpid()}


def test_a_stream_that_breaks_off_is_an_error_after_its_last_item() -> None:
    stream = stream_apart(counted, -3)
    assert [n for n, _ in (next(stream), next(stream), next(stream))] == [0, 1, 2]
    with pytest.raises(WorkLostError, match="died"):
        next(stream)


def test_a_stream_that_is_not_wanted_any_more_ends_its_process() -> None:
    stream = stream_apart(counted, 1_000_000)
    pid = next(stream)[1]
    assert is_running(pid)
    stream.close()
    assert not is_running(pid)


def sleep(_: None, tell: Callable[[Any], None]) -> None:
    time.sleep(60)


def test_no_process_outlives_a_caller_that_was_killed() -> None:
    code = (
        "from formcheck.apart.process import work_apart\n"
        "from tests.apart.test_process import sleep\n"
        "work_apart(sleep, [None, None])"
    )
    caller = subprocess.Popen([sys.executable, "-c", code])
    children = children_of(caller.pid, 2)
    caller.kill()
    caller.wait()
    until = time.monotonic() + 10
    while any(is_running(pid) for pid in children) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(is_running(pid) for pid in children)


def children_of(pid: int, count: int) -> list[int]:
    psutil = pytest.importorskip("psutil")
    until = time.monotonic() + 15
    while time.monotonic() < until:
        children = [child.pid for child in psutil.Process(pid).children()]
        if len(children) == count:
            time.sleep(0.5)  # until they have begun
            return children
        time.sleep(0.05)
    raise AssertionError("it started no processes")


def is_running(pid: int) -> bool:
    psutil = pytest.importorskip("psutil")
    return bool(psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE)
