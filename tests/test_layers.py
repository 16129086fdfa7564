"""The middle computes on arrays: it imports nothing that reads files, draws or talks to a user."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "formcheck"
EDGES = ("clip", "report", "cli", "pose.landmarker", "pose.model", "pose.store", "pose.cache")
OUTER = (
    "__init__.py",
    "digest.py",
    "errors.py",
    "job.py",
    "batch/",
    "clip/",
    "report/",
    "cli/",
    "pose/",
)
MODULES = [path.relative_to(PACKAGE) for path in sorted(PACKAGE.rglob("*.py"))]
MIDDLE = [module for module in MODULES if not str(module).startswith(OUTER)]


def imports_of(module: Path) -> set[tuple[str, str]]:
    """Each (module, name) of the package that is imported anywhere in this one."""
    tree = ast.parse((PACKAGE / module).read_text(encoding="utf-8"))
    return {
        (node.module.removeprefix("formcheck."), alias.name)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("formcheck")
        for alias in node.names
        if node.module
    }


@pytest.mark.parametrize("module", MIDDLE, ids=str)
def test_the_middle_never_imports_an_edge(module: Path) -> None:
    assert not {source for source, _ in imports_of(module) if source.startswith(EDGES)}


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_what_is_private_to_a_module_stays_there(module: Path) -> None:
    assert not {f"{source}.{name}" for source, name in imports_of(module) if name.startswith("_")}


def test_the_check_above_sees_imports() -> None:
    assert "clip.read" in {source for source, _ in imports_of(Path("pose/landmarker.py"))}
    assert Path("signals.py") in MIDDLE and Path("measures/load.py") in MIDDLE
