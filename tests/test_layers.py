"""Every module stands in a room, and the rooms stand in the order of the data.

An import points to an earlier room or to its own; modules never import each other in a circle; the
middle computes on arrays and imports nothing that reads files, starts processes or talks to a user.
"""

from __future__ import annotations

import ast
import importlib.util
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from formcheck.docs.rooms import MIDDLE, ROOMS

NAME = "formcheck"
FOLDER = Path(__file__).parents[1] / NAME

BASE = {"plain", "errors", "outside"}
OPENS_A_FILE = {f"{NAME}.faults.limits"}  # the user's limits file, where it is read
PUBLIC = (NAME,)  # what a user's own program imports
# Of the poses, what reads files and starts processes is an edge; what computes is not.
POSE_EDGES = {
    f"{NAME}.pose.{module}"
    for module in ("landmarker", "model", "store", "cache", "digest", "network")
}
EDGE_LIBRARIES = {
    "av", "concurrent", "cv2", "datetime", "http", "jinja2", "matplotlib", "mediapipe",
    "multiprocessing", "os", "PIL", "pyarrow", "rich", "shutil", "signal", "socket",
    "subprocess", "sys", "tempfile", "threading", "time", "typer", "urllib",
}  # fmt: skip

Sources = Mapping[str, str]  # the text of each module, by its dotted name


@dataclass(frozen=True)
class Import:
    """``module`` of the package or a library, and the ``name`` taken from it, if one was."""

    module: str
    name: str | None = None


def sources_of(folder: Path) -> dict[str, str]:
    found = {}
    for path in sorted(folder.rglob("*.py")):
        parts = path.relative_to(folder.parent).with_suffix("").parts
        found[".".join(parts).removesuffix(".__init__")] = path.read_text(encoding="utf-8")
    return found


def imports_of(module: str, sources: Sources) -> set[Import]:
    """What a module imports anywhere in it, also by a text that names a module to be imported.

    A private name that is reached through an imported module counts as imported from it.
    """
    tree = ast.parse(sources[module])
    found: set[Import] = set()
    called: dict[str, str] = {}  # what an imported module is called here
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                found.add(Import(alias.name))
                called[alias.asname or alias.name] = alias.name
        elif isinstance(node, ast.ImportFrom):
            relative = "." * node.level + (node.module or "")
            package = module if _is_package(module, sources) else module.rpartition(".")[0]
            source = importlib.util.resolve_name(relative, package)
            for alias in node.names:
                whole = f"{source}.{alias.name}"
                if whole in sources:
                    called[alias.asname or alias.name] = whole
                found.add(Import(whole) if whole in sources else Import(source, alias.name))
        elif (
            isinstance(node, ast.Constant)
            and node.value in sources
            and not _is_package(str(node.value), sources)  # those are asked for data files
        ):
            found.add(Import(str(node.value)))
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and _is_private(node.attr):
            reached = called.get(ast.unparse(node.value))
            if reached in sources:
                found.add(Import(str(reached), node.attr))
    return found


def _is_package(module: str, sources: Sources) -> bool:
    return any(other.startswith(f"{module}.") for other in sources)


def _is_private(name: str) -> bool:
    return name.startswith("_") and not name.endswith("__")


def room_of(module: str) -> str:
    return "public" if module in PUBLIC else module.split(".")[1]


def is_middle(module: str) -> bool:
    return room_of(module) in MIDDLE and module not in POSE_EDGES


def without_a_room(sources: Sources) -> list[str]:
    return [module for module in sources if room_of(module) not in ROOMS]


def into_later_rooms(sources: Sources) -> list[str]:
    return [
        f"{module} imports {needed.module}"
        for module in sources
        for needed in imports_of(module, sources)
        if needed.module in sources
        and ROOMS.index(room_of(needed.module)) > ROOMS.index(room_of(module))
    ]


def in_a_circle(sources: Sources) -> list[str]:
    needs = {
        module: {
            needed.module for needed in imports_of(module, sources) if needed.module in sources
        }
        for module in sources
    }
    try:
        TopologicalSorter(needs).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def edges_in_the_middle(sources: Sources) -> list[str]:
    return [
        f"{module} imports {needed.module}"
        for module in filter(is_middle, sources)
        for needed in imports_of(module, sources)
        if needed.module.split(".")[0] in EDGE_LIBRARIES
        or (needed.module in sources and room_of(needed.module) not in _open_to(module))
        or needed.module in POSE_EDGES
    ]


def _open_to(module: str) -> set[str]:
    return MIDDLE | BASE | ({"files"} if module in OPENS_A_FILE else set())


def private_names_abroad(sources: Sources) -> list[str]:
    return [
        f"{module} takes {needed.module}.{needed.name}"
        for module in sources
        for needed in imports_of(module, sources)
        if needed.module in sources and needed.name is not None and _is_private(needed.name)
    ]


RULES = (
    without_a_room,
    into_later_rooms,
    in_a_circle,
    edges_in_the_middle,
    private_names_abroad,
)


@pytest.mark.parametrize("rule", RULES)
def test_the_package_keeps_the_rule(rule: Callable[[Sources], list[str]]) -> None:
    assert rule(sources_of(FOLDER)) == []


# A package of a few modules that keeps all rules, and what breaks one of them.
KEEPS = {
    "formcheck": "_HOMES = {'analyse': 'formcheck.analysis'}",
    "formcheck.errors": "class FormcheckError(Exception): ...",
    "formcheck.files": "import os",
    "formcheck.faults": "",
    "formcheck.faults.limits": "from formcheck.files import read_small",
    "formcheck.maths": "",
    "formcheck.maths.arrays": "FloatArray = _Any = object",
    "formcheck.clip": "",
    "formcheck.clip.read": "import av\nfrom formcheck.errors import FormcheckError",
    "formcheck.pose": "",
    "formcheck.pose.track": "from formcheck.maths.arrays import FloatArray",
    "formcheck.pose.landmarker": "import time\nfrom formcheck.clip.read import x",
    "formcheck.analysis": "from formcheck.pose.track import PoseTrack",
    "formcheck.report": "",
    "formcheck.report.theme": "from formcheck import analysis",
    "formcheck.cli": "import formcheck\nfrom formcheck.report import theme\ntheme.__doc__",
}
BREAKS: list[tuple[Callable[[Sources], list[str]], str, str]] = [
    (without_a_room, "formcheck.utils", ""),
    (without_a_room, "formcheck.helpers.strings", ""),
    (into_later_rooms, "formcheck.maths.angles", "from formcheck.pose.track import PoseTrack"),
    (into_later_rooms, "formcheck.maths.angles", "from formcheck.pose import track"),
    (into_later_rooms, "formcheck.report.page", "import formcheck.cli"),
    (into_later_rooms, "formcheck.report.page", "from formcheck import analyse"),
    (into_later_rooms, "formcheck.report.page", "def late():\n    from formcheck import cli"),
    (into_later_rooms, "formcheck.maths.angles", "import_module('formcheck.pose.track')"),
    (into_later_rooms, "formcheck.clip.write", "from ..pose.track import PoseTrack"),
    (in_a_circle, "formcheck.maths.arrays", "from formcheck.maths import arrays"),
    (in_a_circle, "formcheck.pose.track", "from .landmarker import y\nimport formcheck.pose.track"),
    (in_a_circle, "formcheck.clip.read", "from formcheck.pose.landmarker import y"),
    (edges_in_the_middle, "formcheck.pose.sides", "from formcheck.pose.landmarker import y"),
    (edges_in_the_middle, "formcheck.analysis", "from formcheck.clip.read import x"),
    (edges_in_the_middle, "formcheck.measures.depth", "import formcheck.report.theme as t"),
    (edges_in_the_middle, "formcheck.measures.depth", "from formcheck.files import read_small"),
    (edges_in_the_middle, "formcheck.measures.depth", "from time import monotonic"),
    (edges_in_the_middle, "formcheck.signals.curves", "import os.path"),
    (private_names_abroad, "formcheck.pose.track", "from formcheck.maths.arrays import _Any"),
    (private_names_abroad, "formcheck.pose.track", "from ..maths import arrays as a\na._Any"),
    (private_names_abroad, "formcheck.cli", "import formcheck.errors\nformcheck.errors._x()"),
]


@pytest.mark.parametrize("rule", RULES)
def test_a_package_that_keeps_every_rule_passes(rule: Callable[[Sources], list[str]]) -> None:
    assert rule(KEEPS) == []


@pytest.mark.parametrize(("rule", "module", "text"), BREAKS)
def test_what_breaks_a_rule_is_found(
    rule: Callable[[Sources], list[str]], module: str, text: str
) -> None:
    found = rule({**KEEPS, module: text})
    assert found and module in " ".join(found)


def test_the_rules_are_held_against_every_module_there_is() -> None:
    sources = sources_of(FOLDER)
    assert set(PUBLIC) & sources.keys()
    assert {"formcheck.signals.curves", "formcheck.measures.load"} <= set(
        filter(is_middle, sources)
    )
    assert Import("formcheck.clip.read", "read_frames") in imports_of(
        "formcheck.pose.landmarker", sources
    )
    assert Import("formcheck.judged", "judge") in imports_of("formcheck", sources)
