from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.analysis import Analysis
from formcheck.cli.summary import print_summary
from formcheck.faults.catalogue import fault_kinds
from tests.report.conftest import hold, judged, nobody


def said(analysis: Analysis, capsys: pytest.CaptureFixture[str]) -> str:
    print_summary(analysis, Path("there"))
    return capsys.readouterr().out


def test_a_rep_that_did_not_count_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    analysis = judged("soft_lockout_side")
    doubtful = [
        result
        for result in analysis.reps
        if result.attempt == "not_counted" and all(f.verdict != "fault" for f in result.faults)
    ]
    assert doubtful
    text = said(analysis, capsys)
    assert text.count("not counted: probably soft lockout") == len(doubtful)


def test_what_was_done_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    # The exact joints have the body inclined by 38.5 degrees.
    text = said(judged("incline_side"), capsys)
    told = re.search(r"Variation: on the toes, hands raised, body inclined (\d+)°", text)
    assert told and int(told[1]) == pytest.approx(38.5, abs=2.0)


@pytest.mark.parametrize("name", ["[/].mp4", "[red]x.mp4", "a\x1b[2Jb.mp4", "a\u202eb.mp4"])
def test_a_file_name_is_text(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    analysis = judged("clean_side")
    view = replace(analysis.looks[0], track=replace(analysis.looks[0].track, source_name=name))
    measured = replace(analysis.measured, looks=(view,))
    text = said(replace(analysis, measured=measured), capsys)
    assert text.startswith(name[:4]) or "⟨U+" in text
    assert "\x1b" not in text and "\u202e" not in text


def test_no_advice_and_no_view_where_nobody_is_seen(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(nobody(), capsys)
    assert "Nobody seen" in text and "Film the whole set" in text
    assert "Next" not in text and "view" not in text and "Not judged" not in text


def test_a_hold_comes_with_its_step_and_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(hold(12.0), capsys)
    assert "Support hold, 12 s" in text and "hold at the top" in text and "Stop on pain" in text


@pytest.mark.parametrize("columns", [60, 80])
def test_a_narrow_terminal_cuts_no_word(
    columns: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", str(columns))
    analysis = judged("partial_side", tempo="2-1-X-1")
    text = re.sub(r"\x1b\[[0-9;]*m", "", said(analysis, capsys))
    assert "…" not in text
    table = text[text.index("rep ") : text.index("\nRep")].splitlines()
    assert max(map(len, table)) <= columns
    verdicts = [line for line in text.splitlines() if re.match(r"Reps? \d", line)]
    for fault in analysis.faults:
        if fault.verdict == "fault":
            name = fault_kinds()[fault.key].name.lower()
            assert any(name in line for line in verdicts)
