"""Work in processes of their own: no network, bounded memory, and an end when nothing moves.

Clips come from anywhere, and what decodes them and what finds the pose is native code. In a
process of its own an abort, a runaway or a hang there becomes an error here, and nothing the
libraries do reaches the network.

A process is a fresh Python that is handed a function and a task, then another task, and needs
nothing of the caller's main module: scripts and notebooks may ask for it from anywhere.
"""

from __future__ import annotations

import collections
import contextlib
import multiprocessing
import os
import queue
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from importlib import import_module
from multiprocessing.connection import Connection, wait
from pkgutil import resolve_name
from typing import Any, Literal, TypeVar

from formcheck.apart.network import close_network

_Item = TypeVar("_Item")
_Task = TypeVar("_Task")
_Result = TypeVar("_Result")

MEMORY_BYTES = 3 << 29  # of data a process may hold: enough to decode 8K, and for the models
STALL_S = 60.0  # without a sign of life for so long, a process is ended
_LOOK_EVERY_S = 0.2
_AHEAD = 3  # items that wait to be used
_START = (
    "import sys; from multiprocessing.connection import {kind} as C; c = C({fd}); "
    "sys.path[:] = c.recv(); from formcheck.apart.process import _serve; _serve(c)"
)
_Process = tuple[Connection, "subprocess.Popen[bytes]"]
_ahead: dict[str, list[_Process]] = {}  # started ahead and not asked yet, by how prepared


class WorkLostError(Exception):
    """A process ended without a result: it ``died``, ``stalled``, or wanted too much ``memory``."""

    def __init__(self, how: Literal["died", "stalled", "memory"]) -> None:
        super().__init__(how)
        self.how = how


def work_apart(
    work: Callable[[_Task, Callable[[Any], None]], _Result],
    tasks: Sequence[_Task],
    on_step: Callable[[int, Any], None] | None = None,
    memory_bytes: int = MEMORY_BYTES,
    stall_s: float = STALL_S,
    processes: int | None = None,
    prepared: str = "",
) -> list[_Result]:
    """``work(task, tell)`` of every task, each in a process of its own, all at once; or, by no
    more than so many ``processes``, in the order given, each taking the next when it is free.
    Those that were ``started_ahead``, ``prepared`` so, are taken first.

    ``work`` is a function of a module; it calls ``tell(value)`` at every step, which is the sign
    that it is alive. ``on_step`` hears here which task took a step and what it told; and −1 and
    None when nothing was told, now and then and whenever a task is done.

    Raises what ``work`` raises, or WorkLostError.
    """
    results: dict[int, _Result] = {}
    for n, kind, value in _told(work, tasks, memory_bytes, stall_s, processes, prepared):
        if kind == "done":
            results[n] = value
        if on_step is not None:
            on_step(*((n, value) if kind == "step" else (-1, None)))
    return [results[n] for n in range(len(tasks))]


@contextlib.contextmanager
def started_ahead(prepare: str, count: int) -> Iterator[None]:
    """Within this, so many processes get ready for ``work_apart`` while the caller is at something
    else: each calls the function named ``prepare``, as ``package.module:function``, and waits.

    Those that nobody asked for end with the block.
    """
    mine = [_started(MEMORY_BYTES, prepare) for _ in range(count)]
    ready = _ahead.setdefault(prepare, [])
    ready += mine
    try:
        yield
    finally:
        for one in mine:
            with contextlib.suppress(ValueError):  # it was asked for
                ready.remove(one)
                _end(*one)


def stream_apart(
    work: Callable[[_Task], Iterable[_Item]],
    task: _Task,
    memory_bytes: int = MEMORY_BYTES,
    stall_s: float = STALL_S,
) -> Generator[_Item]:
    """The items of ``work(task)``, made in a process of its own, a few ahead of their use.

    A thread takes them over meanwhile: a picture is more than a pipe holds, and whoever makes the
    next one would wait until the last was asked for.

    Raises like ``work_apart``; the process ends with the generator.
    """
    made: queue.Queue[tuple[str, Any]] = queue.Queue(_AHEAD)
    over = threading.Event()

    def hand_on(what: str, value: Any) -> None:
        while not over.is_set():
            with contextlib.suppress(queue.Full):
                made.put((what, value), timeout=_LOOK_EVERY_S)
                break

    def take_over() -> None:
        try:
            with contextlib.closing(
                _told(_tell_items, [(work, task)], memory_bytes, stall_s)
            ) as told:
                for _, kind, value in told:
                    if over.is_set():
                        return
                    if kind == "step":
                        hand_on("item", value)
            hand_on("end", None)
        except BaseException as error:
            hand_on("failed", error)

    taker = threading.Thread(target=take_over, daemon=True)
    taker.start()
    try:
        while (one := made.get())[0] == "item":
            yield one[1]
        if one[0] == "failed":
            raise one[1]
    finally:
        over.set()
        taker.join()


def told_apart(
    work: Callable[[_Task, Callable[[_Item], None]], _Result],
    task: _Task,
    memory_bytes: int = MEMORY_BYTES,
    stall_s: float = STALL_S,
) -> Generator[_Item | None, None, _Result]:
    """What ``work(task, tell)`` tells from a process of its own as soon as it is told, and None
    now and then while it tells nothing; returns the work's result.

    Raises like ``work_apart``; the process ends with the generator.
    """
    result: Any = None
    with contextlib.closing(_told(work, [task], memory_bytes, stall_s)) as told:
        for _, kind, value in told:
            if kind == "done":
                result = value
            else:
                yield value if kind == "step" else None
    done: _Result = result
    return done


def _tell_items(
    asked: tuple[Callable[[_Task], Iterable[_Item]], _Task], tell: Callable[[_Item], None]
) -> None:
    work, task = asked
    for item in work(task):
        tell(item)


def _told(
    work: Callable[..., Any],
    tasks: Sequence[Any],
    memory_bytes: int,
    stall_s: float,
    processes: int | None = None,
    prepared: str = "",
) -> Generator[tuple[int, str, Any]]:
    """What the processes tell: (task, "step" or "done", value); nothing, now and then."""
    waiting = collections.deque(enumerate(tasks))
    running: dict[Connection, tuple[int, subprocess.Popen[bytes]]] = {}
    try:
        while waiting and len(running) < (processes or len(tasks)):
            connection, process = _taken(prepared) or _started(memory_bytes)
            n, task = waiting.popleft()
            running[connection] = (n, process)
            connection.send((work, task))
        still_s = dict.fromkeys(running, 0.0)
        while running:
            began = time.monotonic()
            ready = wait(list(running), timeout=_LOOK_EVERY_S)
            # A pause of this process itself (Ctrl-Z, a machine asleep) is no stall of another.
            waited_s = min(time.monotonic() - began, 2 * _LOOK_EVERY_S)
            for connection, (n, process) in list(running.items()):
                if connection not in ready:
                    still_s[connection] += waited_s
                    if still_s[connection] > stall_s:
                        raise WorkLostError("stalled")
                    continue
                still_s[connection] = 0.0
                try:
                    kind, value = connection.recv()
                    if kind == "done" and waiting:
                        running[connection] = (waiting[0][0], process)
                        connection.send((work, waiting.popleft()[1]))
                    elif kind == "done":
                        del running[connection]
                        connection.close()
                        process.wait()
                except (EOFError, OSError):
                    raise WorkLostError("died") from None
                if kind == "failed":
                    raise WorkLostError("memory") if isinstance(value, MemoryError) else value
                yield n, kind, value
            if not ready:
                yield -1, "", None
    finally:
        for connection, (_, process) in running.items():
            _end(connection, process)


def _end(connection: Connection, process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()
    connection.close()


def _taken(prepared: str) -> _Process | None:
    """A process that was started ahead, if one waits and lives."""
    while ready := _ahead.get(prepared):
        with contextlib.suppress(IndexError):  # another thread was quicker
            connection, process = ready.pop()
            if process.poll() is None:
                return connection, process
            _end(connection, process)
    return None


def _started(memory_bytes: int, prepare: str = "") -> _Process:
    ours, theirs = multiprocessing.Pipe()
    try:
        process = subprocess.Popen(
            [sys.executable, "-c", _START.format(kind=type(theirs).__name__, fd=theirs.fileno())],
            **_handed_on(theirs.fileno()),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,  # the libraries' C++ log lines
        )
    finally:
        theirs.close()
    with contextlib.suppress(OSError):  # it died at once: noticed when its answer is awaited
        for told in (sys.path, memory_bytes, prepare):
            ours.send(told)
    return ours, process


def _handed_on(end: int) -> dict[str, Any]:
    """How a process is given its end of the pipe. Windows: not run there."""
    if sys.platform != "win32":
        return {"pass_fds": [end]}
    os.set_handle_inheritable(end, True)
    startup = subprocess.STARTUPINFO()
    startup.lpAttributeList["handle_list"] = [end]
    return {"startupinfo": startup}


def _serve(connection: Connection) -> None:
    """In the process started: do one task after the other, and tell how each went."""
    close_network()
    _bound("RLIMIT_DATA", connection.recv())
    _bound("RLIMIT_CORE", 0)
    if prepare := connection.recv():
        resolve_name(prepare)()
    asked: queue.SimpleQueue[tuple[Callable[..., Any], Any]] = queue.SimpleQueue()
    threading.Thread(target=_hear, args=[connection, asked], daemon=True).start()
    while True:
        work, task = asked.get()
        try:
            answer: tuple[str, Any] = (
                "done",
                work(task, lambda value=None: connection.send(("step", value))),
            )
        except KeyboardInterrupt:
            os._exit(1)
        except Exception as error:
            error.add_note(traceback.format_exc())
            answer = ("failed", error)
        with contextlib.suppress(BrokenPipeError):
            connection.send(answer)


def _bound(what: str, most: int) -> None:
    # Where there is no such limit: Windows has none.
    with contextlib.suppress(ImportError, OSError, ValueError, AttributeError):
        resource: Any = import_module("resource")
        kind = getattr(resource, what)
        hard = resource.getrlimit(kind)[1]
        resource.setrlimit(kind, (most if hard < 0 else min(most, hard), hard))


def _hear(connection: Connection, asked: queue.SimpleQueue[Any]) -> None:
    """Take tasks until there are no more, or the formcheck that asked was killed; then end.

    Not by the usual way out: libraries that hang or abort while they tidy up spoil nothing.
    """
    try:
        while True:
            asked.put(connection.recv())
    finally:
        os._exit(0)
