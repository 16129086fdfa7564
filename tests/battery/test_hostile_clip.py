"""A clip that is hostile in all it says, and in what it is called: drawn, shown and put in tables,
nothing of it runs, and what it says of itself is in no output."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

import av
import pytest
from openpyxl import load_workbook
from playwright.sync_api import sync_playwright
from typer.testing import CliRunner, Result

from formcheck.cli import app

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.slow

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "hip_sag_side.mp4"
LASTS_S = 12.0  # as much of the sample as holds some reps
RUNS = "<img src=x onerror=\"document.title='ran'\"><script>document.title='ran'<\\script>"
NAME = f"=1+1 {RUNS}\x1b[2J\u202e\udcff.mp4"  # a byte that is no text at its end
FOLDER = '=HYPERLINK("http:a.example","x")'
PERSON = "=1+1<img src=x onerror=document.title='ran'>"  # in the log
REMARK = f"@SUM(1) {RUNS.replace(chr(92), '/')} {{{{ 7 * 7 }}}} ${{7 * 7}}\x1b]0;ran\x07\u202e"
MARK = "Zq7xW"  # in all that the clip says of itself
SAYS = {
    "title": f"=cmd|' /C calc'!A0 {MARK}",
    "comment": f"{RUNS} {MARK}",
    "artist": f"\x1b]0;{MARK}\x07\x1b[31m",
    "location": f"+59.3293+018.0686/{MARK}",
    "make": f"{{{{ 7 * 7 }}}} {MARK}",
}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def hostile_clip(path: Path) -> Path:
    """Some of the sample in a container that says ``SAYS``, of itself and of its pictures."""
    path.parent.mkdir(parents=True)
    with (
        av.open(str(SAMPLE)) as source,
        av.open(f"file:{path}", "w", "mp4", options={"movflags": "use_metadata_tags"}) as sink,
    ):
        sink.metadata.update(SAYS)
        stream = sink.add_stream_from_template(source.streams.video[0])
        stream.metadata["handler_name"] = f"-1+1 {RUNS} {MARK}"
        for packet in source.demux(video=0):
            if packet.dts is not None and packet.dts * packet.time_base < LASTS_S:
                packet.stream = stream
                sink.mux(packet)
    assert path.read_bytes().count(MARK.encode()) > len(SAYS)
    return path


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A place in which the clip was judged for itself (``set``) and in its folder (``sets``)."""
    place = tmp_path_factory.mktemp("hostile")
    with pytest.MonkeyPatch.context() as own:
        own.setenv("XDG_CACHE_HOME", str(place / "cache"))
        own.setenv("XDG_DATA_HOME", str(place / "data"))
        clip = hostile_clip(place / "clips" / FOLDER / NAME)
        roughly = ("--model", "full", "--pose-rate", 8, "--xlsx")
        for result in (
            formcheck("set", clip, "--out", place / "set", "--note", REMARK, *roughly,
                      "--person", PERSON, "--recorded", "2026-03-09"),
            formcheck("batch", place / "clips", "--out", place / "sets", "--no-drawing", *roughly),
            formcheck("log", "page", "--person", PERSON, "--out", place / "log.html"),
            formcheck("log", "export", place / "log.csv"),
        ):  # fmt: skip
            assert result.exit_code == 0, result.output
            assert not {"\x1b", "\x07", "\u202e"} & set(result.output)
            assert MARK not in result.output
        yield place


def formcheck(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(one) for one in arguments])


def test_the_drawn_clip_says_nothing_of_what_the_clip_said(run: Path) -> None:
    with av.open(str(run / "set" / "annotated.mp4")) as drawn:
        said = {**drawn.metadata, **drawn.streams[0].metadata}
    # What any file of this writer says of itself.
    assert set(said) <= {"major_brand", "minor_version", "compatible_brands", "encoder",
                         "language", "handler_name", "vendor_id", "creation_time"}  # fmt: skip
    assert not any(sign in value for value in said.values() for sign in "<>=\x1b")


def test_what_the_clip_says_of_itself_is_in_no_output(run: Path) -> None:
    files = [path for folder in ("set", "sets", "cache", "data") for path in _files(run / folder)]
    assert {"annotated.mp4", "report.html", "reps.xlsx", "landmarks.parquet", "summary.html"} <= {
        path.name for path in files
    }
    assert [path.name for path in files if MARK.encode() in path.read_bytes()] == []


@pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed")
@pytest.mark.parametrize("page", ["set/report.html", "sets/summary.html", "log.html"])
def test_nothing_of_it_runs_on_a_page(run: Path, page: str) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        opened = browser.new_page()
        asked: list[str] = []
        complaints: list[str] = []
        opened.on("request", lambda request: asked.append(request.url))
        opened.on("console", lambda message: complaints.append(message.text))
        opened.on("pageerror", lambda error: complaints.append(str(error)))
        opened.goto((run / page).as_uri(), wait_until="networkidle")
        text = opened.locator("body").inner_text()
        assert "<img src=x onerror=" in text  # shown, as text
        assert opened.title() != "ran" and opened.locator("img[src='x']").count() == 0
        assert complaints == []
        assert [url for url in asked if not url.startswith((run.as_uri(), "data:"))] == []
        browser.close()


def test_no_cell_of_a_table_is_a_formula(run: Path) -> None:
    tables = [path for path in _files(run) if path.suffix in (".csv", ".xlsx")]
    assert {path.name for path in tables} >= {
        "reps.csv", "reps.xlsx", "summary.csv", "summary.xlsx", "log.csv",
    }  # fmt: skip
    texts = [(path.name, text) for path in tables for text in _texts(path)]
    assert any("1+1" in text for _, text in texts) and any("HYPERLINK" in t for _, t in texts)
    assert [one for one in texts if one[1].startswith(FORMULA_STARTS)] == []


def _files(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def _texts(path: Path) -> Iterator[str]:
    """The cells that are no numbers; of a workbook also those that it holds to be formulas."""
    if path.suffix == ".csv":
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
    else:
        book = load_workbook(path)
        held = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
        assert all(cell.data_type != "f" for cell in held)
        cells = [cell.value for cell in held if isinstance(cell.value, str)]
    for cell in cells:
        try:
            float(cell)
        except ValueError:
            yield cell
