"""Named standards of push-up tests, as data: see standards.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

RangeStandard = Literal["elbow-90", "arm-parallel", "chest-low", "chest-floor"]


@dataclass(frozen=True)
class Standard:
    """One entry of standards.toml, where each field is explained."""

    key: str
    name: str
    range: RangeStandard
    source: str
    year: int | None = None
    line: bool = False
    pace_per_min: float | None = None
    rest: Literal["top", "none"] | None = None
    time_s: float | None = None
    ends_at_correction: int | None = None
    most_reps: int | None = None
    superseded: str = ""
    not_seen: str = ""


@cache
def standards() -> Mapping[str, Standard]:
    """The named standards by key."""
    text = files("formcheck.asked").joinpath("standards.toml").read_text("utf-8")
    return {key: Standard(key=key, **row) for key, row in tomllib.loads(text).items()}
