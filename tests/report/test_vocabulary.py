"""A fault, a phase and a value have one name: on page, clip, terminal, in advice and documents."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.advice.decide import SetRecord
from formcheck.advice.step import next_step
from formcheck.analysis import Analysis
from formcheck.asked.prescription import Prescription
from formcheck.cli.summary import print_summary
from formcheck.faults.catalogue import FaultKind, fault_kinds
from formcheck.faults.rules import Fault
from formcheck.measures.values import rep_values
from formcheck.report.advice_words import why_words
from formcheck.report.page.page import page_html
from formcheck.report.video.canvas import Canvas
from formcheck.report.video.overlay import paint_call
from formcheck.report.words import phase_name
from tests.report.conftest import ROOT, judged
from tests.report.video.test_canvas import blank

KINDS = list(fault_kinds().values())
# Other names the same things had, or might be given by someone who did not look.
OTHER_NAMES = (
    "not deep enough", "not locked out", "elbows not straight", "broken off", "hips sagged",
    "hips high", "pike detected", "elbows wide", "head dropped", "pause cut",
    "lowered too quickly", "looks a second", "map of the house",
)  # fmt: skip
WRITTEN = [
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "tests/truth/latest/README.md")),
    *(ROOT / "formcheck").rglob("*.py"),
    *(ROOT / "formcheck").rglob("*.toml"),
    *(ROOT / "formcheck").rglob("*.j2"),
]


def accused_of(kind: FaultKind) -> Analysis:
    """A set whose second rep has this fault alone."""
    analysis = judged("hip_sag_side")
    fault = Fault(
        2, kind.key, analysis.reps[1].rep.bottom_s, 50.0, 1.0, 40.0, "deg", "fault", "side"
    )
    reps = tuple(
        replace(result, faults=(fault,) if result.rep.index == 2 else ())
        for result in analysis.reps
    )
    record = SetRecord([True, False, True, True, True, True], 6, (fault,), ())
    step = next_step(record, analysis.variation, Prescription())
    return replace(analysis, reps=reps, faults=(fault,), next_step=step)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_page_terminal_and_advice_call_a_fault_by_its_name(
    kind: FaultKind, capsys: pytest.CaptureFixture[str]
) -> None:
    analysis = accused_of(kind)
    page = page_html(analysis, None, "annotated.mp4")
    (heading,) = re.findall(r"<h3>(.*?) <span>rep 2", page)
    (in_table,) = re.findall(r'<td data-sort="1">.*?title="(.*?)"', page)
    (of_mark,) = re.findall(r'aria-label="Rep 2, [^"]*?\. ([^.,"]+), 50°', page)
    assert heading == in_table == of_mark == kind.name
    to_fix = kind.key != "failed"  # which is said in the answer, and is no thing to work on
    assert (f"Fix first: {kind.name.lower()}, rep 2" in page) == to_fix
    print_summary(analysis, Path("there"))
    terminal = capsys.readouterr().out
    assert (f"Fix first: {kind.name.lower()} (rep 2)" in terminal) == to_fix
    assert f"Fault: {kind.name.lower()} (rep 2)" in terminal
    said = [
        f"{kind.name.lower()} (rep 2)",
        f"Rep 2 was the first to break down: {kind.name.lower()}.",
    ]
    if not to_fix:
        said = ["Rep 2 failed"]
    assert any(words in why for why in why_words(analysis.next_step) for words in said)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_the_clip_calls_a_fault_by_its_name(
    kind: FaultKind, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts: list[str] = []
    monkeypatch.setattr(Canvas, "letter", lambda self, text, *_, **__: texts.append(text))
    paint_call(blank(360, 200), accused_of(kind).faults, 1.0, above=False)
    assert texts[0] == kind.name


def test_the_phases_are_called_alike_everywhere(capsys: pytest.CaptureFixture[str]) -> None:
    analysis = judged("hip_sag_side")
    page = page_html(analysis, None, "annotated.mp4")
    print_summary(analysis, Path("there"))
    terminal = " ".join(capsys.readouterr().out.split())
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for key in ("eccentric", "bottom_pause", "concentric", "top_pause"):
        name = phase_name(key)
        assert rep_values()[f"{key}_s"].label == name
        assert f"</i>{name}</span>" in page  # the key to the marks
        assert f"<button>{name}<br>" in page  # the table
        assert all(word in terminal for word in name.lower().split())
        assert name.lower() in readme and f"| {name}, from the side |" in readme


def lines_with_another_name() -> Iterator[str]:
    for path in WRITTEN:
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            for name in OTHER_NAMES:
                if re.search(rf"\b{name}\b", line.lower()):
                    yield f"{path.relative_to(ROOT)}:{number}: {name}"


def test_nothing_that_is_written_uses_another_name() -> None:
    assert list(lines_with_another_name()) == []
