"""``formcheck limits``: what faults are judged by, and whether a file of limits is right."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from formcheck.cli.help import App

app = App(invoke_without_command=True)
_FILE = typer.Option(
    "--limits", metavar="FILE", help="Your own limits, or the name of a set that ships."
)


@app.callback()
def show_limits(
    context: typer.Context,
    limits: Annotated[Path | None, _FILE] = None,
    changed: Annotated[
        bool, typer.Option("--changed", help="Only what differs from the default limits.")
    ] = False,
) -> None:
    """Print the limits in force: each with its unit, reason and source, and what differs.

    What is printed is a limits file: save it, change the values you want, and give it to
    “formcheck set --limits FILE”; the values you leave out stay as they are.
    """
    from formcheck.faults.limit_sets import in_force, limits_text
    from formcheck.faults.limits import read_limits

    if context.invoked_subcommand is not None:
        return
    given = read_limits(limits)
    if not changed:
        print(limits_text(given), end="")
        return
    now = in_force(given)
    print(f"In force: {now.title}.")
    for key, (limit, default) in now.changed.items():
        print(f"  {key} {limit.value:g} {limit.unit} instead of {default.value:g}: {limit.reason}")


@app.command("check")
def check_limits(
    file: Annotated[Path, typer.Argument(help="A limits file.", show_default=False)],
) -> None:
    """Say what is wrong with a limits file, each problem with its line; exit code 2 if anything."""
    from formcheck.errors import Exit
    from formcheck.faults.limit_sets import in_force
    from formcheck.faults.limits import limits_file, parse_limits

    text, name = limits_file(file)
    limits, problems = parse_limits(text)
    for problem in problems:
        where = name if problem.line is None else f"{name}:{problem.line}"
        print(f"{where}: {problem.says}")
    if problems:
        raise typer.Exit(int(Exit.USAGE))
    changed = in_force(limits).changed
    print(f"{name}: {len(changed)} of {len(limits)} limits changed, nothing wrong.")


@app.command("sets")
def list_sets() -> None:
    """List the sets of limits that ship; each name can be given to --limits."""
    from formcheck.asked.standards import standards
    from formcheck.faults.limit_sets import limit_sets

    for one in limit_sets().values():
        print(f"{one.name}: {one.title}. {one.about}")
        if one.name in standards():
            print(f"  with --standard {one.name}")
        print(f"  Source: {one.source}.")
