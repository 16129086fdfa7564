"""The time from “Judge” to the report on the desk's page, beside that of ``formcheck set``.

    python -m tests.truth.desk_bench [CLIP [CLIP]] [--rounds 3] [--cut 9] [--out tests/truth/latest]

Both start from nothing (no pose is known from before) with the same clips, turn about; the page is
driven in Debian's Chromium. --cut takes the first seconds of each clip only. The bar is the time of
``formcheck set`` plus 2 s, on a machine that does nothing else. With --out the figures are written
to ``desk.csv`` there.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

import av
from playwright.sync_api import expect, sync_playwright

from formcheck.clip.read import probe
from tests.truth.batch_bench import Figures, keep

ROOT = Path(__file__).parents[2]
SET = "from formcheck.cli import app\nif __name__ == '__main__': app()\n"
DESK = """
import sys
from pathlib import Path
from formcheck.desk.serve import DeskAsk, run_desk
run_desk(
    DeskAsk(Path(sys.argv[1]) / "desk", Path(sys.argv[1]) / "log.sqlite", port=0, browser=False),
    lambda desk: print(desk.door.address("127.0.0.1"), flush=True),
)
"""
LONGEST_S = 600.0


@dataclass(frozen=True)
class Took:
    """From “Judge”, or the start of the command, to the report; and CPU of all its processes, the
    browser's aside."""

    wall_s: float
    cpu_s: float


def of_command(clips: list[Path], scratch: Path) -> Took:
    environment = {**os.environ, "XDG_CACHE_HOME": str(scratch / "cache")}
    command = [sys.executable, "-c", SET, "set", *map(str, clips), "--out", str(scratch / "report")]
    began = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)  # fmt: skip
    cpu_s = _cpu_s(process)
    return Took(time.perf_counter() - began, cpu_s)


def of_desk(clips: list[Path], scratch: Path) -> Took:
    environment = {**os.environ, "XDG_CACHE_HOME": str(scratch / "cache")}
    chromium = shutil.which("chromium") or "/usr/bin/chromium"
    process = subprocess.Popen([sys.executable, "-c", DESK, str(scratch)], env=environment,
                               stdout=subprocess.PIPE, text=True)  # fmt: skip
    assert process.stdout is not None
    address = process.stdout.readline().strip()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page()
        page.goto(address)
        page.wait_for_selector("html[data-ready]", state="attached")
        page.get_by_label("Choose clips").set_input_files(clips)
        began = time.perf_counter()
        page.get_by_role("button", name="Judge").click()
        report = page.frame_locator("iframe[data-report]").locator("h1")
        expect(report).to_be_visible(timeout=1000 * LONGEST_S)
        took_s = time.perf_counter() - began
        browser.close()
    process.terminate()
    return Took(took_s, _cpu_s(process))


def _cpu_s(process: subprocess.Popen[Any]) -> float:
    """CPU time of a process and of those it waited for, to its end."""
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode in (0, -signal.SIGTERM), process.returncode
    return used.ru_utime + used.ru_stime


def cut(clip: Path, seconds: float, into: Path) -> Path:
    """The beginning of a clip, its pictures as they were encoded."""
    shorter = into / clip.name
    with av.open(str(clip)) as whole, av.open(str(shorter), "w") as part:
        stream = whole.streams.video[0]
        target = part.add_stream_from_template(stream)
        for packet in whole.demux(stream):
            if packet.dts is not None and packet.dts * packet.time_base < seconds:
                packet.stream = target
                part.mux(packet)
    return shorter


def bench(clips: list[Path], rounds: int) -> Figures:
    of_set: list[Took] = []
    of_page: list[Took] = []
    for _ in range(rounds):
        for measure, into in ((of_command, of_set), (of_desk, of_page)):
            with tempfile.TemporaryDirectory() as folder:
                into.append(measure(clips, Path(folder)))
        print(f"set {of_set[-1]}, desk {of_page[-1]}", flush=True)
    of = " + ".join(f"{clip.name} ({probe(clip).duration_s:.1f} s)" for clip in clips)
    pairs = list(zip(of_page, of_set, strict=True))
    more = median(page.wall_s - alone.wall_s for page, alone in pairs)
    more_cpu = median(page.cpu_s - alone.cpu_s for page, alone in pairs)
    return {
        of: f"set {median(one.wall_s for one in of_set):.1f} s, "
            f"desk {median(one.wall_s for one in of_page):.1f} s; desk over set: {more:+.1f} s, "
            f"{more_cpu:+.1f} s CPU, medians of {rounds}, load {os.getloadavg()[0]:.1f}",
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clips", type=Path, nargs="*",
                        default=[ROOT / "sample_clips" / "hip_sag_side.mp4"])  # fmt: skip
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--cut", type=float, metavar="SECONDS")
    parser.add_argument("--out", type=Path, help="folder of the figures")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        given = asked.clips
        if asked.cut is not None:
            given = [cut(clip, asked.cut, Path(folder)) for clip in given]
        told = bench(given, asked.rounds)
    for figure, value in told.items():
        print(f"{figure}: {value}")
    if asked.out is not None:
        keep("one set" if len(asked.clips) == 1 else "pair", told, asked.out, "desk.csv")


if __name__ == "__main__":
    main()
