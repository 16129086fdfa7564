"""How a batch goes: a bar with the time left on a terminal, plain lines when piped."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.table import Table

from formcheck.batch.records import Result
from formcheck.batch.run import BatchOutcome
from formcheck.batch.run import Progress as BatchProgress
from formcheck.plain import plain


class BatchScreen:
    """Says each result as it comes, and at the end what could not be judged and where all is."""

    def __init__(self, out: Path) -> None:
        self._out = out
        # File names are text: no markup in them is obeyed, no escape reaches the terminal.
        self._console = Console(highlight=False, soft_wrap=True, markup=False)
        self._bar = Progress(
            TextColumn("Judging sets"),
            BarColumn(),
            TextColumn("{task.fields[sets]}"),
            TimeElapsedColumn(),
            TextColumn("left", style="dim"),
            TimeRemainingColumn(),
            console=self._console,
            transient=True,
            disable=not self._console.is_terminal,
        )
        self._task = self._bar.add_task("", total=None, sets="")

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.stop()

    def show(self, progress: BatchProgress) -> None:
        """A round begins or a set is done."""
        if not progress.results and progress.done:
            known = "1 set is" if progress.done == 1 else f"{progress.done} sets are"
            self._console.print(f"{known} judged already")
        for result in progress.results:
            self._console.print(f"[{progress.done}/{progress.of}] {_line(result)}")
        self._bar.update(
            self._task,
            completed=progress.done_s,
            total=max(progress.of_s, 0.001),
            sets=f"{progress.done} of {progress.of}",
        )

    def close_round(self, outcome: BatchOutcome) -> None:
        """Everything there is has been judged."""
        print_outcome(self._console, outcome, self._out)


def _line(result: Result) -> str:
    if result.status == "judged":
        return f"{plain(result.name)}: {result.answer}"
    what = "no set found" if result.status == "empty" else "not judged"
    return f"{plain(result.name)}: {what}"


def print_outcome(console: Console, outcome: BatchOutcome, out: Path) -> None:
    """What failed and what to do, who is missing, and where the summary is."""
    results = outcome.results
    if bad := [result for result in results if result.status != "judged"]:
        table = Table(box=None, pad_edge=False, header_style="dim", expand=False)
        table.add_column("not judged", overflow="fold")
        table.add_column("why, and what to do", overflow="fold")
        for result in bad:
            empty = "no set found: " if result.status == "empty" else ""
            table.add_row(plain(result.name), empty + plain(result.reason))
        console.print(table)
    for one in outcome.standings:
        if one.record.note:
            console.print(f"Note: {plain(one.plan.name)}: {plain(one.record.note)}")
    if failed := outcome.failed_before:
        which = "1 set" if failed == 1 else f"{failed} sets"
        console.print(f"{which} failed in an earlier run: --again-failed tries again")
    if outcome.absent:
        console.print(f"No clip from {plain(', '.join(outcome.absent))}")
    for name in outcome.left:
        console.print(f"Left as it is, its clips have gone: {plain(name)}")
    good = sum(result.status == "judged" for result in results)
    console.print(f"{good} of {len(results)} sets judged", style="bold")
    console.print(f"Summary: {out / 'summary.html'}")
