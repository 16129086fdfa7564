"""``formcheck agree``: a coach's verdicts beside the tool's."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from formcheck.agree.preference import Preference
from formcheck.cli.help import OUTPUT

PIPED_WIDTH = 170  # characters


def agree(
    labels: Annotated[
        Path,
        typer.Argument(
            metavar="LABELS",
            show_default=False,
            help="CSV or XLSX with the columns set, rep, fault, verdict (yes, no, unsure), who, "
            "when; set is the name of a report folder.",
        ),
    ],
    sets: Annotated[
        list[Path],
        typer.Argument(
            metavar="SETS...", show_default=False, help="Report folders, or folders of them."
        ),
    ],
    out: Annotated[
        Path,
        typer.Option(
            metavar="DIR", help="Folder of the page and the tables.", rich_help_panel=OUTPUT
        ),
    ] = Path("agreement"),
    prefer: Annotated[
        Preference, typer.Option(help="What a suggested limit is chosen for.")
    ] = "few-false",
    overwrite: Annotated[
        bool,
        typer.Option(
            "--overwrite", help="Replace the page that is already there.", rich_help_panel=OUTPUT
        ),
    ] = False,
) -> None:
    """Hold saved reports against a coach's verdicts: who agrees, on what, and what limit fits.

    Writes agreement.html (the disagreements with pictures, worst first), agreement.csv and
    verdicts.csv. Precision, recall, F1, Cohen's kappa and Gwet's AC1 have 95 % intervals.
    """
    from rich.console import Console
    from rich.table import Table

    from formcheck.agree.comparison import hold_against
    from formcheck.agree.labels import LabelsError
    from formcheck.agree.page import agreement_page, count_words, page_html, row_of
    from formcheck.agree.write import check_free, write_agreement

    check_free(out, overwrite)
    try:
        found = hold_against(labels, sets)
    except LabelsError as error:
        for problem in error.problems[1:]:
            print(problem, file=sys.stderr)
        raise
    page = agreement_page(found, out, prefer)
    write_agreement(found, page_html(page), out)

    console = Console(highlight=False, markup=False, soft_wrap=True)
    if not console.is_terminal:
        console.width = PIPED_WIDTH
    console.print(page.headline, style="bold")
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in ("fault", "between", "reps", "precision", "recall", "kappa", "AC1"):
        table.add_column(heading)
    for row in map(row_of, found.agreements()):
        cells = (row.precision, row.recall, row.kappa, row.ac1)
        table.add_row(row.fault, row.raters, row.reps, *cells)
    console.print(table)
    for counts in found.counts():
        console.print(count_words(counts))
    for case in page.limits:
        console.print(f"{case.fault}: {case.headline}. {case.says[0]}")
    console.print(f"Page: {out / 'agreement.html'}")
