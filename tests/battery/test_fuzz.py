"""Seconds of what ``fuzz.py`` does for minutes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.battery.fuzz import READERS, Change, fuzz_files, fuzz_sets, whole


@pytest.mark.parametrize(
    ("kind", "mutants"),
    [("clip", 100), ("track", 70), ("limits", 90), ("roster", 60), ("labels", 60)],
)
def test_a_bent_file_is_read_or_refused_in_a_sentence(kind: str, mutants: int) -> None:
    fuzz_files(kind, mutants)


@pytest.mark.parametrize("kind", ["limits", "roster", "labels"])
def test_what_is_bent_was_good_before(kind: str, tmp_path: Path) -> None:
    for n, (suffix, data) in enumerate(whole(kind)):
        (tmp_path / f"{n}{suffix}").write_bytes(data)
        assert READERS[kind](tmp_path / f"{n}{suffix}")


def test_a_bent_body_is_judged_or_refused_in_a_sentence() -> None:
    fuzz_sets(25)


def test_a_reader_that_lets_an_error_through_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def careless(path: object) -> None:
        raise KeyError(path)

    monkeypatch.setitem(READERS, "limits", careless)
    with pytest.raises(KeyError):
        fuzz_files("limits", 3)


def test_changes_change_what_they_say() -> None:
    data = bytes(range(100))
    for kind, length in (("remove", 90), ("double", 110), ("cut off", 50), ("zero", 100)):
        assert len(Change(kind, 0.5, 10, b"").to(data)) == length
    flipped = np.frombuffer(Change("flip", 0.5, 3, b"").to(data), np.uint8) ^ np.arange(
        100, dtype=np.uint8
    )
    assert np.flatnonzero(flipped).tolist() == [50] and flipped[50] == 1 << 3
    assert whole("clip")[0][0] == ".mp4"
