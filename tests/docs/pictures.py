"""Take the pictures of the README and the documents anew, from what the tool makes today.

    python -m tests.docs.pictures          # the two that are shown
    python -m tests.docs.pictures LOOK     # the demo's page in every width and light, to look at

It needs Debian's chromium.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from formcheck.cli.demo import sample_clip
from formcheck.job import SetJob, judge_set

SHOWN = Path(__file__).parents[2] / "formcheck/docs/static"
WIDTHS = (390, 820, 1440)
FAULTY_S = 20.2  # in the sample clip: the bottom of its last rep


def report_at_its_fault(browser: Browser, page: Path, out: Path) -> None:
    """The report, with its clip where the hips sag most."""
    tab = browser.new_page(viewport={"width": 1100, "height": 1330})
    tab.goto(page.absolute().as_uri())
    tab.wait_for_selector("html[data-ready]", state="attached")
    tab.evaluate(
        """async at => { const clip = document.getElementById("clip");
        clip.currentTime = at; await new Promise(done => clip.onseeked = done); }""",
        FAULTY_S,
    )
    tab.wait_for_timeout(500)
    small(tab, out)


def desk_at_the_report(browser: Browser, reports: Path, out: Path) -> None:
    """The desk, showing a set that was judged on it."""
    with TemporaryDirectory() as folder:
        desk = subprocess.Popen(
            [sys.executable, "-m", "typer", "formcheck.cli", "run", "desk", "--no-open", "--port",
             "0", "--folder", folder],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert desk.stdout is not None
        address = desk.stdout.readline().split()[-1]
        tab = browser.new_page(viewport={"width": 1360, "height": 1000})
        tab.goto(address)
        tab.wait_for_selector("html[data-ready]", state="attached")
        tab.set_input_files("input[type=file]", str(reports))
        tab.get_by_role("button", name=re.compile("judge", re.IGNORECASE)).first.click()
        tab.wait_for_selector("iframe", timeout=300_000)
        tab.wait_for_timeout(2000)
        small(tab, out)
        desk.terminate()
        desk.wait()


def small(tab: Page, out: Path) -> None:
    tab.screenshot(path=out)
    tab.close()
    Image.open(out).convert("RGB").quantize(128, dither=Image.Dither.NONE).save(out, optimize=True)


def every_look(browser: Browser, page: Path, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    for scheme in ("light", "dark"):
        for width in WIDTHS:
            tab = browser.new_page(
                viewport={"width": width, "height": 900},
                color_scheme=scheme,
            )
            tab.goto(page.absolute().as_uri())
            tab.wait_for_timeout(500)
            tab.screenshot(path=out / f"{page.stem}_{scheme}_{width}.png", full_page=True)
            if (scheme, width) == ("light", WIDTHS[-1]):
                tab.pdf(path=out / f"{page.stem}.pdf", format="A4")
            tab.close()


def main() -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        judge_set(SetJob((sample_clip(),), Path(folder) / "report", processes=2))
        page = Path(folder) / "report" / "report.html"
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        if len(sys.argv) > 1:
            every_look(browser, page, Path(sys.argv[1]))
        else:
            report_at_its_fault(browser, page, SHOWN / "report.png")
            desk_at_the_report(browser, sample_clip(), SHOWN / "desk.png")
        browser.close()


if __name__ == "__main__":
    main()
