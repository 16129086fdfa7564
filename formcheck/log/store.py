"""The log's file: one SQLite database, its schema version, its last good copy.

Reports are the truth about sets, and this an index of them. What only the log knows are the
people: their measures, and their own straight line.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import Any

from formcheck.errors import FormcheckError
from formcheck.locks import made_beside
from formcheck.log.entry import ClipRef, FaultCount, SetEntry
from formcheck.log.person import CheckedHold, PersonError, PersonRecord
from formcheck.places import data_folder

_APPLICATION_ID = 0x70757368  # tells this file from any other SQLite database
_WAIT_S = 60.0  # for other programs that are writing
_COPY_EVERY_S = 600.0  # the last good copy is at most this much behind the log

# One entry a schema version, applied in order. Never change one that was released: add another.
_MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE person (
            id INTEGER PRIMARY KEY,
            key TEXT NOT NULL UNIQUE, name TEXT NOT NULL,
            sex TEXT, stature_m REAL, upper_arm_m REAL, forearm_m REAL,
            hip_offset_share REAL, hip_offset_plus_minus REAL,
            hip_offset_clip TEXT, hip_offset_on_date TEXT
        )""",
        """CREATE TABLE body_mass (
            person_id INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
            on_date TEXT NOT NULL, kg REAL NOT NULL,
            PRIMARY KEY (person_id, on_date)
        )""",
        """CREATE TABLE judged_set (
            id INTEGER PRIMARY KEY,
            person_id INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
            recorded_at TEXT NOT NULL, recorded_from TEXT NOT NULL, folder TEXT NOT NULL,
            variation TEXT NOT NULL, direction TEXT NOT NULL,
            attempts INTEGER NOT NULL, counted INTEGER NOT NULL,
            clean INTEGER NOT NULL, unclear INTEGER NOT NULL,
            rung TEXT, next_variation TEXT, tempo TEXT, target_reps INTEGER,
            added_load_kg REAL NOT NULL, body_mass_kg REAL,
            elbow_bottom_deg REAL, elbow_bottom_deg_plus_minus REAL,
            elbow_top_deg REAL, elbow_top_deg_plus_minus REAL,
            hip_deviation_deg REAL, hip_deviation_deg_plus_minus REAL,
            eccentric_s REAL, eccentric_s_plus_minus REAL,
            bottom_pause_s REAL, bottom_pause_s_plus_minus REAL,
            concentric_s REAL, concentric_s_plus_minus REAL,
            top_pause_s REAL, top_pause_s_plus_minus REAL,
            speed_loss_percent REAL, speed_loss_percent_plus_minus REAL,
            load_reps REAL, load_reps_plus_minus REAL
        )""",
        "CREATE INDEX judged_set_of_person ON judged_set (person_id, recorded_at)",
        "CREATE INDEX judged_set_folder ON judged_set (folder)",
        """CREATE TABLE clip (
            key TEXT PRIMARY KEY,
            set_id INTEGER NOT NULL REFERENCES judged_set ON DELETE CASCADE,
            file TEXT NOT NULL, view TEXT
        )""",
        "CREATE INDEX clip_of_set ON clip (set_id)",
        """CREATE TABLE fault (
            set_id INTEGER NOT NULL REFERENCES judged_set ON DELETE CASCADE,
            key TEXT NOT NULL, reps INTEGER NOT NULL, unclear INTEGER NOT NULL,
            PRIMARY KEY (set_id, key)
        )""",
    ),
)
_COLUMNS = tuple(
    one.name for one in fields(SetEntry) if one.name not in ("person", "clips", "faults")
)


class LogError(FormcheckError):
    """The log cannot be opened, or is damaged."""


class LogDamagedError(LogError):
    """The log's file does not hold what it should."""


def default_log() -> Path:
    """The log in the platform's folder for a user's data."""
    return data_folder() / "log.sqlite"


def last_good_copy(path: Path) -> Path:
    """Where the last good copy of a log is kept: beside it."""
    return path.with_name(f"{path.stem}.last-good{path.suffix}")


@contextlib.contextmanager
def open_log(path: Path, *, write: bool = False) -> Iterator[sqlite3.Connection]:
    """The log, checked whole, of this schema version, closed at the end.

    Opened for writing it is made where there is none, and its last good copy renewed when that
    has fallen behind. Any number of programs may have it open; one writes at a time and the
    others wait. Raises LogError, and LogDamagedError for a file that is not what it should be.
    """
    if not write and not path.exists():
        raise LogError(
            f"{path}: there is no log yet; “formcheck set CLIP --person NAME” starts it, and "
            "“formcheck log rebuild FOLDER” makes it from reports."
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        log = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None)
    except (OSError, sqlite3.Error) as error:
        raise LogError(
            f"{path}: the log cannot be opened ({error}); choose another file with --log."
        ) from error
    try:
        with _told(path):
            _prepare(log, path)
            if write and _behind(path):
                keep_copy(log, path)
        yield log
    finally:
        log.close()


@contextlib.contextmanager
def changing(log: sqlite3.Connection, path: Path) -> Iterator[None]:
    """All that is done within is on disk at the end, or none of it after an error."""
    with _told(path):
        log.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        log.execute("ROLLBACK")
        raise
    with _told(path):
        log.execute("COMMIT")


def keep_copy(log: sqlite3.Connection, path: Path) -> None:
    """Make the last good copy anew from the open, checked log."""
    copy = last_good_copy(path)
    try:
        with made_beside(copy) as part, contextlib.closing(sqlite3.connect(part)) as target:
            log.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
    except (OSError, sqlite3.Error) as error:
        raise LogError(
            f"{copy}: the copy of the log cannot be written ({error}); the log itself holds "
            "everything, so free some space there for next time."
        ) from error


def restore(path: Path) -> Path | None:
    """Put the last good copy in the place of a log; returns where a file that was there went."""
    copy = last_good_copy(path)
    if not copy.exists():
        raise LogError(
            f"{path}: there is no copy to go back to; move the file away and make the log again "
            "with “formcheck log rebuild FOLDER”."
        )
    with contextlib.closing(sqlite3.connect(copy)) as log, _told(copy):
        _check(log, copy)
    aside = path.with_name(f"{path.stem}.damaged-{datetime.now():%Y%m%d-%H%M%S}{path.suffix}")
    there = path.exists()
    try:
        for end in ("-wal", "-shm"):
            path.with_name(path.name + end).unlink(missing_ok=True)
        with made_beside(path) as part:
            part.write_bytes(copy.read_bytes())
            if there:
                with contextlib.suppress(FileExistsError):  # by another that restores it now
                    os.link(path, aside)  # and not renamed, so that a log is there throughout
    except OSError as error:
        raise LogError(
            f"{path} cannot be written ({error.strerror}); the copy {copy} is whole."
        ) from error
    return aside if there else None


def put_set(log: sqlite3.Connection, entry: SetEntry) -> SetEntry | None:
    """Enter a set, in place of one that shares a clip with it; returns the one replaced.

    To be called within ``changing``.
    """
    marks = ",".join("?" * len(entry.clips))
    keys = [clip.key for clip in entry.clips]
    before = [
        row[0]
        for row in log.execute(f"SELECT DISTINCT set_id FROM clip WHERE key IN ({marks})", keys)
    ]
    replaced = None
    for set_id in before:
        replaced = _entries(log, "WHERE judged_set.id = ?", (set_id,))[0]
        log.execute("DELETE FROM judged_set WHERE id = ?", (set_id,))
    names = ", ".join(("person_id", *_COLUMNS))
    values = [_person_id(log, entry.person), *(getattr(entry, name) for name in _COLUMNS)]
    set_id = log.execute(
        f"INSERT INTO judged_set ({names}) VALUES ({','.join('?' * len(values))})", values
    ).lastrowid
    log.executemany(
        "INSERT INTO clip (key, set_id, file, view) VALUES (?, ?, ?, ?)",
        [(clip.key, set_id, clip.file, clip.view) for clip in entry.clips],
    )
    log.executemany(
        "INSERT INTO fault (set_id, key, reps, unclear) VALUES (?, ?, ?, ?)",
        [(set_id, key, one.reps, one.unclear) for key, one in entry.faults.items()],
    )
    return replaced


def sets_of(
    log: sqlite3.Connection,
    person: str | None = None,
    since: str | None = None,
    variation: str | None = None,
) -> list[SetEntry]:
    """Entries by the time they were recorded. ``since`` UTC, ISO 8601."""
    asked = {
        "person.key = ?": person.casefold() if person is not None else None,
        "judged_set.recorded_at >= ?": since,
        "judged_set.variation = ?": variation,
    }
    given = {clause: value for clause, value in asked.items() if value is not None}
    where = f"WHERE {' AND '.join(given)}" if given else ""
    return _entries(log, where, tuple(given.values()))


def drop_folders(log: sqlite3.Connection, root: str) -> int:
    """Take the sets out whose reports lie in or under a folder; returns how many."""
    rows = log.execute("SELECT id, folder FROM judged_set").fetchall()
    under = root.rstrip(os.sep) + os.sep
    inside = [(set_id,) for set_id, folder in rows if folder == root or folder.startswith(under)]
    log.executemany("DELETE FROM judged_set WHERE id = ?", inside)
    return len(inside)


def people(log: sqlite3.Connection) -> list[PersonRecord]:
    """Everyone in the log, by name."""
    masses: dict[int, list[tuple[str, float]]] = {}
    for person_id, on_date, kg in log.execute(
        "SELECT person_id, on_date, kg FROM body_mass ORDER BY on_date"
    ):
        masses.setdefault(person_id, []).append((on_date, kg))
    return [
        PersonRecord(
            name,
            sex,
            stature_m,
            upper_arm_m,
            forearm_m,
            tuple(masses.get(person_id, ())),
            CheckedHold(*hip) if hip[0] is not None else None,
        )
        for person_id, name, sex, stature_m, upper_arm_m, forearm_m, *hip in log.execute(
            "SELECT id, name, sex, stature_m, upper_arm_m, forearm_m, hip_offset_share, "
            "hip_offset_plus_minus, hip_offset_clip, hip_offset_on_date FROM person ORDER BY name"
        )
    ]


def find_person(log: sqlite3.Connection, name: str) -> PersonRecord:
    """A person by name, capitals aside. Raises PersonError."""
    known = people(log)
    found = next((one for one in known if one.name.casefold() == name.casefold()), None)
    if found is not None:
        return found
    there = f"there are {', '.join(p.name for p in known)}" if known else "it is empty"
    raise PersonError(f"“{name}” is not in the log: {there}.")


def put_person(log: sqlite3.Connection, person: PersonRecord) -> None:
    """Store all that is known of a person, in place of what was. Within ``changing``."""
    person_id = _person_id(log, person.name)
    hip = person.hip_offset
    log.execute(
        "UPDATE person SET sex = ?, stature_m = ?, upper_arm_m = ?, forearm_m = ?, "
        "hip_offset_share = ?, hip_offset_plus_minus = ?, hip_offset_clip = ?, "
        "hip_offset_on_date = ? WHERE id = ?",
        (
            person.sex, person.stature_m, person.upper_arm_m, person.forearm_m,
            *((hip.share, hip.plus_minus, hip.clip, hip.on_date) if hip else (None,) * 4),
            person_id,
        ),
    )  # fmt: skip
    log.execute("DELETE FROM body_mass WHERE person_id = ?", (person_id,))
    log.executemany(
        "INSERT INTO body_mass (person_id, on_date, kg) VALUES (?, ?, ?)",
        [(person_id, on_date, kg) for on_date, kg in person.body_mass],
    )


def erase_person(log: sqlite3.Connection, path: Path, name: str) -> None:
    """Take a person out with all their sets, from the last good copy too: that one first, so that
    whatever ends this before it is done, nobody who is no longer in the log stays there."""
    copy = last_good_copy(path)
    try:
        copy.unlink(missing_ok=True)
    except OSError as error:
        raise LogError(f"{copy} cannot be removed ({error.strerror}).") from error
    with changing(log, path):
        log.execute("DELETE FROM person WHERE key = ?", (name.casefold(),))
    with contextlib.suppress(sqlite3.OperationalError):  # needs room; what is deleted is zeroed
        log.execute("VACUUM")
    with _told(path):
        log.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    keep_copy(log, path)


def _prepare(log: sqlite3.Connection, path: Path) -> None:
    log.execute("PRAGMA foreign_keys = ON")
    log.execute("PRAGMA secure_delete = ON")
    log.execute("PRAGMA synchronous = FULL")  # said to be entered means on disk
    if log.execute("PRAGMA user_version").fetchone()[0] < len(_MIGRATIONS):
        _migrate(log, path)
    if log.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        _use_wal(log)
    _check(log, path)


def _use_wal(log: sqlite3.Connection) -> None:
    """Readers and a writer side by side; the switch itself does not wait for others, so we do."""
    for _ in range(50):
        with contextlib.suppress(sqlite3.OperationalError):
            log.execute("PRAGMA journal_mode = WAL")
            return
        time.sleep(0.05)


def _check(log: sqlite3.Connection, path: Path) -> None:
    if log.execute("PRAGMA application_id").fetchone()[0] != _APPLICATION_ID:
        raise LogError(f"{path} is a database, but no training log; choose another with --log.")
    if log.execute("PRAGMA user_version").fetchone()[0] > len(_MIGRATIONS):
        raise LogError(
            f"{path} was written by a newer formcheck; update formcheck, or choose another log "
            "with --log."
        )
    found = log.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise _damaged(path, str(found).splitlines()[-1])


def _migrate(log: sqlite3.Connection, path: Path) -> None:
    """Bring a new or older file to this schema; one program does it, the others find it done."""
    log.execute("BEGIN IMMEDIATE")
    try:
        version = log.execute("PRAGMA user_version").fetchone()[0]
        if version == 0 and log.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            raise LogError(f"{path} is a database, but no training log; choose another with --log.")
        for statements in _MIGRATIONS[version:]:
            for statement in statements:
                log.execute(statement)
        log.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
        log.execute(f"PRAGMA user_version = {max(version, len(_MIGRATIONS))}")
    except BaseException:
        log.execute("ROLLBACK")
        raise
    log.execute("COMMIT")


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """SQLite's errors in a sentence."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise LogError(
            f"{path}: the log cannot be used ({error}); close other programs that use it, or "
            "choose another file with --log."
        ) from error
    except sqlite3.DatabaseError as error:
        raise _damaged(path, str(error)) from error


def _damaged(path: Path, what: str) -> LogDamagedError:
    copy = last_good_copy(path)
    if not copy.exists():
        return LogDamagedError(
            f"{path}: the log is damaged ({what}) and there is no copy; move it away and make it "
            "again with “formcheck log rebuild FOLDER”."
        )
    made = datetime.fromtimestamp(copy.stat().st_mtime)
    return LogDamagedError(
        f"{path}: the log is damaged ({what}); “formcheck log restore” goes back to the copy of "
        f"{made:%Y-%m-%d %H:%M}, and “formcheck log rebuild FOLDER” enters what came later."
    )


def _behind(path: Path) -> bool:
    """Whether the last good copy is missing or older than the log by more than it may be."""
    copy = last_good_copy(path)
    if not copy.exists():
        return True
    return time.time() - copy.stat().st_mtime > _COPY_EVERY_S


def _person_id(log: sqlite3.Connection, name: str) -> int:
    key = name.casefold()  # Ana and ana are one person, called as first entered
    log.execute("INSERT INTO person (key, name) VALUES (?, ?) ON CONFLICT DO NOTHING", (key, name))
    found: int = log.execute("SELECT id FROM person WHERE key = ?", (key,)).fetchone()[0]
    return found


def _entries(log: sqlite3.Connection, where: str, values: tuple[Any, ...]) -> list[SetEntry]:
    of = "judged_set JOIN person ON person.id = person_id"
    within = f"set_id IN (SELECT judged_set.id FROM {of} {where})"
    clips: dict[int, list[ClipRef]] = {}
    for set_id, *clip in log.execute(
        f"SELECT set_id, key, file, view FROM clip WHERE {within} ORDER BY rowid", values
    ):
        clips.setdefault(set_id, []).append(ClipRef(*clip))
    faults: dict[int, dict[str, FaultCount]] = {}
    for set_id, key, *counts in log.execute(
        f"SELECT set_id, key, reps, unclear FROM fault WHERE {within} ORDER BY key", values
    ):
        faults.setdefault(set_id, {})[key] = FaultCount(*counts)
    named = ", ".join(f"judged_set.{name}" for name in _COLUMNS)
    return [
        SetEntry(
            person=person,
            clips=tuple(clips.get(set_id, ())),
            faults=faults.get(set_id, {}),
            **dict(zip(_COLUMNS, row, strict=True)),
        )
        for set_id, person, *row in log.execute(
            f"SELECT judged_set.id, person.name, {named} FROM {of} {where} "
            "ORDER BY recorded_at, judged_set.id",
            values,
        )
    ]
