from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np

from formcheck.analysis import Analysis, rejudge
from formcheck.asked.person import Person
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.hold import HoldVerdict
from formcheck.report.page.page import page_html
from formcheck.report.write import write_report
from tests.report.conftest import Written, hold, nobody

HOSTILE = '"><img src=x onerror="document.title=1">\'&\u202e4pm.exe\u2066.mp4'


class Tags(HTMLParser):
    """Counts the elements of a page and collects its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.attributes: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data: str) -> None:
        self.text += data


def named(analysis: Analysis, name: str) -> Analysis:
    view = analysis.looks[0]
    track = replace(view.track, source_name=name, notes=(name,))
    measured = replace(analysis.measured, looks=(replace(view, track=track),), notes=(name,))
    return replace(analysis, measured=measured)


def test_the_answer_stands_at_the_top(sagging: Analysis) -> None:
    page = page_html(sagging, None, "annotated.mp4")
    head = re.search(r"<h1>(.*?)</h1>", page)
    assert head is not None
    assert head[1].startswith(f"{sagging.summary.counted} of 6 counted, ")
    assert "Fix first: hips sag, reps " in page


def test_hostile_names_and_notes_are_text(sagging: Analysis) -> None:
    tags = Tags(page_html(named(sagging, HOSTILE), None, "annotated.mp4", note=HOSTILE))
    assert "img" not in tags.names and "onerror" not in tags.attributes
    assert '<img src=x onerror="document.title=1">' in tags.text
    assert tags.names.count("script") == 2


def test_signs_that_turn_the_text_are_written_out(sagging: Analysis) -> None:
    page = page_html(named(sagging, HOSTILE), None, "annotated.mp4", note=HOSTILE)
    assert "\u202e" not in page and "\u2066" not in page
    assert "⟨U+202E⟩4pm.exe⟨U+2066⟩.mp4" in page


def test_nothing_on_the_page_points_outside(written: Written) -> None:
    page = (written.folder / "report.html").read_text(encoding="utf-8")
    outside = set(re.findall(r'(?:src|href|url\(|action)=?["\']?((?:https?:)?//[^"\') ]+)', page))
    assert outside == set()
    assert "default-src 'none'" in page


def test_the_page_weighs_less_than_a_megabyte_and_a_half(written: Written) -> None:
    assert (written.folder / "report.html").stat().st_size < 1_500_000


def test_a_long_set_full_of_faults_keeps_to_the_weight(written: Written) -> None:
    from formcheck.report.video.stills import Annotated

    rng = np.random.default_rng(0)
    noisy = rng.integers(0, 255, (300, 480, 3), dtype=np.uint8)
    many = tuple(
        replace(
            result,
            rep=replace(result.rep, index=6 * turn + result.rep.index),
            faults=tuple(replace(f, rep=6 * turn + f.rep) for f in result.faults),
        )
        for turn in range(7)
        for result in written.analysis.reps
    )
    faults = tuple(fault for result in many for fault in result.faults)
    clip = Annotated({(f.rep, f.key): noisy for f in faults}, noisy, 640, 492)
    page = page_html(replace(written.analysis, reps=many, faults=faults), clip, "annotated.mp4")
    timed = sum(fault_kinds()[fault.key].phase is not None for fault in faults)
    assert len(faults) > 80 and page.count("<img ") == len(faults) - timed
    assert page.count('class="bars"') == timed > 0, "a time is drawn, not photographed"
    assert len(page.encode()) < 1_500_000


def test_without_a_clip_there_is_a_page_without_video(sagging: Analysis, tmp_path: Path) -> None:
    write_report(sagging, [None], tmp_path)
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "<video" not in page and "without its clip" in page
    assert not (tmp_path / "annotated.mp4").exists()


def test_a_clip_without_a_rep_gives_a_page_that_says_so(tmp_path: Path) -> None:
    write_report(nobody(), [None], tmp_path)
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Nobody seen in this clip" in page
    assert (tmp_path / "report.json").exists() and (tmp_path / "reps.csv").exists()


def test_a_hold_is_told_as_a_hold_and_not_as_a_missing_set(tmp_path: Path) -> None:
    write_report(hold(12.0), [None], tmp_path)
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Support hold, 12 s" in page and "Body line while held" in page
    assert "Nothing to count" not in page and "hold at the top of the push-up" in page


def test_a_hold_shows_its_line_and_the_moment_it_was_lost() -> None:
    held = hold(20.0)
    lost = replace(held, hold_verdict=HoldVerdict(broke_at_s=12.0))
    assert 'class="chart wide"' in page_html(held, None, "annotated.mp4")
    page = page_html(lost, None, "annotated.mp4")
    assert "Where the line was lost" in page and "After 12 s" in page
    assert "Where the line was lost" not in page_html(held, None, "annotated.mp4")


def test_with_pain_the_page_gives_no_drill_and_nothing_to_fix_first(sagging: Analysis) -> None:
    drill = fault_kinds()["hip_sag"].remedy(late=True)
    assert drill and drill in page_html(sagging, None, "annotated.mp4")
    asked = replace(sagging.prescription, pain="back")
    page = page_html(rejudge(sagging, sagging.limits, asked), None, "annotated.mp4")
    assert drill not in page and "Fix first" not in page
    assert "Pain in the back was reported: rest comes first" in page
    assert "Rest the back; see a professional" in page


def test_a_fault_of_time_says_what_was_asked_and_what_is_allowed(sagging: Analysis) -> None:
    # A quarter less than the 3 s asked (faults/limits.toml).
    page = page_html(sagging, None, "annotated.mp4")
    assert "Lowering; 3 s asked, at least 2.25 s allowed" in page


def test_what_is_too_close_to_call_is_not_accused(sagging: Analysis) -> None:
    near = tuple(
        replace(r, faults=tuple(replace(f, verdict="borderline") for f in r.faults))
        for r in sagging.reps
    )
    faults = tuple(f for r in near for f in r.faults)
    page = page_html(replace(sagging, reps=near, faults=faults), None, "annotated.mp4")
    assert "Hips sag?" in page and "too close to call" in page
    assert fault_kinds()["hip_sag"].what not in page


def test_what_was_not_judged_comes_with_how_to_film_it(sagging: Analysis) -> None:
    page = page_html(sagging, None, "annotated.mp4")
    part = page[page.index("Not judged") :]
    assert "Hand spacing" in part and "film from the front" in part


def test_advice_comes_with_its_cautions(sagging: Analysis) -> None:
    text = Tags(page_html(sagging, None, "annotated.mp4")).text
    assert "Stop on pain" in text and "qualified professional" in text


def test_the_load_is_in_kilograms_once_the_body_mass_is_known(sagging: Analysis) -> None:
    load = sagging.summary.load_fraction
    person = Person(body_mass_kg=80.0)
    heavy = replace(sagging, measured=replace(sagging.measured, person=person))
    text = Tags(page_html(heavy, None, "annotated.mp4")).text.replace("\u00a0", " ")
    share = f"{100 * load.value:.0f} % ± {100 * load.plus_minus:.0f} % of body mass"
    assert f"{share}, {80.0 * load.value:.0f} ± {80.0 * load.plus_minus:.0f} kg" in text
    assert not re.search(r"\d\skg", Tags(page_html(sagging, None, "annotated.mp4")).text)
