"""Every message of the package, read from where it is raised; each says what to do."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from formcheck.errors import Exit, FormcheckError

PACKAGE = Path(__file__).parents[1]
_CALLED = {"strerror": "reason", "exit_code": "code"}


@dataclass(frozen=True)
class Kind:
    """Messages of one kind: ``means`` what went wrong, ``exit_code`` of the command line."""

    name: str
    means: str
    exit_code: Exit
    messages: tuple[str, ...]


def kinds() -> list[Kind]:
    """Every kind of message, by exit code."""
    said: dict[type[FormcheckError], dict[str, None]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if "Error(" not in text or Path(__file__).parent in path.parents:
            continue
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        module = import_module(".".join(parts).removesuffix(".__init__"))
        for name, says in _raised(ast.parse(text)):
            kind = getattr(module, name, None)
            if isinstance(kind, type) and issubclass(kind, FormcheckError):
                said.setdefault(kind, {})[says] = None
    found = [
        Kind(one.__name__, (one.__doc__ or "").strip(), one.exit_code, tuple(texts))
        for one, texts in said.items()
    ]
    return sorted(found, key=lambda one: (one.exit_code, one.means))


def _raised(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """The class and the text of each message that is raised or made to be raised."""
    functions = {node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args:
            name, says = node.func.id, node.args[0]
            if name.endswith("Error"):
                for text in _texts(says, functions):
                    yield name, text


def _texts(says: ast.expr, functions: Mapping[str, ast.FunctionDef]) -> Iterator[str]:
    if isinstance(says, ast.Call) and isinstance(says.func, ast.Name):
        for node in ast.walk(functions.get(says.func.id, ast.Module([], []))):
            if isinstance(node, ast.Return) and node.value is not None:
                yield from _texts(node.value, {})
    elif isinstance(says, ast.Constant) and isinstance(says.value, str):
        yield says.value
    elif isinstance(says, ast.JoinedStr):
        yield "".join(
            str(part.value) if isinstance(part, ast.Constant) else f"⟨{_place(part)}⟩"
            for part in says.values
        )


def _place(part: ast.expr) -> str:
    """What stands in a message for what is filled in."""
    inside = part.value if isinstance(part, ast.FormattedValue) else part
    if isinstance(inside, ast.Call) and inside.args:
        inside = inside.args[0]
    if isinstance(inside, ast.Attribute):
        return _CALLED.get(inside.attr, inside.attr).replace("_", " ").strip().lower()
    return inside.id.replace("_", " ").strip().lower() if isinstance(inside, ast.Name) else "…"
