"""What the terminal shows of a judged set: the answer first, then what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rich.console import Console
from rich.table import Table

from formcheck.advice.step import NextStep
from formcheck.analysis import Analysis, RepResult
from formcheck.faults.catalogue import fault_kinds
from formcheck.measures.values import rep_values
from formcheck.plain import plain
from formcheck.report.advice_words import caution_words, variation_words, why_words
from formcheck.report.answer import answer_line, fix_line, reps_with
from formcheck.report.set_words import set_facts, unjudged
from formcheck.report.words import (
    ATTEMPTS,
    DIRECTIONS,
    VERDICTS,
    disagreement_text,
    in_force_text,
    judged_name,
    plus_minus,
    variation_text,
    with_unit,
)
from formcheck.reps.find import rep_list

_PIPED_WIDTH, _COLUMN_WIDTH = 200, 10  # characters


def print_summary(analysis: Analysis, folder: Path) -> None:
    """Print to standard output; plain text when piped."""
    # File names are text: no markup in them is obeyed, no escape in them reaches the terminal.
    console = Console(highlight=False, soft_wrap=True, markup=False)
    if not console.is_terminal:
        console.width = _PIPED_WIDTH
    for view in analysis.looks:
        side = f", {view.view.near_side} side near" if view.view.near_side else ""
        kind = f"{view.view.kind} view{side}, " if view.track.frames_with_pose else ""
        console.print(
            f"{plain(view.track.source_name)}: {kind}{view.track.duration_s:.1f} s",
            style="dim",
        )
    console.print(answer_line(analysis), style="bold")
    if line := fix_line(analysis):
        console.print(line)
    if not analysis.empty and (done := variation_text(analysis.variation)):
        angle = analysis.variation.inclination_deg
        inclined = plus_minus(angle.value, angle.plus_minus, "deg")
        at = f", body inclined {inclined}" if angle.known else ""
        console.print(f"Variation: {done}{at}")
    if held_to := in_force_text(analysis.limits, analysis.prescription.standard):
        console.print(f"Limits: {held_to}")
    for name, text in () if analysis.empty else set_facts(analysis):
        console.print(f"{name}: {text}")
    if analysis.reps:
        _print_reps(console, analysis)
    _print_faults(console, analysis)
    for reason, keys in () if analysis.empty else unjudged(analysis):
        names = ", ".join(dict.fromkeys(judged_name(key).lower() for key in keys))
        console.print(f"Not judged: {names}: {reason}")
    for note in (
        *map(disagreement_text, analysis.variation.disagreements),
        *analysis.notes,
        *(n for view in analysis.looks for n in view.track.notes),
    ):
        console.print(f"Note: {plain(note)}")
    if not analysis.empty:
        _print_step(console, analysis.next_step)
    console.print(f"Report: {plain(str(folder / 'report.html'))}")


def _print_step(console: Console, step: NextStep) -> None:
    which = "" if step.pain else f"{DIRECTIONS[step.direction].lower()}: "
    said = f"Next set: {which}{variation_words(step)}"
    console.print(said, style="bold")
    for text in (*why_words(step), *caution_words(step)):
        console.print(f"  {text}")


def _print_reps(console: Console, analysis: Analysis) -> None:
    """A line a rep, its verdict at the end; on a narrow terminal the verdicts below."""
    said = {result.rep.index: _said(result) for result in analysis.reps}
    table = _reps(analysis, said)
    if natural_width(console, table) <= console.width:
        console.print(table)
        return
    console.print(_reps(analysis))
    for text in dict.fromkeys(said.values()):
        reps = [index for index, one in said.items() if one == text]
        console.print(f"{rep_list(reps).capitalize()}: {text}")


def natural_width(console: Console, table: Table) -> int:
    """How many characters a table wants, however narrow the terminal is."""
    return console.measure(table, options=console.options.update(max_width=_PIPED_WIDTH)).maximum


def _reps(analysis: Analysis, said: Mapping[int, str] | None = None) -> Table:
    """``said`` of a rep at its end; without it as narrow as the longest words."""
    rows = [_cells(result) for result in analysis.reps]
    table = Table(box=None, pad_edge=False, header_style="dim")
    table.add_column("rep", justify="right")
    shown = [value.label.lower() for value in rep_values().values() if value.terminal]
    for label, cells in zip(shown, zip(*rows, strict=True), strict=True):
        longest = max(map(len, (*label.split(), *cells)))
        width = longest if said is None else _COLUMN_WIDTH
        table.add_column(label, justify="right", max_width=width)
    if said is not None:
        table.add_column("")
    for result, row in zip(analysis.reps, rows, strict=True):
        last = [] if said is None else [said[result.rep.index]]
        table.add_row(str(result.rep.index), *row, *last)
    return table


def _cells(result: RepResult) -> list[str]:
    cells = []
    for value in rep_values().values():
        if value.terminal:
            quantity = result.values.get(value.key)
            measured = quantity.value if quantity else getattr(result.rep, value.key, None)
            cells.append(with_unit(measured, value.unit))
    return cells


def _said(result: RepResult) -> str:
    faults = [fault_kinds()[f.key].name.lower() for f in result.faults if f.verdict == "fault"]
    counted = [] if result.attempt == "counted" else [ATTEMPTS[result.attempt]]
    if result.attempt == "not_counted" and not faults:
        counted = [f"{ATTEMPTS[result.attempt]}: {result.why_not_counted}"]
    if counted or faults:
        return ", ".join(dict.fromkeys(counted + faults))
    near = [fault_kinds()[f.key].judged.lower() for f in result.faults]
    return f"unclear: {', '.join(dict.fromkeys(near))}" if near else "clean"


def _print_faults(console: Console, analysis: Analysis) -> None:
    for verdict, heading in VERDICTS.items():
        keys = dict.fromkeys(fault.key for fault in analysis.faults if fault.verdict == verdict)
        for key in keys:
            name = fault_kinds()[key].name.lower()
            console.print(
                f"{heading.capitalize()}: {name} ({rep_list(reps_with(analysis, key, verdict))})"
            )
