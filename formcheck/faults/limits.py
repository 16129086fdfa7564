"""The limits: every one with its unit, reason and source; and files that change some of them."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from types import MappingProxyType
from typing import Any

from formcheck.errors import FormcheckError
from formcheck.files import read_small
from formcheck.outside import load_outside
from formcheck.plain import meant, plain

ABOUT = "set"  # the table of a limits file that says what it is, and is no limit
_LARGEST_BYTES = 1_000_000


class LimitsError(FormcheckError):
    """The user's limits file cannot be used."""


@dataclass(frozen=True)
class Limit:
    """One limit: ``value`` in ``unit``, what it bounds, why, and who says so.

    A value outside ``lowest`` to ``highest`` makes no sense for it.
    """

    value: float
    unit: str
    meaning: str
    reason: str
    source: str
    lowest: float = -math.inf
    highest: float = math.inf


@dataclass(frozen=True)
class Problem:
    """What is wrong in a limits file, and in which line (from 1; None: the file as a whole)."""

    line: int | None
    says: str


Limits = Mapping[str, Limit]


_added: dict[str, Limit] = {}


def default_limits() -> Limits:
    """The limits shipped with formcheck, and those that came with added faults, by key."""
    load_outside()
    return MappingProxyType({**_shipped(), **_added})


def add_limit(key: str, limit: Limit) -> None:
    """One more limit among the defaults. Raises ValueError for a key that is taken."""
    if key in default_limits():
        raise ValueError(f"there is a limit “{key}” already")
    _added[key] = limit


def drop_limit(key: str) -> None:
    """Take an added limit away again; nothing happens where there is none."""
    _added.pop(key, None)


def with_values(limits: Limits, values: Mapping[str, float]) -> Limits:
    """``limits`` with other values. Raises KeyError for a key that does not exist."""
    changed = {key: replace(limits[key], value=float(value)) for key, value in values.items()}
    return MappingProxyType({**limits, **changed})


def read_limits(path: Path | None) -> Limits:
    """The default limits with a file laid over them, or with a set that ships (by its name).

    Raises LimitsError with the first problem of the file.
    """
    if path is None:
        return default_limits()
    text, name = limits_file(path)
    limits, problems = parse_limits(text)
    if problems:
        first, more = problems[0], len(problems) - 1
        where = name if first.line is None else f"{name}, line {first.line}"
        others = f" There {'is 1 more problem' if more == 1 else f'are {more} more problems'}."
        raise LimitsError(f"{where}: {first.says}{others if more else ''}")
    return limits


def limits_file(path: Path) -> tuple[str, str]:
    """Text and name of a limits file, or of a set that ships. Raises LimitsError."""
    shipped = limit_set_files().get(str(path))
    if shipped is not None:
        return shipped.read_text(encoding="utf-8"), str(path)
    try:
        return read_small(path, _LARGEST_BYTES).decode("utf-8-sig"), str(path)
    except UnicodeDecodeError as error:
        raise LimitsError(
            f"{path}: not a limits file (it is no UTF-8 text); “formcheck limits” prints one to "
            "start from."
        ) from error
    except OSError as error:
        raise LimitsError(
            f"{path}: the limits file cannot be read ({error.strerror}); give a file, or a set "
            f"that ships: {', '.join(limit_set_files())}.{meant(str(path), limit_set_files())}"
        ) from error


def parse_limits(text: str) -> tuple[Limits, tuple[Problem, ...]]:
    """The default limits with those of a file's text over them, and what is wrong with it."""
    limits = default_limits()
    try:
        given = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # not TOML, or without end
        return limits, (_broken(str(error)),)
    problems: list[Problem] = []
    changed: dict[str, Limit] = {}
    for key, entry in given.items():
        line = _line(text, key)
        if key == ABOUT and isinstance(entry, dict):
            continue
        if key not in limits:
            known = ", ".join(limits)
            problems.append(
                Problem(
                    line, f"“{plain(key, 80)}” is no limit; there are {known}.{meant(key, limits)}"
                )
            )
            continue
        wrong = _wrong(text, key, entry, limits[key])
        problems += wrong
        if not wrong:
            table = entry if isinstance(entry, dict) else {"value": entry}
            said = {name: table[name] for name in ("reason", "source") if name in table}
            changed[key] = replace(limits[key], value=float(table["value"]), **said)
    return MappingProxyType({**limits, **changed}), tuple(problems)


@cache
def limit_set_files() -> Mapping[str, Traversable]:
    """The limits files that ship, by the name of their set."""
    found = files("formcheck.faults").joinpath("sets").iterdir()
    return {
        file.name.removesuffix(".toml"): file
        for file in sorted(found, key=lambda file: file.name)
        if file.name.endswith(".toml")
    }


@cache
def _shipped() -> Limits:
    text = files("formcheck.faults").joinpath("limits.toml").read_text(encoding="utf-8")
    return {key: Limit(**entry) for key, entry in tomllib.loads(text).items()}


def _broken(error: str) -> Problem:
    """What the TOML reader says, its line apart."""
    found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", error)
    line = int(found[1]) if found and found[1] else None
    what = plain(error[: found.start()] if found else error, 120)
    return Problem(
        line,
        f"not a limits file ({what[:1].lower()}{what[1:]}{'' if line else ', at its end'}); "
        "“formcheck limits” prints one to start from.",
    )


def _wrong(text: str, key: str, entry: Any, limit: Limit) -> list[Problem]:
    """What is wrong with one limit of a file."""
    table = entry if isinstance(entry, dict) else {"value": entry}
    problems = []
    for field, given in table.items():
        if field not in Limit.__dataclass_fields__:
            problems.append(
                Problem(
                    _line(text, key, field), f"[{key}] has no “{plain(field, 80)}”; it has a value."
                )
            )
        elif field == "unit" and given != limit.unit:
            problems.append(
                Problem(
                    _line(text, key, field),
                    f"[{key}] is in {limit.unit}, not in “{plain(str(given), 80)}”; write its "
                    f"value in {limit.unit}.",
                )
            )
        elif field in ("meaning", "reason", "source") and not isinstance(given, str):
            problems.append(Problem(_line(text, key, field), f"[{key}] {field} is a text."))
    value, line = table.get("value"), _line(text, key, "value")
    if isinstance(value, bool) or not isinstance(value, int | float) or not _usable(value, limit):
        problems.append(Problem(line, f"[{key}] needs a number as value, in {limit.unit}."))
    elif not limit.lowest <= value <= limit.highest:
        problems.append(
            Problem(
                line,
                f"[{key}] must lie between {limit.lowest:g} and {limit.highest:g} {limit.unit}; "
                f"ours is {limit.value:g}.",
            )
        )
    return problems


def _usable(value: float, limit: Limit) -> bool:
    """A finite number; no bound at all (inf) where that may be."""
    try:
        return math.isfinite(value) or value == limit.highest
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _line(text: str, key: str, field: str = "") -> int | None:
    """Where a limit stands in a file, or one field of it; None where that cannot be told."""
    name = rf"\s*[\"']?{re.escape(key)}[\"']?\s*"
    own = re.compile(rf"^{name}=|^\s*\[{name}\]|^{name}\.")
    of_field = re.compile(rf"^\s*[\"']?{re.escape(field)}[\"']?\s*=")
    found: int | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        if found is None:
            found = number if own.match(line) else None
            continue
        if not field or line.lstrip().startswith("["):
            break
        if of_field.match(line):
            return number
    return found
