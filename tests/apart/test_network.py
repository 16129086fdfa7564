"""Nothing leaves the machine: the processes that decode and find the pose have no network."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from formcheck.apart.process import work_apart
from tests.clip.clips import make_clip

PLACES = ((socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1"), (socket.AF_UNIX, "none"))


def sockets_opened(_: None, tell: Callable[[None], None]) -> list[str]:
    """What kinds of socket this process, a thread of it and a child of it can open."""
    opened: list[str] = []

    def attempt(who: str) -> None:
        for family, _ in PLACES:
            with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM):
                opened.append(f"{who} {family.name}")

    attempt("process")
    thread = threading.Thread(target=attempt, args=["thread"])
    thread.start()
    thread.join()
    code = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM)"
    if subprocess.run([sys.executable, "-c", code], stderr=subprocess.DEVNULL).returncode == 0:
        opened.append("child")
    return opened


def test_work_apart_can_open_no_socket_whatever_its_kind() -> None:
    assert "process AF_INET" in sockets_opened(None, lambda nothing: None)  # here it can
    assert work_apart(sockets_opened, [None]) == [[]]


def proxies(_: None, tell: Callable[[None], None]) -> dict[str, str]:
    return {name.lower(): at for name, at in os.environ.items() if name.lower().endswith("_proxy")}


def test_where_the_kernel_cannot_refuse_the_library_is_sent_to_a_proxy_that_is_not_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("NO_PROXY", "*")
    monkeypatch.setenv("https_proxy", "http://proxy.example:8080")
    assert work_apart(proxies, [None]) == [
        dict.fromkeys(("http_proxy", "https_proxy", "all_proxy"), "http://127.0.0.1:9")
    ]


CALL = re.compile(r"\b(socket\((?!AF_UNIX)|connect\(|sendto\(|sendmsg\().*= \d+$")


def network_calls(code: str, trace: Path) -> list[str]:
    """The system calls of this Python code and its children that did use a network."""
    strace = ["strace", "-f", "-qq", "-e", "trace=network", "-o", str(trace)]
    subprocess.run([*strace, sys.executable, "-c", code], check=True, capture_output=True)
    return [line for line in trace.read_text().splitlines() if CALL.search(line)]


@pytest.fixture
def traceable(tmp_path: Path) -> None:
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed: apt-get install strace")
    tried = subprocess.run(["strace", "-o", tmp_path / "tried", "true"], capture_output=True)
    if tried.returncode:
        pytest.skip("this machine lets no process be traced")


@pytest.mark.usefixtures("traceable")
def test_finding_the_pose_uses_no_network(tmp_path: Path) -> None:
    out = "import socket; s = socket.socket(type=socket.SOCK_DGRAM); s.connect(('127.0.0.1', 9))"
    assert len(network_calls(out, tmp_path / "control")) == 2  # the trap sees what it should
    clip = make_clip(tmp_path / "a.mp4", [n / 30 for n in range(4)])
    find = (
        "from pathlib import Path; from formcheck.clip.read import probe_apart; "
        "from formcheck.pose.landmarker import find_pose; "
        f"find_pose(probe_apart(Path({str(clip)!r})))"
    )
    trace = tmp_path / "trace"
    assert network_calls(find, trace) == []
    # The library did try: were it not stopped, this test would see it.
    assert re.search(r"socket\(AF_INET.*EACCES", trace.read_text())
