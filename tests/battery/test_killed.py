"""Killed at any moment, with a rival, on a full disk or where nothing may be written: nothing that
was there is lost or half there. Seconds of what ``kills.py`` does for many moments."""

from __future__ import annotations

import random
import zlib
from pathlib import Path

import pytest

from tests.battery.kills import WRITERS, Place, Trouble, check_whole

pytestmark = pytest.mark.slow

# Those that write most, and those that write least; the others are for the benchmark.
IN_THE_SUITE = ("set --overwrite", "log import", "person set", "person erase", "log page")


@pytest.fixture(scope="module", params=IN_THE_SUITE)
def place(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Place:
    return Place(WRITERS[request.param], tmp_path_factory.mktemp("place"))


def test_killed_between_two_writes_it_leaves_all_whole_and_the_next_run_puts_it_right(
    place: Place,
) -> None:
    words = " ".join(place.writer.words)
    chance = random.Random(zlib.crc32(words.encode()))
    place.killed(place.moment(chance, at_write=True))


def test_of_two_at_once_neither_spoils_the_other(place: Place) -> None:
    place.two_at_once()


def test_without_room_or_rights_all_stays_as_it_was(place: Place) -> None:
    place.full_disk(5000)
    place.read_only()


def test_a_command_that_writes_by_half_is_found(tmp_path: Path) -> None:
    place = Place(WRITERS["log page"], tmp_path)
    (place.here / "ana.html").write_text("<html>half a pa")
    with pytest.raises(AssertionError):
        check_whole(place.here, place.before, place.after)


def test_a_run_that_is_killed_does_not_end_by_itself(tmp_path: Path) -> None:
    place = Place(WRITERS["log page"], tmp_path)
    assert place.run(Trouble(at_write=0)).code == -9
