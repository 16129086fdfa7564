"""The page in a browser: no wider than a phone, on one printed sheet, without a fault of access."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from formcheck.log.page.page import page_html
from tests.log.page.test_page import page, weeks

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed"),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    file: Path = tmp_path_factory.mktemp("page") / "ana.html"
    file.write_text(page_html(page(weeks(40))), encoding="utf-8")
    return file.as_uri()


def opened(browser: Browser, address: str, width: int, scheme: str = "light") -> Page:
    shown = browser.new_page(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    shown.goto(address)
    return shown


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_nothing_is_wider_than_the_screen(browser: Browser, address: str, width: int) -> None:
    shown = opened(browser, address, width)
    assert shown.evaluate("document.documentElement.scrollWidth") <= width


def test_it_prints_on_one_sheet(browser: Browser, address: str) -> None:
    pdf = opened(browser, address, 1280).pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_fault_of_access_is_found(browser: Browser, address: str, scheme: str) -> None:
    shown = opened(browser, address, 1280, scheme)
    found = Axe().run(shown)
    assert found.violations_count == 0, found.generate_report()
