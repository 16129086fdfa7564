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
from formcheck.files import read_small
from formcheck.plain import plain

# What a limit may be, by its unit: beyond lies no body, and numbers that spoil sums.
_POSSIBLE = {
    "deg": (-180.0, 180.0),
    "s": (0.0, 60.0),
    "arm lengths": (0.0, 2.0),
    "of what was asked": (0.0, 10.0),
}
_POSSIBLE_SHARE = (0.0, 100.0)  # of any other unit
_LARGEST_BYTES = 1_000_000


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
        given = tomllib.loads(read_small(path, _LARGEST_BYTES).decode("utf-8-sig"))
    except OSError as error:
        raise LimitsError(
            f"{path}: the limits file cannot be read ({error.strerror}); “formcheck limits” prints "
            "one to start from."
        ) from error
    except (ValueError, RecursionError) as error:  # not TOML, not text, or without end
        raise LimitsError(
            f"{path}: not a limits file ({error}); “formcheck limits” prints one to start from."
        ) from error
    values: dict[str, float] = {}
    for key, entry in given.items():
        value = entry.get("value") if isinstance(entry, dict) else entry
        if key not in limits:
            raise LimitsError(
                f"{path}: “{plain(key, 80)}” is no limit; there are {', '.join(limits)}."
            )
        unit = limits[key].unit
        if not isinstance(value, int | float) or isinstance(value, bool) or not _finite(value):
            raise LimitsError(f"{path}: [{key}] needs a number as value, in {unit}.")
        least, most = _possible(limits[key])
        if not least <= value <= most:
            raise LimitsError(
                f"{path}: [{key}] must lie between {least:g} and {most:g} {unit}; ours is "
                f"{limits[key].value:g}."
            )
        values[key] = float(value)
    return with_values(limits, values)


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _possible(limit: Limit) -> tuple[float, float]:
    """Least and most that a limit may be set to: on its own side of zero."""
    least, most = _POSSIBLE.get(limit.unit, _POSSIBLE_SHARE)
    return (0.0 if limit.value > 0 else least), (0.0 if limit.value < 0 else most)
