"""A bar with the time left on a terminal; silence when piped."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float, float], None]]:
    """Yields ``report(what, done, of)``, in whatever unit; a new ``what`` starts the bar anew."""
    console = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    ) as progress:
        task = progress.add_task("Judging", total=None)
        shown = ""

        def report(what: str, done: float, of: float) -> None:
            nonlocal shown
            if what != shown:
                shown = what
                progress.reset(task, description=what)
            progress.update(task, completed=done, total=of)

        yield report
