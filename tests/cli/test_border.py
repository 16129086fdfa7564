"""The terminal: closed, full or of few signs, it never shows a traceback."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from formcheck.cli.border import OneSentence
from tests.battery.cases import GOOD_TRACK

RUN = [sys.executable, "-c", "from formcheck.cli import app; app()"]


def run(*arguments: str, shell: str = "{}", **environment: str) -> subprocess.CompletedProcess[str]:
    """The command within a shell line, where ``{}`` stands for it."""
    command = shell.format('"$@"')
    return subprocess.run(
        ["bash", "-o", "pipefail", "-c", command, "-", *RUN, *arguments],
        capture_output=True,
        text=True,
        errors="replace",
        env={**os.environ, **environment},
    )


@pytest.mark.parametrize("shell", ["{} | head -1", "{} | true", "{} >&-", "{} <&- >&- 2>&-"])
def test_a_closed_pipe_ends_quietly(shell: str) -> None:
    done = run("limits", shell=shell)
    assert done.returncode in (0, 1)
    assert done.stderr == ""


def at_a_terminal(*arguments: str, cwd: Path, **environment: str) -> str:
    """What the command says, errors included, to a terminal that bears all of ``environment``."""
    pty = pytest.importorskip("pty", reason="this system has no pseudo-terminals")
    ours, theirs = pty.openpty()
    usual = {n: v for n, v in os.environ.items() if n not in ("NO_COLOR", "FORCE_COLOR")}
    with subprocess.Popen(
        [*RUN, *arguments], stdin=theirs, stdout=theirs, stderr=theirs, cwd=cwd,
        env={**usual, **environment},
    ):  # fmt: skip
        os.close(theirs)
        said = b""
        with contextlib.suppress(OSError):  # where Linux says that the other end was closed
            while some := os.read(ours, 65536):
                said += some
        os.close(ours)
    return said.decode()


@pytest.mark.slow
def test_a_terminal_gets_the_signs_that_it_asks_for(tmp_path: Path) -> None:
    """NO_COLOR takes the colours away and nothing else (no-color.org: bold, underline and the like
    are no colour); a dumb terminal and a pipe get text alone."""
    judging = ("set", str(GOOD_TRACK), "--overwrite")
    colour = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])[;m]")
    usual = at_a_terminal(*judging, cwd=tmp_path, TERM="xterm-256color")
    assert "\x1b[1m" in usual and colour.search(usual)
    without = at_a_terminal(*judging, cwd=tmp_path, TERM="xterm-256color", NO_COLOR="1")
    assert "\x1b[1m" in without and not colour.search(without)
    dumb = at_a_terminal(*judging, cwd=tmp_path, TERM="dumb")
    assert "Report: " in dumb and "\x1b" not in dumb
    piped = run(*judging, "--out", str(tmp_path / "piped"), TERM="xterm-256color")
    assert "Report: " in piped.stdout and "\x1b" not in piped.stdout + piped.stderr


@pytest.mark.parametrize("arguments", [("limits",), ("--help",)])
def test_a_full_disk_behind_the_output_is_told_in_a_sentence(arguments: tuple[str, ...]) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    done = run(*arguments, shell="{} >/dev/full")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1 and "could not be written" in done.stderr


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_signs_an_encoding_lacks_fall_back_to_their_nearest(encoding: str) -> None:
    done = run("limits", "sets", PYTHONIOENCODING=encoding)
    assert done.returncode == 0 and done.stderr == ""
    refused = run("set", "“a” × ±1 – b.mp4", PYTHONIOENCODING="ascii")
    assert refused.returncode == 3
    assert refused.stderr.startswith('formcheck: "a" x +/-1 - b.mp4: there is no such file')


def test_a_name_with_an_escape_does_not_reach_the_terminal_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "a\x1b[2J.mp4").write_text("no clip")
    for arguments in (
        ["set", str(tmp_path / "a\x1b[2J.mp4")],
        ["limits", "check", "a", "\x1b[31m"],
    ):
        done = run(*arguments)
        assert done.returncode in (2, 3)
        assert "\x1b" not in done.stderr + done.stdout


@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGHUP])
def test_being_asked_to_end_leaves_no_half_written_folder(tmp_path: Path, by: int) -> None:
    sample = Path(__file__).parents[2] / "sample_clips" / "hip_sag_side.mp4"
    command = [*RUN, "set", str(sample), "--out", str(tmp_path / "report"), "--model", "full"]
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache")}
    running = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
    until = time.monotonic() + 20
    while not list(tmp_path.glob(".report.*")) and time.monotonic() < until:
        time.sleep(0.05)
    running.send_signal(by)
    _, said = running.communicate(timeout=20)
    assert running.returncode == 128 + by
    assert "Traceback" not in said
    assert not list(tmp_path.glob(".report.*")) and not (tmp_path / "report").exists()


def test_it_is_the_border_of_every_command() -> None:
    from formcheck.cli import app

    assert app.info.cls is not None and issubclass(app.info.cls, OneSentence)
