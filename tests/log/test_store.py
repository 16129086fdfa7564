"""The log's file: what is in stays in, whoever else writes, and damage is told."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from formcheck.log.entry import SetEntry
from formcheck.log.person import CheckedHold, PersonError, PersonRecord
from formcheck.log.store import (
    LogDamagedError,
    LogError,
    changing,
    drop_folders,
    erase_person,
    find_person,
    keep_copy,
    last_good_copy,
    open_log,
    people,
    put_person,
    put_set,
    restore,
    sets_of,
)
from tests.log.made_up import entry

ROOT = Path(__file__).parents[2]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "log.sqlite"


def put(path: Path, *entries: SetEntry) -> list[SetEntry | None]:
    with open_log(path, write=True) as log, changing(log, path):
        return [put_set(log, one) for one in entries]


def kept(path: Path, **asked: str) -> list[SetEntry]:
    with open_log(path) as log:
        return sets_of(log, **asked)


def test_a_set_comes_back_as_it_was_entered_in_order_of_time(path: Path) -> None:
    put(path, entry(5), entry(1))
    assert kept(path) == [entry(1), entry(5)]


def test_the_same_clip_is_never_entered_twice(path: Path) -> None:
    put(path, entry(1))
    again = entry(1, clean=2)
    assert put(path, again) == [entry(1)]
    assert kept(path) == [again]


def test_a_set_judged_again_with_its_second_view_replaces_the_one_of_one_view(path: Path) -> None:
    front = entry(2).clips[0]
    put(path, entry(1))
    both = entry(1, clips=(*entry(1).clips, front))
    assert put(path, both) == [entry(1)]
    assert kept(path) == [both]


def test_sets_are_found_by_person_day_and_variation(path: Path) -> None:
    put(path, entry(1), entry(9), entry(5, person="ben"), entry(12, variation="wall"))
    assert kept(path, person="ANA") == [entry(1), entry(9), entry(12, variation="wall")]
    assert kept(path, since=entry(9).recorded_at, person="ana", variation="floor") == [entry(9)]


def test_one_person_in_capitals_is_the_same_person(path: Path) -> None:
    put(path, entry(1, person="Ána"), entry(2, person="ÁNA"))
    assert {one.person for one in kept(path)} == {"Ána"}


def put_and_fail(path: Path, one: SetEntry) -> None:
    with open_log(path, write=True) as log, changing(log, path):
        put_set(log, one)
        raise RuntimeError


def test_what_fails_half_way_leaves_nothing(path: Path) -> None:
    put(path, entry(1))
    with pytest.raises(RuntimeError):
        put_and_fail(path, entry(2))
    assert kept(path) == [entry(1)]


def test_the_sets_of_a_folder_go_and_those_beside_it_stay(path: Path) -> None:
    put(path, entry(1, folder="/a/b"), entry(2, folder="/a/b/c"), entry(3, folder="/a/bc"))
    with open_log(path, write=True) as log, changing(log, path):
        assert drop_folders(log, "/a/b") == 2
    assert [one.folder for one in kept(path)] == ["/a/bc"]


def test_a_person_comes_back_with_all_that_was_told(path: Path) -> None:
    told = PersonRecord(
        "ben", "male", 1.80, 0.33, 0.27, (("2026-01-05", 82.0), ("2026-03-01", 80.5)),
        CheckedHold(0.05, 0.01, "hold.mp4", "2026-03-01"),
    )  # fmt: skip
    with open_log(path, write=True) as log:
        with changing(log, path):
            put_person(log, told)
        assert people(log) == [told]
        assert find_person(log, "BEN") == told
        with pytest.raises(PersonError, match="there are ben"):
            find_person(log, "carla")


def test_no_log_is_made_by_looking_at_one(path: Path) -> None:
    with pytest.raises(LogError, match="there is no log yet"), open_log(path):
        pass
    assert not path.exists()


@pytest.mark.parametrize("junk", [b"a text file, not a database\n" * 40, b"\0" * 4096])
def test_a_file_that_is_no_database_is_refused_and_kept(path: Path, junk: bytes) -> None:
    path.parent.mkdir()
    path.write_bytes(junk)
    with pytest.raises(LogError), open_log(path, write=True):
        pass
    assert path.read_bytes() == junk


def test_another_programs_database_is_refused_and_kept(path: Path) -> None:
    path.parent.mkdir()
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE shopping (item TEXT)")
    before = path.read_bytes()
    with pytest.raises(LogError, match="no training log"), open_log(path, write=True):
        pass
    assert path.read_bytes() == before


def test_a_log_of_a_newer_formcheck_is_refused(path: Path) -> None:
    put(path, entry(1))
    with sqlite3.connect(path) as log:
        log.execute("PRAGMA user_version = 99")
    with pytest.raises(LogError, match="newer formcheck"), open_log(path):
        pass


def damage(path: Path) -> None:
    with open_log(path, write=True) as log:
        log.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = bytearray(path.read_bytes())
    for at in range(4096, len(whole), 512):
        whole[at : at + 64] = b"\xa5" * 64
    path.write_bytes(bytes(whole))


def test_damage_is_noticed_on_opening_and_the_last_good_copy_kept(path: Path) -> None:
    put(path, *(entry(float(n)) for n in range(50)))
    with open_log(path, write=True) as log:
        keep_copy(log, path)
    copy = last_good_copy(path).read_bytes()
    damage(path)
    for write in (False, True):
        with (
            pytest.raises(LogDamagedError, match="formcheck log restore"),
            open_log(path, write=write),
        ):
            pass
    assert last_good_copy(path).read_bytes() == copy
    damaged = path.read_bytes()
    aside = restore(path)
    assert aside is not None and aside.read_bytes() == damaged
    assert len(kept(path)) == 50


def test_damage_without_a_copy_says_how_to_make_the_log_again(path: Path) -> None:
    put(path, *(entry(float(n)) for n in range(50)))
    damage(path)
    last_good_copy(path).unlink()
    with pytest.raises(LogDamagedError, match="formcheck log rebuild"), open_log(path):
        pass
    with pytest.raises(LogError, match="no copy"):
        restore(path)


def test_writing_again_later_renews_the_copy_first(path: Path) -> None:
    put(path, entry(1))
    old = time.time() - 3600
    os.utime(last_good_copy(path), (old, old))
    put(path, entry(2))
    with open_log(last_good_copy(path)) as log:
        assert sets_of(log) == [entry(1)]


def test_an_erased_person_is_in_neither_the_log_nor_its_copy(path: Path) -> None:
    put(path, entry(1, person="Benedetta", variation="floor, rings"), entry(2))
    with open_log(path, write=True) as log:
        keep_copy(log, path)
        erase_person(log, path, "Benedetta")
    assert kept(path) == [entry(2)]
    for file in path.parent.iterdir():
        assert b"Benedetta" not in file.read_bytes()
        assert b"rings" not in file.read_bytes()


_WRITER = """
import sys
from pathlib import Path
from formcheck.log.store import changing, open_log, put_set
from tests.log.made_up import entry
path, who = Path(sys.argv[1]), sys.argv[2]
for n in range(10_000):
    with open_log(path, write=True) as log, changing(log, path):
        put_set(log, entry(n / 100, person=who))
    print(n, flush=True)
"""


def _writer(path: Path, who: str, said: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", _WRITER, str(path), who],
        stdout=said.open("wb"), stderr=subprocess.PIPE, cwd=ROOT,
    )  # fmt: skip


def test_every_set_said_to_be_entered_is_there_after_kill_at_twenty_moments(path: Path) -> None:
    draw = random.Random(7)
    for moment in range(20):
        names = [f"ana{moment}", f"ben{moment}"]
        said = [path.parent / f"{name}.said" for name in names]
        path.parent.mkdir(exist_ok=True)
        writers = [_writer(path, name, file) for name, file in zip(names, said, strict=True)]
        limit = time.monotonic() + 30
        while not all(file.read_bytes().count(b"\n") > 1 for file in said):
            assert time.monotonic() < limit, "no set was entered in half a minute"
            time.sleep(0.005)
        time.sleep(draw.uniform(0.0, 0.1))
        for writer in writers:
            writer.send_signal(signal.SIGKILL)
        for writer in writers:
            writer.communicate()
        for name, file in zip(names, said, strict=True):
            # Whole lines only: the last may have been cut by the kill.
            told = {int(line) for line in file.read_bytes().split(b"\n")[:-1]}
            there = {one.clips[0].key for one in kept(path, person=name)}
            assert told <= {n for n in range(10_000) if f"clip of {name} {n / 100}" in there}
            assert len(told) > 1


def test_two_programs_that_write_at_once_lose_nothing(path: Path) -> None:
    path.parent.mkdir()
    counted = _WRITER.replace("range(10_000)", "range(40)")
    writers = [
        subprocess.Popen([sys.executable, "-c", counted, str(path), who],
                         stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT)
        for who in ("ana", "ben", "carla")
    ]  # fmt: skip
    for writer in writers:
        _, trouble = writer.communicate(timeout=120)
        assert writer.returncode == 0, trouble.decode()
    assert len(kept(path)) == 120
