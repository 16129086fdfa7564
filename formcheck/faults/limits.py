"""The limits file: every limit with its unit, reason and source."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType

from formcheck.errors import FormcheckError


class LimitsError(FormcheckError):
    """The user's limits file cannot be used."""


@dataclass(frozen=True)
class Limit:
    """One limit: ``value`` in ``unit``, what it bounds, why, and who says so."""

    value: float
    unit: str
    meaning: str
    reason: str
    source: str


Limits = Mapping[str, Limit]


_added: dict[str, Limit] = {}


def default_limits() -> Limits:
    """The limits shipped with formcheck, and those that came with added faults, by key."""
    return MappingProxyType({**_shipped(), **_added})


def limits_text() -> str:
    """The limits file as shipped, and the added limits in the same form."""
    return _shipped_text() + "".join(
        f"\n[{key}]\n" + "".join(f"{name} = {_toml(value)}\n" for name, value in vars(one).items())
        for key, one in _added.items()
    )


def add_limit(key: str, limit: Limit) -> None:
    """One more limit among the defaults. Raises ValueError for a key that is taken."""
    if key in default_limits():
        raise ValueError(f"there is a limit “{key}” already")
    _added[key] = limit


def drop_limit(key: str) -> None:
    """Take an added limit away again; nothing happens where there is none."""
    _added.pop(key, None)


@cache
def _shipped() -> Limits:
    return {key: Limit(**entry) for key, entry in tomllib.loads(_shipped_text()).items()}


def _shipped_text() -> str:
    return files("formcheck.faults").joinpath("limits.toml").read_text(encoding="utf-8")


def _toml(value: float | str) -> str:
    return json.dumps(value, ensure_ascii=False)  # a TOML basic string escapes like JSON


def with_values(limits: Limits, values: Mapping[str, float]) -> Limits:
    """``limits`` with other values. Raises KeyError for a key that does not exist."""
    changed = {key: replace(limits[key], value=float(value)) for key, value in values.items()}
    return MappingProxyType({**limits, **changed})


def read_limits(path: Path | None) -> Limits:
    """The default limits with the user's file laid over them. Raises LimitsError."""
    limits = default_limits()
    if path is None:
        return limits
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LimitsError(
            f"{path}: the limits file cannot be read ({error.strerror}); “formcheck limits” prints "
            "one to start from."
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise LimitsError(
            f"{path}: not a limits file ({error}); “formcheck limits” prints one to start from."
        ) from error
    values: dict[str, float] = {}
    for key, entry in given.items():
        value = entry.get("value") if isinstance(entry, dict) else entry
        if key not in limits:
            raise LimitsError(f"{path}: “{key}” is no limit; there are {', '.join(limits)}.")
        if (
            not isinstance(value, int | float)
            or isinstance(value, bool)
            or math.isnan(value)
            or (math.isinf(value) and not math.isinf(limits[key].value))
        ):
            raise LimitsError(f"{path}: [{key}] needs a number as value, in {limits[key].unit}.")
        values[key] = float(value)
    return with_values(limits, values)
