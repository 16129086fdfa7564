"""``formcheck again``: saved sets judged again under other limits or another tempo."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from formcheck.cli.asked import LimitsOption, TempoOption


def again(
    folders: Annotated[
        list[Path],
        typer.Argument(
            metavar="FOLDER...", show_default=False, help="Report folders, or folders of them."
        ),
    ],
    limits: LimitsOption = None,
    tempo: TempoOption = None,
    standard: Annotated[
        str | None, typer.Option(metavar="TEST", help="A named test standard.")
    ] = None,
    write: Annotated[
        bool,
        typer.Option(
            "--write", help="Rewrite the reports too; drawing clips anew takes as long as it did."
        ),
    ] = False,
    clips: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="PLACE",
            exists=True,
            help="Where a clip lies by now, or a folder with it anywhere in it; more than once for "
            "more. With --write.",
        ),
    ] = None,
) -> None:
    """Judge saved sets again, in milliseconds each, and say what would change.

    Nothing is written unless asked for with --write. A report that is rewritten is made from its
    landmarks, with its note and remarks. Its annotated clip is drawn anew where the clip still lies
    where it was, beside the report, or where --clips says, whatever it is called by now; else it
    goes, since it shows the earlier verdict, as does what the training log said of that.
    """
    from rich.console import Console
    from rich.progress import track
    from rich.table import Table

    from formcheck.agree.again import changes_of
    from formcheck.agree.measured import read_sets, report_folders
    from formcheck.agree.rewrite import check_standard, rewrite
    from formcheck.faults.limits import read_limits
    from formcheck.plain import plain

    if clips and not write:
        raise typer.BadParameter("where clips lie matters to reports that are rewritten: --write.")
    if limits is None and tempo is None and standard is None:
        raise typer.BadParameter("give --limits, --tempo or --standard to judge by.")
    check_standard(standard)
    held_to = None if limits is None else read_limits(limits)
    sets = read_sets(report_folders(folders))
    changes = changes_of(sets, held_to, tempo, standard)
    changed = [one for one in changes if one.any]
    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.print(f"{len(changed)} of {len(sets)} sets judged otherwise", style="bold")
    if changed:
        table = Table(box=None, pad_edge=False, header_style="dim")
        for heading in ("set", "counted", "clean", "called now", "no more"):
            table.add_column(heading)
        for one in changed:
            table.add_row(
                plain(one.name),
                f"{one.counted[0]} → {one.counted[1]}",
                f"{one.clean[0]} → {one.clean[1]}",
                _called(one.gained),
                _called(one.lost),
            )
        console.print(table)
    if not write:
        return
    redrawn = logged = 0
    gone: dict[str, list[str]] = {}
    for saved in track(
        sets, "Rewriting reports", console=Console(stderr=True), transient=True,
        disable=not Console(stderr=True).is_terminal,
    ):  # fmt: skip
        done = rewrite(saved, held_to, tempo, standard, clips or ())
        redrawn += done.redrawn
        if done.not_redrawn:
            gone.setdefault(done.not_redrawn, []).append(saved.name)
        logged += done.log_removed
    rewritten = "1 report" if len(sets) == 1 else f"{len(sets)} reports"
    console.print(f"{rewritten} rewritten")
    if redrawn:
        which = "1 annotated clip" if redrawn == 1 else f"{redrawn} annotated clips"
        console.print(f"{which} drawn anew")
    for why, names in gone.items():
        console.print(
            f"{', '.join(plain(name) for name in names)}: no annotated clip is drawn, since {why}; "
            "one that showed the earlier verdict is removed. Say with --clips where the clip is, "
            "or judge it again"
        )
    if logged:
        which = "1 set is" if logged == 1 else f"{logged} sets are"
        console.print(
            f"{which} of a person: “formcheck log rebuild FOLDER” enters the new verdicts in the "
            "log; what the log said of the earlier ones is out of the reports"
        )


def _called(found: Sequence[tuple[int, str]]) -> str:
    """``hips sag (reps 2, 4)``."""
    from formcheck.report.words import fault_name
    from formcheck.reps.find import rep_list

    keys = dict.fromkeys(key for _, key in found)
    return ", ".join(
        f"{fault_name(key).lower()} ({rep_list([rep for rep, one in found if one == key])})"
        for key in keys
    )
