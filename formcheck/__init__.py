"""Push-up form, measured from video.

    >>> import formcheck
    >>> judged = formcheck.judge("side.mp4", "front.mp4", tempo="2-1-X-1")  # doctest: +SKIP
    >>> judged.table()  # doctest: +SKIP

The names below are the public ones; each is imported when first used, so that asking for help
on the command line does not load scientific libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from formcheck.asked.person import Person
    from formcheck.asked.prescription import Prescription
    from formcheck.asked.tempo import Tempo, parse_tempo
    from formcheck.errors import FormcheckError
    from formcheck.faults.limits import default_limits, read_limits
    from formcheck.judged import Judged, judge

_HOMES = {
    "FormcheckError": "formcheck.errors",
    "Judged": "formcheck.judged",
    "Person": "formcheck.asked.person",
    "Prescription": "formcheck.asked.prescription",
    "Tempo": "formcheck.asked.tempo",
    "default_limits": "formcheck.faults.limits",
    "judge": "formcheck.judged",
    "parse_tempo": "formcheck.asked.tempo",
    "read_limits": "formcheck.faults.limits",
}

__all__ = [
    "FormcheckError",
    "Judged",
    "Person",
    "Prescription",
    "Tempo",
    "default_limits",
    "judge",
    "parse_tempo",
    "read_limits",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'formcheck' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return [*__all__, *(name for name in globals() if name.startswith("__"))]
