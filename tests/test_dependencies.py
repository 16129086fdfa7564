"""What is imported is declared, and what is declared is imported."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# Import names whose distribution is called otherwise; cv2 comes with mediapipe.
DISTRIBUTION = {
    "PIL": "pillow",
    "cv2": "mediapipe",
    "axe_playwright_python": "axe-playwright-python",
    "sklearn": "scikit-learn",
}
OWN = {"formcheck", "tests", "models"}
# Used without being imported: by pandas, by a command, as notebooks' kernel.
UNSEEN = {
    "build", "codespell", "furo", "ipykernel", "mypy", "myst-parser", "openpyxl", "pytest-xdist",
    "ruff", "sphinx",
}  # fmt: skip


def declared(*lists: list[str]) -> set[str]:
    return {re.split(r"[<>=~!\[; ]", line)[0] for one in lists for line in one}


def imported(folder: str) -> set[str]:
    """Distributions that the Python files of a folder import, anywhere in them."""
    names = set()
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                names.add(node.module.split(".")[0])
    return {DISTRIBUTION.get(n, n) for n in names - OWN - set(sys.stdlib_module_names)}


def test_the_package_imports_only_what_it_declares() -> None:
    extras = PROJECT["optional-dependencies"]
    ours = [extras[name] for name in extras if name not in ("test", "notebook")]
    assert imported("formcheck") <= declared(PROJECT["dependencies"], *ours)


def test_nothing_is_declared_that_the_package_does_not_import() -> None:
    assert declared(PROJECT["dependencies"]) <= imported("formcheck")


def test_the_tests_import_only_what_is_declared_for_them() -> None:
    extras = PROJECT["optional-dependencies"]
    known = declared(PROJECT["dependencies"], *extras.values())
    assert imported("tests") <= known
    assert declared(extras["test"]) - UNSEEN <= imported("tests") | imported("formcheck")
