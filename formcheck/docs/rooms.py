"""The rooms of the package in the order of the data: an import points to an earlier room or to its
own, which a test holds every module to."""

from __future__ import annotations

import ast
from importlib.resources import files

ROOMS = (
    "plain", "errors", "files", "places", "locks", "outside", "maths", "asked", "apart", "clip",
    "pose", "signals", "reps", "variation", "measures", "faults", "advice", "analysis", "report",
    "judged", "log", "job", "batch", "agree", "public", "desk", "cli", "docs",
)  # fmt: skip
# Pure functions on arrays and frozen dataclasses; everything else touches files, clocks, processes.
MIDDLE = {
    "maths", "asked", "pose", "signals", "reps", "variation", "measures", "faults", "advice",
    "analysis",
}  # fmt: skip


def about(room: str) -> str:
    """What a room is for: the first sentence that its own module says."""
    package = files("formcheck")
    places = {"public": package / "__init__.py"}
    inside = package / room / "__init__.py"
    place = places.get(room) or (inside if inside.is_file() else package / f"{room}.py")
    said = ast.get_docstring(ast.parse(place.read_text(encoding="utf-8"))) or ""
    return " ".join(said.split("\n\n")[0].split())
