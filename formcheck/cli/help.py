"""How every command asks and answers: examples first, options by what they are about, and the
word that was meant where another one was typed.

Plain text without boxes, so that it is the same on every terminal, in a pipe and in a file.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import typer
from typer.core import TyperCommand, TyperGroup

from formcheck.cli.examples import EXAMPLES
from formcheck.plain import meant, plain

_Function = TypeVar("_Function", bound=Callable[..., Any])

if TYPE_CHECKING:
    _Mixed = TyperCommand
else:
    _Mixed = object

# What the options of the commands that judge are about, in the order in which they are shown.
ASKED, PERSON, CLIP, OUTPUT = "What was asked", "The person", "The clip", "The output"
_OTHER = "Options"
_PANELS = ("Arguments", ASKED, PERSON, CLIP, OUTPUT, _OTHER)
_KIND = re.compile(r" <(?P<kind>int|float|str|Path|list\[\w+\])( range)?>")  # as typer has it
_NO_CHOICE = re.compile(r"^(?:Value error, )?'(?P<given>.*)' is not one of (?P<choices>.+)\.$")


class _Helps(_Mixed):
    """What commands and groups of commands have in common."""

    def parse_args(self, ctx: Any, args: list[str]) -> Any:
        try:
            return super().parse_args(ctx, args)
        except typer.BadParameter as error:
            error.message = _with_what_was_meant(error.message)
            raise

    def format_help_text(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Examples"):
            for line in example_lines(command_words(ctx), formatter.width):
                formatter.write(f"  {line}\n")
        super().format_help_text(ctx, formatter)

    def format_options(self, ctx: Any, formatter: Any) -> None:
        for name, records in self.records(ctx).items():
            with formatter.section(name):
                formatter.write_dl(records)
        if isinstance(self, TyperGroup):
            self.format_commands(ctx, formatter)

    def records(self, ctx: Any) -> dict[str, list[tuple[str, str]]]:
        """What each option is called and what it says, by what they are about."""
        about: dict[str, list[tuple[str, str]]] = {name: [] for name in _PANELS}
        for one in self.get_params(ctx):
            record = one.get_help_record(ctx)
            if record is not None:
                name, says = record
                about[_panel(one)].append((_KIND.sub(_kind_words, name), says))
        return {name: records for name, records in about.items() if records}

    def get_short_help_str(self, limit: int = 0) -> str:
        """The first sentence whole, for the list of commands."""
        words = " ".join((self.help or "").split("\n\n")[0].split())
        return words.removesuffix(".")


class Command(_Helps, TyperCommand):
    """A command."""


class Group(_Helps, TyperGroup):
    """A command that has commands."""


class App(typer.Typer):
    """Commands whose help is as it is said here."""

    def __init__(self, cls: type[TyperGroup] = Group, **named: Any) -> None:
        super().__init__(
            **{"add_completion": False, **named},
            cls=cls,
            rich_markup_mode=None,
            pretty_exceptions_enable=False,
        )

    def command(self, name: str | None = None, **named: Any) -> Callable[[_Function], _Function]:
        return super().command(name, cls=Command, **named)


def command_words(ctx: Any) -> str:
    """The words of a command after ``formcheck``: ``log show``."""
    return " ".join(ctx.command_path.split()[1:])


def example_lines(words: str, width: int) -> list[str]:
    """The examples of a command: what it does beside what is typed, or under it."""
    longest = max(len(typed) for typed, _ in EXAMPLES[words])
    beside = [f"{typed:{longest}}  # {does}" for typed, does in EXAMPLES[words]]
    if max(map(len, beside)) <= width - 2:
        return beside
    return [line for typed, does in EXAMPLES[words] for line in (typed, f"    # {does}")]


def _kind_words(found: re.Match[str]) -> str:
    return {"int": " N", "float": " N", "str": " TEXT"}.get(found["kind"], "")


def _panel(one: Any) -> str:
    if one.param_type_name == "argument":
        return "Arguments"
    return one.rich_help_panel or _OTHER


def _with_what_was_meant(message: str) -> str:
    found = _NO_CHOICE.match(message)
    if found is None:
        return message
    choices: Sequence[str] = re.findall(r"'([^']+)'", found["choices"])
    given = plain(found["given"])
    return f"“{given}” is none of {', '.join(choices)}.{meant(given, choices)}"
