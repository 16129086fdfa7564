"""What one process holds, another cannot; and importing asks nothing of a platform."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from formcheck.locks import PARTIAL, hold, made_beside, open_folder

# What Python lacks on other platforms, as its documents list it.
ABROAD = """
import multiprocessing.connection, os, platformdirs, psutil, subprocess, sys  # need them themselves
for name in ("fcntl", "resource", "termios", "pwd", "grp"):
    sys.modules[name] = None
for name in ("O_NONBLOCK", "O_CLOEXEC", "sched_getaffinity", "getuid", "fork"):
    if hasattr(os, name):
        delattr(os, name)
import signal
for name in ("SIGHUP", "SIGALRM", "SIGKILL"):
    delattr(signal, name)
"""


def test_a_file_is_held_by_one_until_it_is_closed(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    with path.open("a") as mine, path.open("a") as other:
        assert hold(mine.fileno())
        assert hold(other.fileno()) is False
        mine.close()
        assert hold(other.fileno())


@pytest.mark.skipif(sys.platform == "win32", reason="Windows holds no folders")
def test_a_folder_is_held_too(tmp_path: Path) -> None:
    mine, other = open_folder(tmp_path), open_folder(tmp_path)
    assert mine is not None and other is not None
    try:
        assert hold(mine)
        assert hold(other) is False
    finally:
        os.close(mine)
        os.close(other)


def test_what_windows_lacks_is_not_needed_to_import_and_to_analyse() -> None:
    """Without POSIX's own modules; locks are left out, whose other half needs Windows itself."""
    code = f"""{ABROAD}
import types
sys.modules["formcheck.locks"] = types.SimpleNamespace(
    hold=lambda file, wait=False: None, open_folder=lambda folder: None,
    made_beside=None, PARTIAL=".partial")
import formcheck, formcheck.cli, formcheck.job, formcheck.batch.run, formcheck.desk.work
import formcheck.apart.process, formcheck.batch.processes, formcheck.desk.folder
from formcheck.judged import judge
print(len(judge("tests/data/hip_sag_side.parquet").analysis.reps))
print(formcheck.batch.processes.fitting_workers() >= 1)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False,
        cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert done.stdout.split() == ["6", "True"], done.stderr


def test_a_file_takes_its_place_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("before")
    with pytest.raises(TypeError), made_beside(path) as partial:
        partial.write_text(b"half")  # type: ignore[arg-type]
    assert path.read_text() == "before"
    with made_beside(path) as partial:
        partial.write_text("after")
        assert path.read_text() == "before"
    assert path.read_text() == "after"
    assert [one.name for one in tmp_path.iterdir()] == ["a.csv"]


def test_the_name_of_what_is_made_beside_has_whole_signs(tmp_path: Path) -> None:
    for name in ("a" + "é" * 120, "⟨" * 80, "𝄞" * 60, os.fsdecode(b"n\xff")):
        with made_beside(tmp_path / name) as partial:
            assert partial.name.startswith(f".{name[:20]}") and len(os.fsencode(partial.name)) < 130
            if "\udcff" not in name:
                partial.name.encode()  # or raises
        assert [path.name for path in tmp_path.iterdir()] == [name]
        (tmp_path / name).unlink()


def test_what_a_killed_process_left_beside_goes_and_what_another_writes_stays(
    tmp_path: Path,
) -> None:
    path, left = tmp_path / "a.csv", tmp_path / f".a.csv.1234{PARTIAL}"
    other = tmp_path / f".b.csv.1234{PARTIAL}"
    left.touch()
    other.touch()
    with made_beside(path) as mine, made_beside(path) as rival:
        assert mine.exists() and rival.exists() and not left.exists() and other.exists()
    assert path.exists()


def test_a_file_for_its_owner_only_is_never_readable_by_others(tmp_path: Path) -> None:
    with made_beside(tmp_path / "key", mode=0o600) as partial:
        assert partial.stat().st_mode & 0o077 == 0
    assert (tmp_path / "key").stat().st_mode & 0o077 == 0
