"""The command line: one module a command, errors told in one sentence."""

from __future__ import annotations

import signal
import sys
from importlib.metadata import version
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from formcheck.cli import again, agree, judge_batch, judge_set, limits, log, person
from formcheck.errors import FormcheckError


class _OneSentence(TyperGroup):
    """Runs a command; a problem becomes its sentence and its exit code, never a traceback."""

    def invoke(self, ctx: Any) -> Any:
        # Being asked to end cleans up like Ctrl-C does: no half-written folder stays.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
        try:
            return super().invoke(ctx)
        except FormcheckError as error:
            print(f"formcheck: {error}", file=sys.stderr)
            raise typer.Exit(int(error.exit_code)) from error


app = typer.Typer(
    name="formcheck",
    cls=_OneSentence,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("set")(judge_set.judge_set)
app.command("batch")(judge_batch.judge_batch)
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

    Exit codes: 0 done; 2 usage; 3 the clip cannot be read; 4 no usable person or no rep found
    (a report is still written, saying so); 5 a batch finished with some clips failed.
    """
