"""Named sets of limits that ship, which limits are in force, and a file of them to start from."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from formcheck.faults.limits import (
    ABOUT,
    Limit,
    Limits,
    default_limits,
    limit_set_files,
    parse_limits,
)

DEFAULT = "default"
OWN = "own"
_HEAD = """\
# Limits of formcheck. Change the values you want, delete what you do not change, and give the
# file to --limits. A value outside lowest to highest is refused.
"""


@dataclass(frozen=True)
class LimitSet:
    """One set that ships; that of a test standard is called like the standard."""

    name: str
    title: str
    about: str
    source: str
    limits: Limits

    @property
    def changes(self) -> dict[str, float]:
        """The values in which it differs from the default."""
        defaults = default_limits()
        return {k: one.value for k, one in self.limits.items() if one.value != defaults[k].value}


@dataclass(frozen=True)
class InForce:
    """Which limits these are. ``name`` of the set that ships, ``default``, or ``own`` where they
    are none of those; ``changed`` by key: the limit in force and the default one."""

    name: str
    title: str
    changed: Mapping[str, tuple[Limit, Limit]]


@cache
def limit_sets() -> Mapping[str, LimitSet]:
    """The sets that ship, by name."""
    return {name: _set(name, file.read_text("utf-8")) for name, file in limit_set_files().items()}


def in_force(limits: Limits, standard: str | None = None) -> InForce:
    """Which limits these are, told by their values; of sets alike, that of the ``standard``.

    >>> in_force(limit_sets()["strict"].limits).name
    'strict'
    """
    defaults = default_limits()
    changed = {
        key: (limit, defaults[key])
        for key, limit in limits.items()
        if key in defaults and limit.value != defaults[key].value
    }
    if not changed:
        return InForce(DEFAULT, "default", changed)
    values = {key: limit.value for key, (limit, _) in changed.items()}
    alike = [one for one in limit_sets().values() if one.changes == values]
    if not alike:
        return InForce(OWN, "your own", changed)
    one = next((one for one in alike if one.name == standard), alike[0])
    return InForce(one.name, one.title[:1].lower() + one.title[1:], changed)


def limits_text(limits: Limits) -> str:
    """Limits as a file that reads back the same, saying where it differs from the default."""
    now = in_force(limits)
    lines = [_HEAD]
    if now.changed:
        lines.append(f"# In force: {now.title}. It differs from the default in:\n")
        lines += [
            f"#   {key} {limit.value:g} {limit.unit} instead of {default.value:g}\n"
            for key, (limit, default) in now.changed.items()
        ]
    for key, limit in limits.items():
        lines.append(f"\n[{key}]\n")
        for name, value in vars(limit).items():
            was = now.changed.get(key) if name == "value" else None
            lines.append(
                f"{name} = {_toml(value)}{f'  # default {was[1].value:g}' if was else ''}\n"
            )
    return "".join(lines)


def _set(name: str, text: str) -> LimitSet:
    about = tomllib.loads(text)[ABOUT]
    limits, problems = parse_limits(text)
    if problems:
        raise ValueError(f"{name}: {problems[0].says}")
    return LimitSet(name, about["title"], about["about"], about["source"], limits)


def _toml(value: float | str) -> str:
    """A number as TOML writes it (infinity too); its basic strings escape as JSON's do."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
