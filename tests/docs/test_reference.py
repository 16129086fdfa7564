"""The reference is built without a warning and holds what the package knows."""

from __future__ import annotations

import doctest
import html
import re
import shlex
import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import formcheck
from formcheck.cli import command_of
from formcheck.docs.messages import kinds
from formcheck.docs.rooms import ROOMS, about
from formcheck.errors import Exit
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limit_sets import limit_sets
from formcheck.faults.limits import default_limits
from formcheck.measures.values import rep_values
from tests.cli.test_help import every_command

ROOT = Path(__file__).parents[2]
SOURCES = ROOT / "formcheck/docs"
WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in (ROOT / "formcheck").rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8") and SOURCES not in path.parents
)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Each built page by its name; its text under it, its markup under the name and ``.html``."""
    out = tmp_path_factory.mktemp("reference")
    built = subprocess.run(
        [sys.executable, "-m", "sphinx", "-n", "-W", "--keep-going", "-q", "-b", "html",
         "-d", out / "doctrees", SOURCES, out / "html"],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    found = {path.name: path.read_text("utf-8") for path in (out / "html").glob("*.html")}
    text = {name[:-5]: html.unescape(re.sub(r"<[^>]+>", "", page)) for name, page in found.items()}
    return {**found, **text}


def test_every_public_name_is_documented(pages: dict[str, str]) -> None:
    assert all(name in pages["api"] for name in formcheck.__all__)


def test_every_command_and_option_is_documented(pages: dict[str, str]) -> None:
    for words, command in every_command():
        assert f"formcheck {words}" in pages["commands"]
        for one in command.params:
            if one.param_type_name == "option":
                assert all(name in pages["commands"] for name in one.opts + one.secondary_opts)
        says = " ".join((command.help or "").split("\n\n")[0].split())
        assert says and says in " ".join(pages["commands"].split())


def test_every_kind_of_message_is_documented_and_says_something(pages: dict[str, str]) -> None:
    found = kinds()
    assert sum(len(kind.messages) for kind in found) > 150
    assert {kind.exit_code for kind in found} >= {Exit.USAGE, Exit.CLIP_UNREADABLE}
    for kind in found:
        assert kind.name in pages["messages"] and kind.means and kind.messages


def test_every_room_is_drawn_and_says_what_it_is_for(pages: dict[str, str]) -> None:
    for room in ROOMS:
        assert f">{room}</text>" in pages["architecture.html"]
        assert len(about(room)) > 15


def test_what_a_view_hides_and_where_the_phone_stands_is_told(pages: dict[str, str]) -> None:
    assert pages["filming.html"].count('<svg class="dg"') == 4
    for value in rep_values().values():
        assert all(reason in pages["filming"] for reason in value.hidden.values())
    assert "stated ± (95 %)" in pages["numbers"]


def test_no_link_is_dead(pages: dict[str, str]) -> None:
    links = 0
    for name, page in pages.items():
        for to in re.findall(r'<a [^>]*href="([^"]+)"', page) if name.endswith(".html") else ():
            if re.match(r"(https?|mailto|javascript):", to):
                continue
            where, _, anchor = to.partition("#")
            target = pages.get(where or name)
            assert target is not None, f"{name}: {to}"
            assert not anchor or f'id="{html.unescape(anchor)}"' in target, f"{name}: {to}"
            links += 1
    assert links > 200


def blocks(language: str) -> list[tuple[str, str]]:
    """The examples in a language that stand in the documents, with their place."""
    found = []
    for path in (*SOURCES.glob("*.md"), ROOT / "README.md"):
        _, *parts = re.split(r"^```", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
        for part in parts[::2]:  # every other one is between two examples
            named, _, block = part.partition("\n")
            if named == language:
                found.append((path.name, block))
    return found


def test_python_examples_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page from top to bottom; where it says a clip, a pose track of one is judged."""
    monkeypatch.chdir(tmp_path)
    for view in ("side", "front"):
        shutil.copy(ROOT / f"tests/data/flared_pair_{view}.parquet", tmp_path / f"{view}.parquet")
    pages: dict[str, dict[str, object]] = {}
    for name, code in blocks("python"):
        exec(code.replace(".mp4", ".parquet"), pages.setdefault(name, {}))
    assert len(pages) >= 3
    assert list(tmp_path.glob("report/report.html"))


def test_command_examples_are_taken() -> None:
    seen = 0
    for name, block in [*blocks("text"), *blocks("")]:
        for line in block.splitlines():
            typed = line.partition("#")[0].strip()
            if not typed.startswith("formcheck ") or "{" in typed or "--help" in typed:
                continue
            _, *arguments = shlex.split(typed)
            command: Any = command_of(arguments.pop(0))
            if arguments and arguments[0] in getattr(command, "commands", {}):
                command = command.commands[arguments.pop(0)]
            try:
                command.make_context(command.name, arguments)
            except Exception as error:
                raise AssertionError(f"{name}: {typed}: {error}") from error
            seen += 1
    assert seen > 20


def test_every_fault_limit_and_value_is_documented(pages: dict[str, str]) -> None:
    for fault in fault_kinds().values():
        assert fault.name in pages["faults"] and fault.cue in pages["faults"]
    for key, limit in default_limits().items():
        assert key in pages["limits"] and limit.source in pages["limits"]
    for one in limit_sets().values():
        assert one.title in pages["limits"] and one.about in pages["limits"]
    for value in rep_values().values():
        assert value.about in pages["values"]


def test_nothing_is_loaded_from_elsewhere(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        if name.endswith(".html"):
            assert not re.search(r"<(script|link|img)[^>]+(src|href)=[\"']https?:", page)


def test_there_are_examples() -> None:
    assert len(WITH_EXAMPLES) >= 5


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_examples_do_what_they_say(module: str) -> None:
    found = doctest.testmod(import_module(module))
    assert found.attempted and not found.failed
