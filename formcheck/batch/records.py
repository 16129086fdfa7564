"""What is remembered of a batch between runs: which sets are judged, and who is at work.

All of it lies in one folder inside the output folder. A record is written last, after its
report, and removed first, so that a report with a record is whole.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from formcheck.batch.plan import STATE, SetPlan
from formcheck.errors import OutputError
from formcheck.locks import hold, made_beside
from formcheck.report.folder import MADE

Status = Literal["judged", "empty", "failed"]


@dataclass(frozen=True)
class Result:
    """What came of a set, or of a clip that was judged on its own.

    ``name`` of the report folder inside the output folder; ``empty`` when no set was found in
    it, ``failed`` when there is no report; ``reason`` then says why and what to do.
    ``answer`` in a line; ``fix_first`` key of the fault that costs most; ``variation`` in words.
    """

    name: str
    clips: tuple[str, ...]
    status: Status
    reason: str = ""
    answer: str = ""
    fix_first: str | None = None
    variation: str = ""


@dataclass(frozen=True)
class Record:
    """The results of one planned set: one, or two where its clips were no one set.

    ``note`` says so. ``files`` sizes in bytes of what the reports consist of. ``patience`` it was
    tried with; 0 where it was refused beforehand.
    """

    key: str
    digests: tuple[str, ...]
    results: tuple[Result, ...]
    note: str = ""
    files: tuple[tuple[str, int], ...] = ()
    patience: float = 0.0

    @property
    def failed(self) -> bool:
        return any(result.status == "failed" for result in self.results)


@dataclass(frozen=True)
class Standing:
    """A planned set and what came of it."""

    plan: SetPlan
    record: Record


class Records:
    """The records of one output folder."""

    def __init__(self, out: Path) -> None:
        self._out = out
        self._sets = out / STATE / "sets"

    def current(self, plan: SetPlan, patience: float, again_failed: bool) -> Record | None:
        """The record of a set whose report is whole and still what is asked for.

        What failed would fail again while clip, version and what is asked stay, so it is tried
        again only with more ``patience`` or where that is asked; and where it had been refused
        beforehand and is not now.
        """
        record = self._read(self._path(plan.name))
        if record is None or record.key != plan.key or record.files != self._sizes(record.results):
            return None
        if record.failed and plan.refused is None and (again_failed or record.patience < patience):
            return None
        return record

    def forget(self, name: str) -> None:
        self._path(name).unlink(missing_ok=True)

    def keep(
        self, plan: SetPlan, results: tuple[Result, ...], note: str, patience: float = 1.0
    ) -> Record:
        """Remember what came of a set. Raises OutputError when the disk is full."""
        digests = tuple(clip.sha256 for clip in plan.clips)
        tried = patience if plan.refused is None else 0.0
        record = Record(plan.key, digests, results, note, self._sizes(results), tried)
        path = self._path(plan.name)
        write_whole(path, json.dumps(asdict(record), ensure_ascii=False, indent=1).encode())
        return record

    def others(self, plans: list[SetPlan]) -> Iterator[tuple[str, Record]]:
        """Records of sets that are not planned any more."""
        planned = {plan.name for plan in plans}
        for path in sorted(self._sets.rglob("*.json")):
            name = path.relative_to(self._sets).with_suffix("").as_posix()
            if name not in planned and (record := self._read(path)) is not None:
                yield name, record

    def remove(self, name: str, record: Record, keep: set[str]) -> None:
        """Take away a set's record and what its reports consist of, but for folders to keep."""
        self.forget(name)
        for result in record.results:
            if result.name not in keep:
                self.clear(result.name)

    def clear(self, name: str) -> None:
        """Remove what a report consists of, and its folder when nothing else is in it."""
        folder = self._out / name
        for made in MADE:
            (folder / made).unlink(missing_ok=True)
        self.picture(name).unlink(missing_ok=True)
        while folder != self._out and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
            folder = folder.parent

    def picture(self, name: str) -> Path:
        """The small picture of a report's decisive moment; it need not be there."""
        return self._out / STATE / "pictures" / f"{name}.jpg"

    def trace(self, name: str) -> Path:
        """Where a process that judges a set writes what ended it, if something does."""
        return self._out / STATE / "running" / f"{name}.txt"

    def trouble(self, name: str) -> Path:
        """Where the traceback of a mistake of ours is kept, for its report."""
        return self._out / STATE / "trouble" / f"{name}.txt"

    def _path(self, name: str) -> Path:
        return self._sets / f"{name}.json"

    def _sizes(self, results: tuple[Result, ...]) -> tuple[tuple[str, int], ...]:
        files = [
            self._out / result.name / made
            for result in results
            if result.status != "failed"
            for made in MADE
        ]
        return tuple(
            (path.relative_to(self._out).as_posix(), path.stat().st_size)
            for path in files
            if path.is_file()
        )

    def _read(self, path: Path) -> Record | None:
        try:
            told: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
            results = tuple(
                Result(**{**one, "clips": tuple(one["clips"])}) for one in told.pop("results")
            )
            files = tuple((name, size) for name, size in told.pop("files"))
            digests = tuple(told.pop("digests"))
            return Record(results=results, files=files, digests=digests, **told)
        except (OSError, ValueError, TypeError, KeyError):
            return None  # of another version, or damaged: the set is judged again


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place and rename it. Raises OutputError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with made_beside(path) as partial:
            partial.write_bytes(content)
    except OSError as error:
        raise OutputError(
            f"{path} could not be written ({error.strerror or error}); free some space and run "
            "again: what is judged stays judged."
        ) from error


@contextmanager
def only_run(out: Path) -> Iterator[None]:
    """Hold the output folder for this run; what a killed run left half-done goes.

    The lock is the system's, so it ends with its process however that ends. Raises OutputError
    when another run holds it.
    """
    state = out / STATE
    try:
        state.mkdir(parents=True, exist_ok=True)
        file = (state / "lock").open("a+", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"{out} cannot be written ({error.strerror}); choose another folder with --out."
        ) from error
    with file:
        if hold(file.fileno()) is False:
            file.seek(0)
            raise OutputError(
                f"{out} is being written by another run (process {file.read().strip() or '?'}); "
                "wait until it is done, or choose another folder with --out."
            )
        file.truncate(0)
        file.write(str(os.getpid()))
        file.flush()
        _clear_leftovers(out)
        try:
            yield
        finally:
            shutil.rmtree(state / "running", ignore_errors=True)
            file.truncate(0)


def _clear_leftovers(out: Path) -> None:
    for left in sorted(out.rglob(".*.partial")):
        if left.is_dir():
            shutil.rmtree(left, ignore_errors=True)
        else:
            left.unlink(missing_ok=True)
