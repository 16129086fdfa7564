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
    from formcheck.agree.comparison import Comparison, hold_against, judge_again, open_sets
    from formcheck.agree.labels import Label, labels_table
    from formcheck.agree.plots import (
        counts_figure,
        limit_figure,
        precision_recall_figure,
        values_figure,
    )
    from formcheck.asked.person import Person
    from formcheck.asked.prescription import Prescription
    from formcheck.asked.tempo import Tempo, parse_tempo
    from formcheck.errors import FormcheckError
    from formcheck.faults.limit_sets import limit_sets
    from formcheck.faults.limits import default_limits, read_limits
    from formcheck.judged import Judged, judge
    from formcheck.report.figures import themed

_HOMES = {
    "Comparison": "formcheck.agree.comparison",
    "FormcheckError": "formcheck.errors",
    "Judged": "formcheck.judged",
    "Label": "formcheck.agree.labels",
    "Person": "formcheck.asked.person",
    "Prescription": "formcheck.asked.prescription",
    "Tempo": "formcheck.asked.tempo",
    "counts_figure": "formcheck.agree.plots",
    "default_limits": "formcheck.faults.limits",
    "hold_against": "formcheck.agree.comparison",
    "judge": "formcheck.judged",
    "judge_again": "formcheck.agree.comparison",
    "labels_table": "formcheck.agree.labels",
    "limit_figure": "formcheck.agree.plots",
    "limit_sets": "formcheck.faults.limit_sets",
    "open_sets": "formcheck.agree.comparison",
    "parse_tempo": "formcheck.asked.tempo",
    "precision_recall_figure": "formcheck.agree.plots",
    "read_limits": "formcheck.faults.limits",
    "themed": "formcheck.report.figures",
    "values_figure": "formcheck.agree.plots",
}

__all__ = [
    "Comparison",
    "FormcheckError",
    "Judged",
    "Label",
    "Person",
    "Prescription",
    "Tempo",
    "counts_figure",
    "default_limits",
    "hold_against",
    "judge",
    "judge_again",
    "labels_table",
    "limit_figure",
    "limit_sets",
    "open_sets",
    "parse_tempo",
    "precision_recall_figure",
    "read_limits",
    "themed",
    "values_figure",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'formcheck' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return [*__all__, *(name for name in globals() if name.startswith("__"))]
