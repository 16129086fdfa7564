"""A fault and a value that formcheck does not ship are measured, judged, shown and advised on."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from formcheck.analysis import Analysis
from formcheck.cli.summary import print_summary
from formcheck.clip.read import probe
from formcheck.clip.small import Drawn
from formcheck.faults.catalogue import FaultKind, add_fault, drop_fault
from formcheck.faults.limits import Limit
from formcheck.maths.quantity import Quantity
from formcheck.measures.depth import elbow_bottom, elbow_top
from formcheck.measures.values import RepValue, add_value, drop_value
from formcheck.report.advice_words import why_words
from formcheck.report.contract import check
from formcheck.report.schema import schema
from formcheck.report.video.canvas import Canvas
from formcheck.report.write import write_report
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from tests.report.conftest import CLIPS, judged

KEY, MEASURE = "little_travel", "elbow_travel_deg"
FAULT = FaultKind(
    key=KEY,
    name="Little travel",
    judged="Travel",
    measure=MEASURE,
    side="below",
    at="bottom",
    part="arm",
    weighs="range",
    cost=3,
    too_heavy=True,
    what="The elbows hardly moved.",
    why="Made up for a test.",
    cue="Move them further.",
    drill="Practise moving them.",
    sign="M1 23L23 1M1 1L23 23",
)


def elbow_travel(look: Look, rep: Rep) -> Quantity:
    """Elbow angle at the top less that at the bottom (deg)."""
    top, bottom = elbow_top(look, rep), elbow_bottom(look, rep)
    return Quantity(top.value - bottom.value, 5.0, view=look.view.kind)


@pytest.fixture
def strict() -> Iterator[Analysis]:
    """A set held to a fault from outside that every rep has."""
    about = "what the elbows travel from bottom to top"
    add_value(RepValue(MEASURE, "Elbow travel", "deg", about, page="always", measure=elbow_travel))
    add_fault(FAULT, Limit(170.0, "deg", "travel, at least", "for a test", "made up"))
    yield judged("hip_sag_side")
    drop_fault(KEY)
    drop_value(MEASURE)


@pytest.fixture
def lettered(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Everything that is written into pictures."""
    texts: list[str] = []
    letter = Canvas.letter

    def note(self: Canvas, text: str, *where: object, **how: object) -> None:
        texts.append(text)
        letter(self, text, *where, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(Canvas, "letter", note)
    return texts


def test_it_is_seen_in_report_table_page_and_clip(
    strict: Analysis, lettered: list[str], tmp_path: Path
) -> None:
    write_report(strict, [Drawn(probe(CLIPS / "hip_sag_side.mp4"))], tmp_path)
    report = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))
    check(report)
    assert [rep[MEASURE] is not None for rep in report["reps"]] == [True] * 6
    assert all(KEY in rep["faults"] for rep in report["reps"])
    table = pd.read_csv(tmp_path / "reps.csv")
    assert table[MEASURE].between(60, 120).all()
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    for words in (FAULT.name, FAULT.what, FAULT.cue, FAULT.drill, FAULT.sign, "Elbow travel"):
        assert words in page
    assert page.count('alt="Rep 1 at') >= 1
    assert FAULT.name in lettered


def test_the_advice_weighs_it(strict: Analysis) -> None:
    assert strict.next_step.direction == "easier"
    assert any("little travel (reps 1–6)" in why for why in why_words(strict.next_step))
    assert strict.summary.clean == 0 and strict.summary.first_breakdown_rep == 1


def test_the_terminal_names_it(strict: Analysis, capsys: pytest.CaptureFixture[str]) -> None:
    print_summary(strict, Path("there"))
    assert "Fix first: little travel (reps 1–6)" in capsys.readouterr().out


def described() -> bool:
    rep = schema()["properties"]["reps"]["items"]["properties"]
    return MEASURE in rep and KEY in rep["faults"]["items"]["enum"]


@pytest.mark.usefixtures("strict")
def test_the_schema_knows_it_while_it_is_there() -> None:
    assert described()


def test_the_schema_does_not_know_what_nobody_added() -> None:
    assert not described()
