"""The reference is built without a warning and holds what the package knows."""

from __future__ import annotations

import doctest
import html
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import formcheck
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limit_sets import limit_sets
from formcheck.faults.limits import default_limits
from formcheck.measures.values import rep_values

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


def test_every_command_is_documented(pages: dict[str, str]) -> None:
    for command in ("set", "batch", "limits check", "limits sets", "agree", "again", "log"):
        assert f"formcheck {command}" in pages["commands"]


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
