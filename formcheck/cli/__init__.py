"""The command line: one module a command, errors told in one sentence.

A command's module is imported when the command is asked for, so that the others cost nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Annotated, Any

import typer

from formcheck.cli.border import OneSentence
from formcheck.cli.help import App, Command

# Where each command is, and the first sentence of its help.
COMMANDS = {
    "demo": (
        "demo.demo",
        "Judge the sample set that comes with formcheck, and open its report.",
    ),
    "set": (
        "judge_set.judge_set",
        "Judge one push-up set: which reps count, how they were done, what to train next.",
    ),
    "batch": (
        "judge_batch.judge_batch",
        "Judge every push-up set in a folder, and sum up who did what.",
    ),
    "desk": (
        "desk.desk",
        "Open a page on this machine: drop clips, read reports, say what you see differently.",
    ),
    "agree": (
        "agree.agree",
        "Hold saved reports against a coach's verdicts: who agrees, on what, and what limit fits.",
    ),
    "again": (
        "again.again",
        "Judge saved sets again, in milliseconds each, and say what would change.",
    ),
    "limits": (
        "limits.app",
        "Print the limits in force: each with its unit, reason and source, and what differs.",
    ),
    "log": (
        "log.app",
        "The training log: sets over weeks, trends, and the next step that they give.",
    ),
    "person": (
        "person.app",
        "The people in the training log: their measures, and their own straight line.",
    ),
}


class Commands(OneSentence):
    """Lists the commands by the table, and loads the one that is asked for."""

    def __init__(self, **named: Any) -> None:
        super().__init__(**named)
        for name, (_, says) in COMMANDS.items():
            self.add_command(Command(name, help=says))

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        name, command, rest = super().resolve_command(ctx, args)
        return name, command and command_of(command.name or ""), rest


def command_of(name: str) -> Any:
    """The command as typer builds it, from its module."""
    home, attribute = COMMANDS[name][0].split(".")
    found = getattr(import_module(f"formcheck.cli.{home}"), attribute)
    if not isinstance(found, typer.Typer):
        alone = App()
        alone.command(name)(found)
        found = alone
    command = typer.main.get_command(found)
    command.name = name
    return command


app = App(cls=Commands, name="formcheck", no_args_is_help=True, add_completion=True)


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

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
