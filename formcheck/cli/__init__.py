"""The command line: one module a command, errors told in one sentence."""

from __future__ import annotations

from importlib.metadata import version
from typing import Annotated

import typer

from formcheck.cli import again, agree, demo, desk, judge_batch, judge_set, limits, log, person
from formcheck.cli.border import OneSentence

app = typer.Typer(
    name="formcheck",
    cls=OneSentence,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("demo")(demo.demo)
app.command("set")(judge_set.judge_set)
app.command("batch")(judge_batch.judge_batch)
app.command("desk")(desk.desk)
app.add_typer(limits.app, name="limits")
app.command("agree")(agree.agree)
app.command("again")(again.again)
app.add_typer(log.app, name="log")
app.add_typer(person.app, name="person")


def _version(asked: bool) -> None:
    if asked:
        print(f"formcheck {version('formcheck')}")
        raise typer.Exit


@app.callback()
def formcheck(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Push-up form, measured from video.

    Exit codes: 0 done; 1 interrupted; 2 usage; 3 the clip cannot be read; 4 no usable person or
    no rep found (a report is still written, saying so); 5 a batch finished with some clips failed.
    """
