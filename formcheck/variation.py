"""Which push-up this was: support, surface, hands, arms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from formcheck.quantity import Quantity


@dataclass(frozen=True)
class Variation:
    """What was done; None where the view cannot tell. ``confidence`` 0-1 by field name.

    ``surface_height`` of the raised hands or feet in arm lengths. ``disagreements`` are
    sentences where the user's word and the clip differ.
    """

    support: Literal["toes", "knees"] | None
    surface: Literal["floor", "hands_raised", "feet_raised", "wall"] | None
    inclination_deg: Quantity
    hands: Literal["close", "normal", "wide", "diamond"] | None
    arms: Literal["two", "archer", "one"] | None
    surface_height: Quantity
    confidence: Mapping[str, float] = field(default_factory=dict)
    disagreements: tuple[str, ...] = ()
