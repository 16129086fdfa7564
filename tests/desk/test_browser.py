"""The desk in a real browser: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect, sync_playwright

from formcheck.desk.desk import Desk
from formcheck.desk.work import DeskJob, Seen, Step
from formcheck.pose.store import read_track
from formcheck.reps.early import early_set
from tests.desk.conftest import FRONT, SAG, SIDE, TRACKS, Client, Steps, judge_here, opened

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed"),
]
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


class Seat:
    """A browser at a desk, with everything it asked for and complained of."""

    def __init__(self, browser: Browser, desk: Desk, width: int = 1280, scheme: str = "light"):
        self.context: BrowserContext = browser.new_context(
            viewport={"width": width, "height": 844},
            color_scheme=scheme,  # type: ignore[arg-type]
        )
        self.page: Page = self.context.new_page()
        self.asked: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.home = f"http://127.0.0.1:{desk.door.port}"
        self.page.goto(desk.door.address("127.0.0.1"))
        self.page.wait_for_selector("html[data-ready]", state="attached")

    def go(self, path: str) -> None:
        self.page.goto(self.home + path)
        self.page.wait_for_selector("html[data-ready]", state="attached")


Sit = Callable[..., Seat]


@pytest.fixture
def sit(browser: Browser, shared: Desk) -> Iterator[Sit]:
    seats: list[Seat] = []

    def seated(desk: Desk | None = None, width: int = 1280, scheme: str = "light") -> Seat:
        seats.append(Seat(browser, desk or shared, width, scheme))
        return seats[-1]

    yield seated
    for seat in seats:
        seat.context.close()


@pytest.fixture(scope="module")
def judged(shared: Desk) -> str:
    """A set with a label and a remark, of somebody in the log; and a folder of one clip."""
    client = Client(shared)
    pike = TRACKS / "pike_side.parquet"
    clip = {"name": "eve/pike.parquet", "size": pike.stat().st_size, "changed": 0}
    given = client.post_json("/groups", {"name": "tuesday", "asked": {}, "clips": [clip]}).data
    client.put_whole(given["sets"][0]["id"], 1, pike)
    client.wait_for(given["sets"][0]["id"])
    set_id = client.judged(SAG, person="Ana", tempo="3-1-X-1")
    client.post(f"/sets/{set_id}/reps/2", counted="no", who="coach", remark="Slower down")
    return set_id


def report_of(page: Page) -> Page:
    frame = page.frame_locator("iframe[data-report]")
    expect(frame.locator("h1")).to_be_visible(timeout=60_000)
    return page


@pytest.mark.parametrize("height", [800, 844])
@pytest.mark.parametrize("width", [1280, 390])
def test_judge_is_in_sight_once_clips_are_chosen_wherever_the_page_is(
    sit: Sit, width: int, height: int
) -> None:
    seat = sit(width=width)
    seat.page.set_viewport_size({"width": width, "height": height})
    seat.page.set_input_files("#clips", [str(SIDE), str(FRONT)])
    judge = seat.page.get_by_role("button", name="Judge", exact=True)
    expect(judge).to_be_enabled()
    expect(judge).to_be_in_viewport(ratio=1.0)
    seat.page.get_by_label("Remark on the report").scroll_into_view_if_needed()
    expect(judge).to_be_in_viewport(ratio=1.0)


def test_two_dropped_clips_of_a_set_become_a_report(sit: Sit) -> None:
    seat = sit()
    files = {path.name: path.read_bytes().hex() for path in (SIDE, FRONT)}
    seat.page.evaluate(
        """(files) => {
          const moved = new DataTransfer();
          for (const [name, hex] of Object.entries(files)) {
            const bytes = new Uint8Array(hex.match(/../g).map((pair) => parseInt(pair, 16)));
            moved.items.add(new File([bytes], name));
          }
          const how = { dataTransfer: moved, bubbles: true, cancelable: true };
          document.getElementById("drop").dispatchEvent(new DragEvent("drop", how));
        }""",
        files,
    )
    expect(seat.page.get_by_label("one set, filmed from two sides")).to_be_checked()
    seat.page.get_by_label("Tempo").fill("2-1-X-1")
    seat.page.get_by_role("button", name="Judge").click()
    report_of(seat.page)
    assert re.search(r"/sets/\d{8}-\d{6}-[0-9a-f]{8}$", seat.page.url)
    expect(seat.page.locator("h1")).to_contain_text("counted")
    assert seat.complaints == []
    assert {url.split("/")[2] for url in seat.asked if not url.startswith("data:")} == {
        seat.home.removeprefix("http://")
    }


def test_a_folder_becomes_its_sets_and_their_summary(sit: Sit, tmp_path: Path) -> None:
    clips = tmp_path / "monday"
    (clips / "Dan").mkdir(parents=True)
    shutil.copy(SIDE, clips / "Dan" / "one_side.parquet")
    shutil.copy(FRONT, clips / "Dan" / "one_front.parquet")
    shutil.copy(TRACKS / "pike_side.parquet", clips / "pike.parquet")
    (clips / "notes.txt").write_text("not a clip")
    (clips / "roster.csv").write_text("clip,person\npike.parquet,Eve\n")
    seat = sit()
    seat.page.get_by_label("Choose a folder").set_input_files(clips)
    expect(seat.page.locator("#chosen li")).to_have_count(3)
    expect(seat.page.locator("#says")).to_contain_text("roster.csv says who did what")
    seat.page.get_by_role("button", name="Judge the folder").click()
    seat.page.wait_for_url("**/groups/*")
    expect(seat.page.locator("h1")).to_have_text("monday: 2 of 2 sets done", timeout=60_000)
    summary = seat.page.frame_locator("iframe[data-report]")
    expect(summary.locator("h1")).to_contain_text("2 sets of 2 people")
    summary.get_by_role("link", name="one", exact=True).last.click()
    report_of(seat.page)
    assert "/sets/" in seat.page.url
    assert seat.complaints == []


def test_everything_is_done_from_the_keyboard(sit: Sit) -> None:
    seat = sit()
    page = seat.page

    def tab_to(selector: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("s => document.activeElement.matches(s)", selector):
                return
        raise AssertionError(f"{selector} cannot be reached")

    tab_to("#clips")
    with page.expect_file_chooser(timeout=5000) as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files(SAG)
    tab_to("#tempo")
    page.keyboard.type("3-1-X-1")
    tab_to("#go")
    page.keyboard.press("Enter")
    report_of(page)
    tab_to("#rep-1 > summary")
    page.keyboard.press("Enter")
    tab_to("#rep-1 input[name=counted]")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    tab_to("#rep-1 input[name=who]")
    page.keyboard.type("coach")
    page.keyboard.press("Enter")
    expect(page.locator("#rep-1 summary")).to_contain_text("coach does not count it")
    assert seat.complaints == []


def test_a_remark_is_in_the_report_that_is_shown(sit: Sit, judged: str) -> None:
    seat = sit()
    seat.go(f"/sets/{judged}")
    frame = seat.page.frame_locator("iframe[data-report]")
    expect(frame.get_by_role("heading", name="Remarks")).to_be_visible()
    expect(frame.get_by_text("Slower down")).to_be_visible()


def test_what_was_asked_of_a_person_comes_back(sit: Sit, judged: str) -> None:
    seat = sit()
    seat.page.get_by_label("Who", exact=True).fill("ana")
    seat.page.get_by_label("Who", exact=True).press("Tab")
    expect(seat.page.get_by_label("Tempo")).to_have_value("3-1-X-1")


def test_a_lost_connection_costs_only_the_part_that_was_on_its_way(
    sit: Sit, monkeypatch: pytest.MonkeyPatch
) -> None:
    from formcheck.desk import changes

    monkeypatch.setattr(changes, "PART_BYTES", 10_000)
    seat = sit()
    lost: list[str] = []

    def lose(route: Route) -> None:
        if len(lost) in (1, 2):
            lost.append(route.request.headers["content-range"])
            route.abort("connectionreset")
        else:
            lost.append(route.request.headers["content-range"])
            route.continue_()

    seat.page.route(
        "**/clips/1",
        lambda route: lose(route) if route.request.method == "PUT" else route.continue_(),
    )
    seat.page.get_by_label("Choose clips").set_input_files(TRACKS / "wide_front.parquet")
    seat.page.get_by_role("button", name="Judge").click()
    report_of(seat.page)
    firsts = [int(one.split()[1].split("-")[0]) for one in lost]
    assert firsts[:4] == [0, 10_000, 10_000, 10_000] and firsts[4] == 20_000


def test_a_clip_that_is_none_is_refused_on_the_page(sit: Sit, tmp_path: Path) -> None:
    seat = sit()
    page = tmp_path / "clip.mp4"
    page.write_bytes(b"<html>" * 500)
    seat.page.get_by_label("Choose clips").set_input_files(page)
    seat.page.get_by_role("button", name="Judge").click()
    expect(seat.page.locator("#says")).to_contain_text("is no clip that can be read")


def test_nothing_runs_from_hostile_names_and_remarks(sit: Sit, shared: Desk) -> None:
    runs = 'document.title="ran"'
    hostile = f'"><script>{runs}</script><img src=//a.example/x onerror={runs}>'
    client = Client(shared)
    said = client.announce((hostile, 999), note=hostile, person="<img src=//a.example/y>")
    clip = {"name": f"{hostile}/{hostile}.mp4".replace("/x", "x"), "size": 9, "changed": 0}
    group = client.post_json("/groups", {"name": hostile, "asked": {}, "clips": [clip]})
    seat = sit()
    for path in (
        "/",
        "/sets",
        f"/sets/{said.data['id']}",
        f"/groups/{group.data['id']}",
        "/folders",
    ):
        seat.go(path)
        expect(seat.page.get_by_text("<script>document.title").first).to_be_visible()
        assert seat.page.title() != "ran"
    assert seat.complaints == []
    assert not [url for url in seat.asked if not url.startswith((seat.home, "data:"))]
    for one in shared.folder.all():
        if one.id == said.data["id"] or one.group == group.data["id"]:
            shared.folder.remove(one)


def test_progress_is_seen_and_judging_can_be_cancelled(browser: Browser, tmp_path: Path) -> None:
    free = threading.Event()
    early = early_set(read_track(SAG))

    def judge_slowly(asked: DeskJob) -> Steps:
        while not free.wait(0.05):
            yield Step("Finding the pose in it", 50, 100)
            yield Seen(0, early)
        return (yield from judge_here(asked))

    with opened(tmp_path, judge_slowly) as desk:
        seat = Seat(browser, desk)
        seat.page.get_by_label("Choose clips").set_input_files(SAG)
        seat.page.get_by_role("button", name="Judge").click()
        expect(seat.page.locator("[data-said]")).to_have_text("Finding the pose in it")
        expect(seat.page.locator("[data-left]")).to_contain_text("left")
        expect(seat.page.locator("progress")).to_have_attribute("value", "36")
        strip = seat.page.get_by_role("img", name="6 reps in the first")
        expect(strip.locator("rect.one")).to_have_count(6)
        expect(strip.locator("polyline")).not_to_have_count(0)
        seat.page.get_by_role("button", name="Cancel").click()
        expect(seat.page.locator("h1")).to_have_text("Cancelled")
        free.set()
        seat.page.get_by_role("button", name="Judge it again").click()
        report_of(seat.page)
        seat.context.close()


def test_another_browser_without_the_secret_sees_nothing(
    browser: Browser, shared: Desk, judged: str
) -> None:
    context = browser.new_context()
    page = context.new_page()
    for path in ("/", "/sets", f"/sets/{judged}", f"/sets/{judged}/report/report.html", "/phone"):
        answer = page.goto(f"http://127.0.0.1:{shared.door.port}{path}")
        assert answer is not None and answer.status == 403
        assert "formcheck desk" in answer.text() and "ana" not in answer.text().lower()
    context.close()


def pages(desk: Desk, judged: str) -> list[str]:
    group = desk.folder.groups()[-1].id
    return [
        "/", "/sets", f"/sets/{judged}?rep=1", "/people", "/people/Ana", "/folders",
        f"/groups/{group}", "/phone", "/not-there",
    ]  # fmt: skip


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_fault_of_access_is_found(sit: Sit, shared: Desk, judged: str, scheme: str) -> None:
    seat = sit(scheme=scheme)
    for path in pages(shared, judged):
        seat.go(path)
        found = Axe().run(seat.page)
        assert found.violations_count == 0, (path, found.generate_report())


@pytest.mark.parametrize("width", [320, PHONE["width"], 1280])
def test_nothing_is_wider_than_the_screen(sit: Sit, shared: Desk, judged: str, width: int) -> None:
    seat = sit(width=width)
    for path in pages(shared, judged):
        seat.go(path)
        assert seat.page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_a_phone_gets_the_code_to_scan(browser: Browser, tmp_path: Path) -> None:
    with opened(tmp_path, network=True) as desk:
        seat = Seat(browser, desk, PHONE["width"])
        seat.go("/phone")
        code = seat.page.get_by_role("img", name="Code of the address below")
        expect(code).to_be_visible()
        expect(seat.page.get_by_text(desk.addresses[0])).to_be_visible()
        box = code.bounding_box()
        assert box is not None and box["width"] > 200
        seat.context.close()


def test_the_page_of_a_report_is_within_two_seconds_of_the_report(
    browser: Browser, tmp_path: Path
) -> None:
    """What the desk adds to the job itself: sending, queueing, showing. The best of three, since
    the machine may be busy with something else."""
    took: list[float] = []

    def judge_timed(asked: DeskJob) -> Steps:
        began = time.monotonic()
        found = yield from judge_here(asked)
        took.append(time.monotonic() - began)
        return found

    added: list[float] = []
    with opened(tmp_path, judge_timed) as desk:
        seat = Seat(browser, desk)
        while not added or (min(added) >= 2.0 and len(added) < 3):
            seat.go("/")
            seat.page.get_by_label("Choose clips").set_input_files([SIDE, FRONT])
            began = time.monotonic()
            seat.page.get_by_role("button", name="Judge").click()
            report_of(seat.page)
            added.append(time.monotonic() - began - took[-1])
        seat.context.close()
    assert min(added) < 2.0
