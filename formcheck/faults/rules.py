"""Compare what was measured with the limits, and say how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["fault", "borderline"]


@dataclass(frozen=True)
class Fault:
    """One broken limit. ``uncertainty`` is the 95 % half-width, in ``unit``."""

    rep: int
    key: str
    at_s: float
    value: float
    uncertainty: float
    limit: float
    unit: str
    verdict: Verdict
    view: str
