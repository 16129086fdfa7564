"""What is known of every value measured on a rep: its name, unit, meaning, and who can see it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Literal

from formcheck.maths.quantity import Quantity
from formcheck.outside import load_outside
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.view import ViewKind

Measure = Callable[[Look, Rep], Quantity]


@dataclass(frozen=True)
class RepValue:
    """One value of a rep, ``key`` its field in the report.

    ``label`` is its name on page, terminal and in tables, ``unit`` its unit and that of its ±,
    ``about`` what it is in one line. ``film`` is the view that shows it best, ``hidden`` why
    another does not, in words for the person who filmed. ``promised`` values stand in every report.
    ``page`` puts it into the page's table, always or where it was measured; ``terminal`` into
    the terminal's.

    ``measure`` gives the value of a rep in a look. Only an added value has it here; how the
    others are measured, ``measures.every`` knows.
    """

    key: str
    label: str
    unit: str
    about: str
    film: Literal["side", "front"] | None = None
    hidden: Mapping[ViewKind, str] = field(default_factory=dict)
    promised: bool = False
    page: Literal["always", "known"] | None = None
    terminal: bool = False
    measure: Measure | None = None


_added: dict[str, RepValue] = {}


def rep_values() -> Mapping[str, RepValue]:
    """Every value of a rep by its key, in the order of the report."""
    load_outside()
    return MappingProxyType({**_shipped(), **_added})


def why_hidden(key: str, view: ViewKind) -> str:
    """Why a view cannot show a value; empty where it can."""
    return rep_values()[key].hidden.get(view, "")


def add_value(value: RepValue) -> None:
    """Measure one more value on every rep. Raises ValueError for a key that is taken."""
    if value.key in rep_values():
        raise ValueError(f"“{value.key}” is measured already")
    if value.measure is None:
        raise ValueError(f"“{value.key}” comes without a way to measure it")
    _added[value.key] = value


def drop_value(key: str) -> None:
    """Measure an added value no more."""
    del _added[key]


@cache
def _shipped() -> Mapping[str, RepValue]:
    data = tomllib.loads(files("formcheck.measures").joinpath("values.toml").read_text("utf-8"))
    return {
        key: RepValue(
            key=key,
            **{
                **row,
                "hidden": {
                    view: data["reasons"][reason] for view, reason in row.get("hidden", {}).items()
                },
            },
        )
        for key, row in data["values"].items()
    }
