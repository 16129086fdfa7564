"""Attempts, repetitions and their four phases, found in the signals of one set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Attempt = Literal["counted", "not_counted", "aborted"]


@dataclass(frozen=True)
class Rep:
    """One attempt. Seconds from the first frame of the reference clip.

    ``start_s`` leaves the top, ``bottom_start_s`` downward motion ends, ``bottom_s`` deepest,
    ``bottom_end_s`` upward motion starts, ``top_s`` reaches the top, ``end_s`` the next
    attempt starts or the final hold ends.
    """

    index: int
    start_s: float
    bottom_start_s: float
    bottom_s: float
    bottom_end_s: float
    top_s: float
    end_s: float
    aborted: bool = False

    @property
    def eccentric_s(self) -> float:
        return self.bottom_start_s - self.start_s

    @property
    def bottom_pause_s(self) -> float:
        return self.bottom_end_s - self.bottom_start_s

    @property
    def concentric_s(self) -> float:
        return self.top_s - self.bottom_end_s

    @property
    def top_pause_s(self) -> float:
        return self.end_s - self.top_s
