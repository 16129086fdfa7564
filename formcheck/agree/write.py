"""Write what a comparison says: the page, and its tables for a spreadsheet."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

from formcheck.agree.comparison import Comparison
from formcheck.errors import OutputError
from formcheck.locks import made_beside
from formcheck.report.tables import write_csv

PAGE = "agreement.html"
MADE = ("agreement.csv", "verdicts.csv", PAGE)


def check_free(out: Path, overwrite: bool) -> None:
    """Raise OutputError when the page may not be written to ``out``."""
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out} is a file; choose a folder with --out.")
    if (out / PAGE).exists() and not overwrite:
        raise OutputError(
            f"{out} holds a page already: replace it with --overwrite, or choose another folder "
            "with --out."
        )


def write_agreement(found: Comparison, page: str, out: Path) -> None:
    """``agreement.html agreement.csv verdicts.csv`` into ``out``, each whole or not at all.

    Raises OutputError.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        with ExitStack() as made:  # the last one opened is in its place first: the page comes last
            places = {name: made.enter_context(made_beside(out / name)) for name in reversed(MADE)}
            write_csv(found.agreement(), places["agreement.csv"])
            write_csv(found.table(), places["verdicts.csv"])
            places[PAGE].write_text(page, encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"{out} cannot be written ({error.strerror}); choose another folder with --out."
        ) from error
