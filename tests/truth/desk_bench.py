"""The time from “Judge” to the report on the desk's page, beside that of ``formcheck set``.

    python -m tests.truth.desk_bench [CLIP [CLIP]] [--rounds 3] [--out tests/truth/latest]

Both start from nothing (no pose is known from before) with the same clips, turn about; the page is
driven in Debian's Chromium. The bar is the time of ``formcheck set`` plus 2 s. With --out the
figures are written to ``desk.csv`` there.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

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


def of_command(clips: list[Path], scratch: Path) -> float:
    environment = {**os.environ, "XDG_CACHE_HOME": str(scratch / "cache")}
    command = [sys.executable, "-c", SET, "set", *map(str, clips), "--out", str(scratch / "report")]
    began = time.perf_counter()
    subprocess.run(command, check=True, env=environment, stdout=subprocess.DEVNULL,
                   stderr=subprocess.DEVNULL)  # fmt: skip
    return time.perf_counter() - began


def of_desk(clips: list[Path], scratch: Path) -> float:
    environment = {**os.environ, "XDG_CACHE_HOME": str(scratch / "cache")}
    chromium = shutil.which("chromium") or "/usr/bin/chromium"
    with subprocess.Popen([sys.executable, "-c", DESK, str(scratch)], env=environment,
                          stdout=subprocess.PIPE, text=True) as process:  # fmt: skip
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
    return took_s


def bench(clips: list[Path], rounds: int) -> Figures:
    set_s: list[float] = []
    desk_s: list[float] = []
    for _ in range(rounds):
        for measure, into in ((of_command, set_s), (of_desk, desk_s)):
            with tempfile.TemporaryDirectory() as folder:
                into.append(measure(clips, Path(folder)))
        print(f"set {set_s[-1]:.1f} s, desk {desk_s[-1]:.1f} s", flush=True)
    of = " + ".join(f"{clip.name} ({probe(clip).duration_s:.1f} s)" for clip in clips)
    more = [desk - alone for desk, alone in zip(desk_s, set_s, strict=True)]
    return {
        of: f"set {median(set_s):.1f} s, desk {median(desk_s):.1f} s; desk over set: median "
            f"{median(more):+.1f} s, of {rounds}, load {os.getloadavg()[0]:.1f}",
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clips", type=Path, nargs="*",
                        default=[ROOT / "sample_clips" / "hip_sag_side.mp4"])  # fmt: skip
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--out", type=Path, help="folder of the figures")
    asked = parser.parse_args()
    told = bench(asked.clips, asked.rounds)
    for figure, value in told.items():
        print(f"{figure}: {value}")
    if asked.out is not None:
        keep("one set" if len(asked.clips) == 1 else "pair", told, asked.out, "desk.csv")


if __name__ == "__main__":
    main()
