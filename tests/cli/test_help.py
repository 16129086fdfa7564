"""Every command's help opens with two examples that it takes, groups its options, and says which
word was meant."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from typing import Any

import pytest
from typer.testing import CliRunner

from formcheck.cli import COMMANDS, app, command_of
from formcheck.cli.examples import EXAMPLES
from formcheck.cli.help import ASKED, CLIP, OUTPUT, PERSON


def every_command() -> Iterator[tuple[str, Any]]:
    """The words of each command, and the command."""
    for name in COMMANDS:
        found = command_of(name)
        yield name, found
        for word, one in getattr(found, "commands", {}).items():
            yield f"{name} {word}", one


ALL = dict(every_command())


def said(*words: str, width: int = 80) -> str:
    return CliRunner().invoke(app, list(words), terminal_width=width).output


def test_there_are_examples_of_every_command_and_of_nothing_else() -> None:
    assert set(EXAMPLES) == {"", *ALL}


@pytest.mark.parametrize("words", ["", *ALL])
def test_help_opens_with_two_examples(words: str) -> None:
    usage, first, *_ = said(*words.split(), "--help", width=100).split("\n\n")
    assert usage.startswith("Usage: formcheck")
    heading, *lines = first.splitlines()
    assert heading == "Examples:"
    assert sum(line.startswith("  formcheck ") for line in lines) == 2


@pytest.mark.parametrize("words", EXAMPLES)
def test_examples_are_taken(words: str) -> None:
    for typed, _ in EXAMPLES[words]:
        _, *arguments = shlex.split(typed.partition(" > ")[0])
        command: Any = command_of(arguments.pop(0))
        if arguments and arguments[0] in getattr(command, "commands", {}):
            command = command.commands[arguments.pop(0)]
        assert words in ("", "limits sets") or typed.startswith(f"formcheck {words.split()[0]}")
        command.make_context(command.name, arguments)  # raises for what it does not take


@pytest.mark.parametrize("width", [60, 80, 200])
@pytest.mark.parametrize("words", ["", "set", "batch", "log trend"])
def test_help_stays_within_the_terminal(words: str, width: int) -> None:
    for line in said(*words.split(), "--help", width=width).splitlines():
        whole = line.split()
        # What cannot be broken: an example to copy, an option with its choices.
        assert len(line) <= width or whole[0] == "formcheck" or len(whole) <= 2


@pytest.mark.parametrize(
    ("command", "groups"),
    [("set", (ASKED, PERSON, CLIP, OUTPUT)), ("batch", (ASKED, PERSON, CLIP, OUTPUT))],
)
def test_options_are_grouped_by_what_they_are_about(command: str, groups: tuple[str, ...]) -> None:
    text = said(command, "--help")
    at = [text.index(f"\n{group}:\n") for group in groups]
    assert at == sorted(at)
    in_group = {group: text[at[n] :].split("\n\n")[0] for n, group in enumerate(groups)}
    assert "--tempo" in in_group[ASKED] and "--out " in in_group[OUTPUT]
    assert "--pose-rate" in in_group[CLIP] and "--log " in in_group[PERSON]


@pytest.mark.parametrize("words", ALL)
def test_a_mistyped_option_is_answered_with_the_right_one(words: str) -> None:
    for one in ALL[words].params:
        (*_, name) = one.opts
        if name.startswith("--") and len(name) > 5:
            answer = said(*words.split(), f"{name[:-2]}{name[-1]}{name[-2]}")
            assert name in answer or any(other in answer for other in one.opts), answer


@pytest.mark.parametrize(
    ("typed", "right"),
    [
        ("set a.mp4 --range-standard elbow-9", "elbow-90"),
        ("set a.mp4 --surface flor", "floor"),
        ("set a.mp4 --support knee", "knees"),
        ("set a.mp4 --standard hand-relase", "hand-release"),
        ("set a.mp4 --limits stric", "strict"),
        ("agree labels.csv a --prefer few", "few-false"),
        ("limits chek", "check"),
        ("bacth clips", "batch"),
    ],
)
def test_a_mistyped_value_or_command_is_answered_with_the_right_one(typed: str, right: str) -> None:
    answer = CliRunner().invoke(app, typed.split())
    assert answer.exit_code == 2
    assert right in re.split("Did you mean|You may mean", answer.output)[1]


def test_the_shell_completes_commands_options_and_values() -> None:
    def completed(typed: str) -> list[str]:
        told = {
            "_FORMCHECK_COMPLETE": "complete_bash",
            "COMP_WORDS": typed,
            "COMP_CWORD": str(len(typed.split()) - 1),
        }
        return CliRunner().invoke(app, [], env=told, prog_name="formcheck").output.split()

    assert completed("formcheck de") == ["demo", "desk"]
    assert completed("formcheck log sh") == ["show"]
    assert completed("formcheck set --tem") == ["--tempo"]
    assert completed("formcheck set --surface f") == ["floor", "feet_raised"]
