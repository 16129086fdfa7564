"""Entering reports: from a folder just written, or all the folders under one again."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from formcheck.errors import FormcheckError
from formcheck.files import read_small
from formcheck.locks import made_beside
from formcheck.log.entry import SetEntry, Source, entry_of
from formcheck.log.person import person_name
from formcheck.log.store import changing, default_log, drop_folders, open_log, put_set
from formcheck.plain import plain
from formcheck.report.folder import put_right_below

REPORT = "report.json"
# Clocks that were never set say 1904, 1970 or 1980; nobody filmed a set on a phone before this.
_FIRST_YEAR = 2000
_LARGEST_BYTES = 50_000_000  # of a report; a set of a thousand reps has 3 MB
_CONTRACT = "formcheck.report/"  # of whatever version
_AGAIN = "judge the set again with “formcheck set”."
_AHEAD = timedelta(days=1)  # a phone in another time zone, not one in the future


class ReportError(FormcheckError):
    """A folder holds no report that can be entered in the log."""


@dataclass(frozen=True)
class Recorded:
    """When a set was recorded, UTC, and who says so."""

    at: datetime
    source: Source

    @property
    def text(self) -> str:
        return self.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass(frozen=True)
class Entered:
    """``replaced`` the entry that this one took the place of: the same clip, judged before."""

    entry: SetEntry
    replaced: SetEntry | None

    def __str__(self) -> str:
        before = self.replaced
        when = datetime.fromisoformat(self.entry.recorded_at).astimezone()
        said = f"In the log of {self.entry.person}: {self.entry.variation}, {when:%Y-%m-%d %H:%M}"
        if before is None:
            return said
        whose = "" if before.person == self.entry.person else f", until now {before.person}'s"
        return f"{said}. This clip was in it{whose}; its entry is replaced."


def recorded_of(
    paths: Sequence[Path],
    said: Sequence[datetime | None] = (),
    given: datetime | None = None,
) -> Recorded:
    """When clips were recorded: as given, as they say themselves, as the file says, now.

    ``said`` the time of each of ``paths`` in its own metadata. For a pose track the report
    beside it speaks.
    """
    if given is not None:
        return Recorded(given.astimezone(UTC), "given")
    now = datetime.now(UTC)
    for at in said:
        if at is not None and _likely(at, now):
            return Recorded(at, "clip")
    for path in paths:
        beside = _beside(path) if path.suffix == ".parquet" else None
        if beside is not None:
            return beside
    for path in paths:
        with contextlib.suppress(OSError):
            changed = datetime.fromtimestamp(path.stat().st_mtime, UTC)
            if _likely(changed, now):
                return Recorded(changed, "file")
    return Recorded(now, "now")


def enter(
    folder: Path,
    person: str | None = None,
    recorded: Recorded | None = None,
    log_path: Path | None = None,
) -> Entered:
    """Enter the report of a folder in the log.

    ``person`` and ``recorded`` are written into the report, so that the log can be made again
    from folders alone; None leaves what the report says. The entry is on disk when this returns.
    Raises ReportError, LogError, PersonError.
    """
    path = log_path or default_log()
    read = _read(folder, person, recorded)
    with open_log(path, write=True) as log:
        read.make_it_say_so()
        with changing(log, path):
            replaced = put_set(log, read.entry)
    entry = read.entry
    return Entered(entry, replaced)


@dataclass(frozen=True)
class Rebuilt:
    """``left_out`` (folder, reason) of reports that could not be entered."""

    entered: int
    dropped: int
    left_out: tuple[tuple[Path, str], ...]


def rebuild(root: Path, log_path: Path | None = None, person: str | None = None) -> Rebuilt:
    """Make the entries of all reports in and under a folder again, all of them or none.

    Entries whose report lies elsewhere stay. ``person`` is for reports that name nobody. Of two
    reports of one clip the one judged last is entered.
    """
    if not root.is_dir():
        raise ReportError(f"{root} is not a folder; give the one that your reports are in.")
    path = log_path or default_log()
    entries: list[SetEntry] = []
    left_out: list[tuple[Path, str]] = []
    with open_log(path, write=True) as log:
        for folder in _report_folders(root):
            try:
                read = _read(folder, None, None, person)
                read.make_it_say_so()
            except FormcheckError as error:
                left_out.append((folder, str(error)))
            else:
                entries.append(read.entry)
        with changing(log, path):
            dropped = drop_folders(log, str(root.resolve()))
            replaced = sum(put_set(log, entry) is not None for entry in entries)
    return Rebuilt(len(entries) - replaced, dropped, tuple(left_out))


@dataclass(frozen=True)
class _Read:
    """The ``entry`` of a report, and the ``report`` as it is to be, should it not say by now whose
    it is and when it was recorded."""

    entry: SetEntry
    path: Path
    report: Mapping[str, Any] | None

    def make_it_say_so(self) -> None:
        """Raises ReportError."""
        if self.report is not None:
            _write_whole(self.path, self.report)


def _read(
    folder: Path,
    person: str | None,
    recorded: Recorded | None,
    otherwise: str | None = None,
) -> _Read:
    path = folder / REPORT
    report = _report(path)
    named = person or report.get("person") or otherwise
    if not named:
        raise ReportError(f"{path} names no person: give --person NAME.")
    when, source = report.get("recorded_at"), report.get("recorded_from")
    if recorded is not None or when is None:
        recorded = recorded or Recorded(datetime.fromtimestamp(path.stat().st_mtime, UTC), "file")
        when, source = recorded.text, recorded.source
    says = {"person": person_name(str(named)), "recorded_at": when, "recorded_from": source}
    entry = _entry(path, {**report, **says})
    silent = any(report.get(key) != value for key, value in says.items())
    return _Read(entry, path, {**report, **says} if silent else None)


def _report(path: Path) -> dict[str, Any]:
    try:
        report = json.loads(read_small(path, _LARGEST_BYTES))
    except OSError as error:
        raise ReportError(
            f"{path} cannot be read ({error.strerror}); give the folder of a report."
        ) from error
    except (ValueError, RecursionError) as error:
        raise ReportError(f"{path} is no report ({error}); {_AGAIN}") from error
    if not isinstance(report, dict) or not str(report.get("schema")).startswith(_CONTRACT):
        raise ReportError(f"{path} is no report; {_AGAIN}")
    return report


def _entry(path: Path, report: dict[str, Any]) -> SetEntry:
    """Also of a report that another version wrote, or that somebody edited: whatever it says of
    the set has to make an entry as the log's schema wants it."""
    from formcheck.advice.ladder import ladder
    from formcheck.log.exchange import wrong_in

    try:
        entry = entry_of(
            report,
            report["person"],
            report["recorded_at"],
            report["recorded_from"],
            str(path.parent.resolve()),
            ladder(),
        )
        wrong = wrong_in(entry)
    except (KeyError, TypeError, AttributeError, ValueError, ArithmeticError) as error:
        raise ReportError(f"{path} is no report ({plain(repr(error), 80)}); {_AGAIN}") from error
    if wrong:
        raise ReportError(f"{path} is no report ({plain(wrong, 80)}); {_AGAIN}")
    if entry.attempts == 0:
        raise ReportError(f"{path} holds no rep, so there is nothing to enter in the log.")
    return entry


def _write_whole(path: Path, report: Mapping[str, Any]) -> None:
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False)
    try:
        with made_beside(path) as part:
            part.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise ReportError(
            f"{path} cannot be written ({error.strerror}); the log keeps only what the report "
            "says too."
        ) from error


def _report_folders(root: Path) -> Iterator[Path]:
    """Folders with a report, those written first before others, so that the last one stays."""
    put_right_below(root)
    found = []
    for at, below, files in os.walk(root):
        below[:] = [name for name in below if not name.startswith(".")]  # one that is being made
        if REPORT in files:
            found.append(Path(at))
    return iter(sorted(found, key=lambda folder: (folder / REPORT).stat().st_mtime))


def _beside(track: Path) -> Recorded | None:
    try:
        report = json.loads(read_small(track.parent / REPORT, _LARGEST_BYTES))
        return Recorded(datetime.fromisoformat(report["recorded_at"]), report["recorded_from"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def _likely(at: datetime, now: datetime) -> bool:
    return at.year >= _FIRST_YEAR and at <= now + _AHEAD
