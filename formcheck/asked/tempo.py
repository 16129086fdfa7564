"""The four-place tempo notation: eccentric, bottom pause, concentric, top pause."""

from __future__ import annotations

import re
from dataclasses import dataclass

from formcheck.errors import FormcheckError

EXAMPLE = "2-1-X-1"
_PLACE = r"(\d{1,2}(?:\.\d+)?)"
_SEPARATED = re.compile(
    rf"^{_PLACE}[-/ ]{_PLACE}[-/ ](X|{_PLACE[1:-1]})[-/ ]{_PLACE}$", re.IGNORECASE
)
_COMPACT = re.compile(r"^(\d)(\d)([\dX])(\d)$", re.IGNORECASE)


class TempoError(FormcheckError):
    """The text is not a tempo; the message says what one looks like."""


@dataclass(frozen=True)
class Tempo:
    """Prescribed seconds of each phase; ``concentric_s`` is None for X, as fast as possible."""

    eccentric_s: float
    bottom_pause_s: float
    concentric_s: float | None
    top_pause_s: float

    def __str__(self) -> str:
        fast = "X" if self.concentric_s is None else f"{self.concentric_s:g}"
        return f"{self.eccentric_s:g}-{self.bottom_pause_s:g}-{fast}-{self.top_pause_s:g}"


def parse_tempo(text: str) -> Tempo:
    """Read ``2-1-X-1``, ``2/1/X/1``, ``2 1 X 1`` or ``21X1``. Raises TempoError.

    >>> str(parse_tempo("21X1"))
    '2-1-X-1'
    >>> parse_tempo("3-0-1-0").eccentric_s
    3.0
    """
    match = _SEPARATED.match(text.strip()) or _COMPACT.match(text.strip())
    if match is None:
        raise TempoError(
            f"“{text}” is not a tempo: give seconds for lowering, bottom pause, pressing up and "
            f"top pause, X for as fast as possible when pressing up, e.g. {EXAMPLE} or 3-0-1-0."
        )
    eccentric, bottom, concentric, top = match.groups()
    return Tempo(
        eccentric_s=float(eccentric),
        bottom_pause_s=float(bottom),
        concentric_s=None if concentric.upper() == "X" else float(concentric),
        top_pause_s=float(top),
    )
