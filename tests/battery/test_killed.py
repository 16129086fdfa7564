"""Killed at any moment, with a rival, on a full disk or where nothing may be written: nothing that
was there is lost or half there. Seconds of what ``kills.py`` does for many moments."""

from __future__ import annotations

import random
import zlib
from pathlib import Path

import pytest

from tests.battery.kills import WRITERS, Place, check_whole

pytestmark = pytest.mark.slow


# One that writes a report, one a log, one that removes both; the others are for the benchmark.
@pytest.mark.parametrize("name", ["set --overwrite", "log import", "person erase"])
def test_whatever_befalls_a_command_that_writes_all_stays_whole(name: str, tmp_path: Path) -> None:
    place = Place(WRITERS[name], tmp_path)
    place.killed(place.moment(random.Random(zlib.crc32(name.encode())), at_write=True))
    place.two_at_once()
    place.full_disk(5000)
    place.read_only()


def test_a_file_written_by_half_is_found(tmp_path: Path) -> None:
    place = Place(WRITERS["log page"], tmp_path)
    (place.here / "ana.html").write_text("<html>half a pa")
    with pytest.raises(AssertionError):
        check_whole(place.here, place.before, place.after)
