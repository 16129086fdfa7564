"""Which view a clip shows, and what that view can and cannot judge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ViewKind = Literal["side", "front", "oblique", "rear"]


@dataclass(frozen=True)
class View:
    """``yaw_deg`` from a square side view: 0 side, 90 front (head to camera), -90 rear."""

    kind: ViewKind
    near_side: Literal["left", "right"] | None
    yaw_deg: float = 0.0
    stated: bool = False  # by the user, not recognised
