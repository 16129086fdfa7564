"""Every command that writes: killed at any moment, beside a rival, on a full disk, in a folder
that may not be written.

    python -m tests.battery.kills                          # twenty moments each
    python -m tests.battery.kills "log import" --moments 5

A command runs in a place of its own that was made ready once. Half of the moments are taken at
random over the time it takes, half at random among the calls with which it writes, renames or
removes, which take little of that time. After a kill all that is there must be whole: reports,
logs, and every other file as it was before or as it is to be. Then the command is run again, and
nothing may differ from a run that nobody disturbed, nor be left over.

A batch is killed by ``tests/truth/batch_bench.py``, the page on the own machine by
``tests/desk/test_killed.py``; ``formcheck demo`` starts the job that ``set`` starts.
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import ctypes
import io
import json
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

from formcheck.job import SetJob, judge_set
from formcheck.log.enter import Recorded, enter
from formcheck.log.store import open_log, people, sets_of
from formcheck.report.contract import check
from tests.battery.cases import GOOD_TRACK
from tests.log.made_up import FIRST, write_hold

REPORT = {"landmarks.parquet", "report.html", "report.json", "reps.csv"}
WRITES = {
    "open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.truncate",
    "sqlite3.connect",
}  # fmt: skip
NO_END_S = 60.0
_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(["tests.battery.warm"])


@dataclass(frozen=True)
class Writer:
    """A command that writes: its ``words``, what it starts from, and how it may end when it has
    done its work before (``again``: exit codes). ``removes``: what it did before it was refused
    stays done."""

    words: tuple[str, ...]
    start: Callable[[Path], None]
    again: tuple[int, ...] = (0,)
    removes: bool = False


def _nothing(place: Path) -> None:
    """Where a command that needs nothing starts."""


@cache
def _judged() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="kills_"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return judge_set(SetJob((GOOD_TRACK,), folder / "mon")).folder


def _report(place: Path) -> None:
    shutil.copytree(_judged(), place / "sets" / "mon")


def _reports(place: Path) -> None:
    """Two reports; one of them in the log, as ana's."""
    _report(place)
    shutil.copytree(place / "sets" / "mon", place / "sets" / "tue")
    path = place / "sets" / "tue" / "report.json"
    report = json.loads(path.read_text())
    report["clips"][0]["sha256"] = "0" * 64
    path.write_text(json.dumps(report))
    for day in ("mon", "tue"):
        enter(place / "sets" / day, "ana", Recorded(FIRST, "given"), place / "log.sqlite")
    (place / "labels.csv").write_text(
        "set,rep,fault,verdict,who,when\nmon,1,shallow,yes,Ada,\nmon,2,shallow,no,Ada,\n"
    )


def _exported(place: Path) -> None:
    """A log, and the export of another."""
    from formcheck.log.exchange import export

    _reports(place)
    with open_log(place / "log.sqlite") as log:
        export(log, place / "sets.jsonl")
    text = (place / "sets.jsonl").read_text()
    (place / "sets.jsonl").write_text(text.replace('"ana"', '"bo"'))


def _hold(place: Path) -> None:
    write_hold(place / "hold.parquet")


def _clips(place: Path) -> None:
    (place / "clips").mkdir()
    shutil.copy(GOOD_TRACK, place / "clips" / "ana.parquet")


_LOG = ("--log", "log.sqlite")
WRITERS: dict[str, Writer] = {
    "set --overwrite": Writer(
        ("set", str(GOOD_TRACK), "--out", "sets/mon", "--overwrite", "--tempo", "3-1-X-1"), _report
    ),
    "set --person": Writer(
        ("set", str(GOOD_TRACK), "--out", "sets/new", "--overwrite", "--person", "ana",
         "--recorded", "2026-03-09", *_LOG),
        _nothing,
    ),
    "again --write": Writer(("again", "sets", "--tempo", "3-1-X-1", "--write"), _report),
    "log rebuild": Writer(("log", "rebuild", "sets", "--person", "bo", *_LOG), _reports),
    "log import": Writer(("log", "import", "sets.jsonl", *_LOG), _exported),
    "log export": Writer(("log", "export", "out.csv", "--overwrite", *_LOG), _reports),
    "log page": Writer(("log", "page", "--out", "ana.html", *_LOG), _reports),
    "log restore": Writer(("log", "restore", *_LOG), _reports),
    "person set": Writer(("person", "set", "ana", "--stature", "178", *_LOG), _reports),
    "person calibrate": Writer(("person", "calibrate", "ana", "hold.parquet", *_LOG), _hold),
    "person erase": Writer(("person", "erase", "ana", "--yes", *_LOG), _reports, (0, 2), True),
    "agree": Writer(("agree", "labels.csv", "sets", "--out", "agreement", "--overwrite"), _reports),
    **{
        f"batch --write-roster {kind}": Writer(
            ("batch", "clips", "--write-roster", f"roster.{kind}"), _clips, (0, 2)
        )
        for kind in ("csv", "toml", "xlsx")
    },
}  # fmt: skip


@dataclass(frozen=True)
class Ended:
    """How a run ended (a signal as its negative), what it said, the calls that it wrote with, and
    the time it took."""

    code: int
    said: str
    writes: int
    took_s: float


@dataclass(frozen=True)
class Trouble:
    """What befalls a run: ``at_write`` the call before which it is killed, ``after_s`` the time
    after which it is; ``largest`` bytes that a file may have; ``no_rights`` of a superuser."""

    at_write: int | None = None
    after_s: float | None = None
    largest: int | None = None
    no_rights: bool = False


class Running:
    """A command at work in a process of its own."""

    def __init__(self, words: Sequence[str], place: Path, trouble: Trouble | None = None) -> None:
        self._trouble = trouble or Trouble()
        self._said, telling = _CONTEXT.Pipe(duplex=False)
        self._process: ForkServerProcess = _CONTEXT.Process(
            target=_run, args=(tuple(words), str(place), self._trouble, telling)
        )
        self._process.start()
        telling.close()
        assert self._said.recv() == "ready"
        self._began = time.monotonic()

    def ended(self) -> Ended:
        if self._trouble.after_s is not None:
            time.sleep(self._trouble.after_s)
            self._process.kill()
        said, writes = "", 0
        with contextlib.suppress(EOFError):
            said, writes = self._said.recv()
        self._process.join(NO_END_S)
        took_s = time.monotonic() - self._began
        code = self._process.exitcode
        if code is None:
            self._process.kill()
            raise AssertionError(f"no end after {NO_END_S:.0f} s")
        return Ended(code, said, writes, took_s)


def _run(words: tuple[str, ...], place: str, trouble: Trouble, telling: Any) -> None:
    """In the new process: the command, with what befalls it."""
    os.chdir(place)
    os.environ |= {"XDG_DATA_HOME": f"{place}/.data", "XDG_CACHE_HOME": f"{place}/.cache"}
    stream = io.StringIO()
    sys.stdout = sys.stderr = stream
    from formcheck.cli import app

    if trouble.largest is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (trouble.largest, trouble.largest))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    if trouble.no_rights:
        _give_up_rights()
    writes = 0

    def watch(event: str, arguments: tuple[Any, ...]) -> None:
        nonlocal writes
        if event not in WRITES or (event == "open" and not _to_write(arguments)):
            return
        if writes == trouble.at_write:
            os.kill(os.getpid(), signal.SIGKILL)
        writes += 1

    sys.addaudithook(watch)
    telling.send("ready")
    code: Any = 1
    try:
        app(list(words))
    except SystemExit as end:
        code = end.code or 0
    except BaseException:
        traceback.print_exc()
    telling.send((stream.getvalue(), writes))
    telling.close()
    os._exit(code if isinstance(code, int) else 1)


def _to_write(arguments: tuple[Any, ...]) -> bool:
    _, mode, flags = arguments
    if isinstance(mode, str):
        return any(sign in mode for sign in "wax+")
    return isinstance(flags, int) and bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))


def _give_up_rights() -> None:
    """A superuser may write anywhere: without this right, only where the modes allow it."""
    library = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)  # _LINUX_CAPABILITY_VERSION_3, capabilities(7)
    if library.syscall(126, header, (ctypes.c_uint32 * 6)()) and os.geteuid() == 0:  # capset
        raise OSError("the rights of a superuser could not be given up")


class Place:
    """A folder in which a command starts from the same again and again."""

    def __init__(self, writer: Writer, scratch: Path) -> None:
        self.writer, self.here, self._start = writer, scratch / "here", scratch / "start"
        self.here.mkdir()
        with _in(self.here):
            writer.start(self.here)
        shutil.copytree(self.here, self._start)
        self.usual = self.run()
        assert self.usual.code == 0, self.usual.said
        self.after = meaning(self.here)
        self.anew()
        self.before = meaning(self.here)
        self.anew()

    def anew(self) -> None:
        shutil.rmtree(self.here)
        shutil.copytree(self._start, self.here)

    def run(self, trouble: Trouble | None = None) -> Ended:
        return Running(self.writer.words, self.here, trouble).ended()

    def moment(self, chance: random.Random, at_write: bool) -> Trouble:
        if at_write:
            return Trouble(at_write=chance.randrange(self.usual.writes))
        return Trouble(after_s=chance.uniform(0.0, 1.05) * self.usual.took_s)

    def killed(self, trouble: Trouble) -> None:
        """Kill it, look at what is there, and run it again. Raises AssertionError."""
        self.anew()
        self.run(trouble)
        check_whole(self.here, self.before, self.after)
        ended = self.run()
        assert ended.code in self.writer.again and "Traceback" not in ended.said, ended
        self._as_undisturbed()

    def two_at_once(self) -> None:
        self.anew()
        both = [Running(self.writer.words, self.here) for _ in range(2)]
        for ended in [one.ended() for one in both]:
            assert ended.code in {0, *self.writer.again} and "Traceback" not in ended.said, ended
        self._as_undisturbed()

    def full_disk(self, largest: int) -> None:
        """No file can grow beyond ``largest`` bytes: a full disk, as far as writing goes."""
        self.anew()
        self._refused(self.run(Trouble(largest=largest)))

    def read_only(self) -> None:
        self.anew()
        for path in [self.here, *self.here.rglob("*")]:
            path.chmod(0o555 if path.is_dir() else 0o444)
        try:
            ended = self.run(Trouble(no_rights=True))
        finally:
            for path in [self.here, *self.here.rglob("*")]:
                path.chmod(0o755 if path.is_dir() else 0o644)
        assert ended.code != 0, ended
        self._refused(ended)

    def _refused(self, ended: Ended) -> None:
        assert "Traceback" not in ended.said, ended.said
        if ended.code == 0:  # what it writes was small enough
            self._is(self.after)
            return
        last = ended.said.strip().splitlines()[-1]
        assert ended.code == 2 and last.startswith("formcheck: ") and last.endswith("."), ended
        if self.writer.removes:
            check_whole(self.here, self.before, self.after)
            self.run()
        done = self.writer.removes or "the log itself holds everything" in last
        self._is(self.after if done else self.before)

    def _as_undisturbed(self) -> None:
        self._is(self.after)

    def _is(self, as_it_should_be: Meaning) -> None:
        now = meaning(self.here)
        differing = {
            name for name in {*now, *as_it_should_be} if now.get(name) != as_it_should_be.get(name)
        }
        assert not differing, (differing, [{n: str(m.get(n))[:300] for n in differing}
                                           for m in (now, as_it_should_be)])  # fmt: skip
        assert not leftovers(self.here), leftovers(self.here)


@contextmanager
def _in(folder: Path) -> Iterator[None]:
    names = ("XDG_DATA_HOME", "XDG_CACHE_HOME")
    before = {name: os.environ.get(name) for name in names}
    os.environ |= {"XDG_DATA_HOME": f"{folder}/.data", "XDG_CACHE_HOME": f"{folder}/.cache"}
    try:
        with contextlib.chdir(folder):
            yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name)
            else:
                os.environ[name] = value


Meaning = dict[str, Any]  # file → what it says


def meaning(place: Path) -> Meaning:
    """What every file says, hidden ones, copies of logs and what was moved aside left out."""
    found: Meaning = {}
    for path in sorted(place.rglob("*")):
        name = path.relative_to(place).as_posix()
        if path.is_dir() or any(part.startswith(".") for part in name.split("/")):
            continue
        if any(part in path.name for part in (".sqlite-", ".last-good", ".damaged-")):
            continue
        if (says := _says(path)) != []:  # a log that holds nothing is as good as none
            found[name] = says
    return found


def _says(path: Path) -> Any:
    if path.suffix == ".sqlite":
        with open_log(path) as log:
            assert log.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            return [*sets_of(log), *people(log)]
    if path.suffix == ".html":  # says when it was made
        text = path.read_text(encoding="utf-8").rstrip()
        assert text.endswith("</html>")
        return "page"
    if path.suffix == ".xlsx":  # says when it was made
        return [[*sheet.values] for sheet in load_workbook(path).worksheets]
    return path.read_bytes()


def check_whole(place: Path, before: Meaning, after: Meaning) -> None:
    """Nothing there is half: each file says what it said or what it is to say. Reports are whole
    and each of one run, but for those that are being removed, or were put aside by the killed run,
    which the next one puts back."""
    for name, says in meaning(place).items():
        assert says in (before.get(name), after.get(name)) or name.endswith(".sqlite"), name
    for path in place.rglob("report.json"):
        report = json.loads(path.read_text(encoding="utf-8"))
        check(report)
        if not any(part.startswith(".") for part in path.relative_to(place).parts[:-1]):
            there = {one.name for one in path.parent.iterdir()}
            assert there >= REPORT or f"{path.parent.name}/report.json" not in after, there


def leftovers(place: Path) -> list[str]:
    return [path.name for path in place.rglob(".*") if path.name.endswith((".partial", ".tmp"))]


def main() -> None:
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    asked.add_argument("writers", nargs="*", default=list(WRITERS), metavar="COMMAND",
                       help=", ".join(WRITERS))  # fmt: skip
    asked.add_argument("--moments", type=int, default=20)
    asked.add_argument("--seed", type=int, default=16)
    given = asked.parse_args()
    found = 0
    for name in given.writers:
        chance, began = random.Random(given.seed), time.monotonic()
        wrong: list[str] = []
        with tempfile.TemporaryDirectory() as folder:
            place = Place(WRITERS[name], Path(folder))
            tries: list[tuple[str, Callable[[], None]]] = [
                (f"killed: {one}", partial(place.killed, one))
                for one in (place.moment(chance, n % 2 == 1) for n in range(given.moments))
            ]
            tries += [("two at once", place.two_at_once), ("read-only", place.read_only)]
            tries += [
                (f"files of {size} bytes", partial(place.full_disk, size))
                for size in (0, 200, 5000, 40_000)
            ]
            for what, attempt in tries:
                try:
                    attempt()
                except Exception as error:
                    wrong.append(f"{what}: {error!r}")
        found += len(wrong)
        print(
            f"{name}: {given.moments} kills, two at once, full disks, read-only: "
            f"{len(wrong)} findings ({place.usual.writes} writes in {place.usual.took_s:.2f} s; "
            f"{time.monotonic() - began:.0f} s)", flush=True,
        )  # fmt: skip
        for one in wrong:
            print(f"  {one[:1500]}", flush=True)
    raise SystemExit(found > 0)


if __name__ == "__main__":
    main()
