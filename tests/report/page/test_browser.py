"""The page in a real browser: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from formcheck.clip.read import probe
from formcheck.clip.small import Drawn
from formcheck.report.write import write_report
from tests.report.conftest import CLIPS, Written, judged

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed"),
]

HOSTILE = '"><img src=x onerror="document.title=1">\'\u202egpj.mp4'
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


class Opened:
    """A page with everything it asked for and complained of."""

    def __init__(self, browser: Browser, html: Path, width: int = 1280) -> None:
        self.page = browser.new_page(viewport={"width": width, "height": 800})
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.goto(html.as_uri())
        self.page.wait_for_selector("html[data-ready]", state="attached")


@pytest.fixture
def opened(browser: Browser, written: Written) -> Iterator[Opened]:
    opened = Opened(browser, written.folder / "report.html")
    yield opened
    opened.page.close()


def clip_time(page: Page) -> float:
    return float(page.evaluate("document.getElementById('clip').currentTime"))


def wait_for_time(page: Page, t_s: float, within_s: float = 0.05) -> None:
    page.wait_for_function(
        "([t, d]) => { const c = document.getElementById('clip');"
        " return !c.seeking && c.readyState >= 2 && Math.abs(c.currentTime - t) <= d; }",
        arg=[t_s, within_s],
        timeout=10_000,
    )


def test_the_page_is_ready_within_two_seconds(browser: Browser, written: Written) -> None:
    taken_s = []
    for _ in range(3):  # the best of three: other tests take the machine's time beside this one
        began = time.monotonic()
        opened = Opened(browser, written.folder / "report.html")
        taken_s.append(time.monotonic() - began)
        opened.page.close()
    assert min(taken_s) < 2.0


def test_the_annotated_clip_really_plays(opened: Opened) -> None:
    opened.page.get_by_role("button", name="Play", exact=True).click()
    opened.page.wait_for_function("() => document.getElementById('clip').currentTime > 0.2")
    opened.page.get_by_role("button", name="Pause", exact=True).click()
    assert opened.page.evaluate("document.getElementById('clip').videoWidth") == 640


def test_clicking_a_rep_takes_the_clip_there(opened: Opened, written: Written) -> None:
    assert clip_time(opened.page) == 0
    opened.page.get_by_role("button", name="Rep 4, ").first.click()
    wait_for_time(opened.page, written.analysis.reps[3].rep.start_s)


def test_clicking_a_fault_takes_the_clip_to_just_before_it(
    opened: Opened, written: Written
) -> None:
    fault = next(f for f in written.analysis.faults if f.key == "hip_sag")
    opened.page.get_by_role("img", name=re.compile(f"Rep {fault.rep} at .*hips sag")).click()
    wait_for_time(opened.page, fault.at_s - 0.4)


def test_clicking_a_point_on_a_curve_takes_the_clip_there(opened: Opened, written: Written) -> None:
    svg = opened.page.locator(".chart.wide svg").first
    box = svg.bounding_box()
    assert box is not None
    place = opened.page.evaluate(
        "JSON.parse(document.getElementById('moving').textContent).charts.wide"
    )
    bottom_s = written.analysis.reps[2].rep.bottom_s
    units = float(svg.evaluate("svg => svg.viewBox.baseVal.width"))
    share = (bottom_s - place["t0"]) / (place["t1"] - place["t0"])
    x = (place["x0"] + share * (place["x1"] - place["x0"])) / units * box["width"]
    svg.click(position={"x": x, "y": box["height"] / 4})
    wait_for_time(opened.page, bottom_s, within_s=0.1)


def test_the_moment_moves_on_the_curves_while_the_clip_plays(opened: Opened) -> None:
    cursor = opened.page.locator(".chart.wide .cursor")
    opened.page.get_by_role("button", name="Rep 1, ").first.click()
    wait_for_time(opened.page, clip_time(opened.page))
    before = float(cursor.get_attribute("x1") or 0)
    opened.page.get_by_role("button", name="Play", exact=True).click()
    opened.page.wait_for_function(
        "x => Number(document.querySelector('.chart.wide .cursor').getAttribute('x1')) > x + 5",
        arg=before,
    )


def test_the_time_strip_works_from_the_keyboard(opened: Opened, written: Written) -> None:
    strip = opened.page.get_by_role("slider", name="Time in the clip")
    strip.focus()
    strip.press("PageDown")
    wait_for_time(opened.page, written.analysis.reps[0].rep.start_s)
    strip.press("PageDown")
    wait_for_time(opened.page, written.analysis.reps[1].rep.start_s)
    expect(strip).to_have_attribute("aria-valuetext", re.compile(r"^\d+\.\d s, rep 2, lowering$"))
    strip.press("Home")
    wait_for_time(opened.page, 0.0)


def test_two_reps_are_shown_at_the_same_moment_of_each(opened: Opened, written: Written) -> None:
    box = opened.page.locator("#compare")
    box.locator('[data-pick="a"]').select_option("1")
    box.locator('[data-pick="b"]').select_option("3")
    through = box.get_by_role("slider")
    through.fill("0")
    for place, rep in (("a", 0), ("b", 2)):
        video = box.locator(f'video[data-side="{place}"]')
        start_s = written.analysis.reps[rep].rep.start_s
        assert video.evaluate("v => v.currentTime") == pytest.approx(start_s, abs=0.05)
    for curve in ("a", "b"):
        path = box.locator(f'[data-row="elbow_deg"] path.{curve}').get_attribute("d") or ""
        assert path.startswith("M") and path.count("L") > 20
    expect(box.locator('[data-read="elbow_deg"]')).to_have_text(re.compile(r"^\d+° and \d+°$"))


def test_the_table_sorts_by_number_both_ways(opened: Opened) -> None:
    heading = opened.page.get_by_role("columnheader", name="Body line")
    column = opened.page.locator("#reps tbody tr")

    def values() -> list[float]:
        place = heading.evaluate("th => [...th.parentElement.children].indexOf(th)")
        return [
            float(row.locator("td").nth(place).get_attribute("data-sort") or "nan")
            for row in column.all()
        ]

    heading.get_by_role("button").click()
    assert values() == sorted(values())
    expect(heading).to_have_attribute("aria-sort", "ascending")
    heading.get_by_role("button").press("Enter")
    assert values() == sorted(values(), reverse=True)
    expect(heading).to_have_attribute("aria-sort", "descending")


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_nothing_overflows_sideways(browser: Browser, written: Written, width: int) -> None:
    opened = Opened(browser, written.folder / "report.html", width)
    assert opened.page.evaluate("document.documentElement.scrollWidth") == width
    beyond = opened.page.evaluate(
        """width => [...document.querySelectorAll('main *, header *, footer *')]
            .filter(e => !e.closest('.scroll, svg, .unseen'))
            .filter(e => e.getBoundingClientRect().right > width + 0.5)
            .map(e => e.outerHTML.slice(0, 80))""",
        width,
    )
    opened.page.close()
    assert beyond == []


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_strip_of_reps_reaches_from_edge_to_edge(
    browser: Browser, written: Written, width: int
) -> None:
    opened = Opened(browser, written.folder / "report.html", width)
    strip = opened.page.locator(".marks").bounding_box()
    marks = [mark.bounding_box() for mark in opened.page.locator(".marks .mark").all()]
    assert strip is not None and marks[0] is not None and marks[-1] is not None
    assert marks[0]["x"] == pytest.approx(strip["x"], abs=1)
    assert marks[-1]["x"] + marks[-1]["width"] == pytest.approx(strip["x"] + strip["width"], abs=1)
    opened.page.close()


def test_a_long_set_fits_a_phone_too(browser: Browser, tmp_path: Path) -> None:
    short = judged("too_fast_side", tempo="2-1-X-1")
    write_report(short, [None], tmp_path)
    opened = Opened(browser, tmp_path / "report.html", 360)
    assert opened.page.evaluate("document.documentElement.scrollWidth") == 360
    assert opened.complaints == []
    opened.page.close()


def test_the_page_asks_for_its_clip_and_nothing_else(opened: Opened, written: Written) -> None:
    opened.page.get_by_role("button", name="Rep 2, ").first.click()
    wait_for_time(opened.page, written.analysis.reps[1].rep.start_s)
    asked = {url for url in opened.requests if not url.startswith("data:")}
    folder = written.folder.as_uri()
    assert asked == {f"{folder}/report.html", f"{folder}/annotated.mp4"}


def test_the_browser_has_nothing_to_complain_of(opened: Opened, written: Written) -> None:
    opened.page.get_by_role("button", name="Rep 3, ").first.click()
    wait_for_time(opened.page, written.analysis.reps[2].rep.start_s)
    assert opened.complaints == []


def test_a_script_in_a_note_does_not_run_and_is_shown(opened: Opened) -> None:
    assert opened.page.title().startswith("6 of 6 counted")
    expect(opened.page.locator("header")).to_contain_text("document.title='note ran'")


def test_the_page_may_not_reach_the_network_even_if_told_to(opened: Opened) -> None:
    blocked = opened.page.evaluate(
        """async () => {
            const seen = [];
            const note = e => seen.push(e.effectiveDirective);
            document.addEventListener('securitypolicyviolation', note);
            await fetch('https://example.org/').catch(() => {});
            const image = new Image();
            image.src = 'https://example.org/x.png';
            await new Promise(done => setTimeout(done, 200));
            return seen.sort();
        }"""
    )
    assert blocked == ["connect-src", "img-src"]


def test_a_hostile_file_name_shows_as_text(browser: Browser, tmp_path: Path) -> None:
    analysis = judged("hip_sag_side")
    view = analysis.looks[0]
    track = replace(view.track, source_name=HOSTILE)
    measured = replace(analysis.measured, looks=(replace(view, track=track),))
    write_report(replace(analysis, measured=measured), [None], tmp_path)
    opened = Opened(browser, tmp_path / "report.html")
    shown = opened.page.locator("header bdi").first
    expect(shown).to_have_text(HOSTILE.replace("\u202e", "⟨U+202E⟩"))
    assert opened.page.locator("img").count() == 0
    assert opened.page.title() != "1"
    assert opened.complaints == []
    opened.page.close()


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "dark")])
def test_axe_finds_nothing_serious(
    browser: Browser, written: Written, width: int, scheme: Literal["light", "dark"]
) -> None:
    # The page's own policy forbids foreign scripts; the checker is let in past it.
    page = browser.new_page(
        viewport={"width": width, "height": 800}, bypass_csp=True, color_scheme=scheme
    )
    page.goto((written.folder / "report.html").as_uri())
    page.wait_for_selector("html[data-ready]", state="attached")
    found = Axe().run(page).response["violations"]
    page.close()
    serious = [
        (violation["id"], violation["nodes"][0]["html"][:120])
        for violation in found
        if violation["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_a_pair_of_views_plays_as_one_clip(browser: Browser, tmp_path: Path) -> None:
    pair = judged("flared_pair_side", "flared_pair_front")
    write_report(
        pair, [Drawn(probe(CLIPS / view.track.source_name)) for view in pair.looks], tmp_path
    )
    opened = Opened(browser, tmp_path / "report.html", 360)
    opened.page.get_by_role("button", name="Rep 5, ").first.click()
    wait_for_time(opened.page, pair.reps[4].rep.start_s)
    assert opened.page.evaluate("document.documentElement.scrollWidth") == 360
    opened.page.close()
