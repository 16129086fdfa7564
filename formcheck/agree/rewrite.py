"""Rewrite the report of a saved set under other limits or another prescription."""

from __future__ import annotations

from formcheck.agree.again import asked_again
from formcheck.agree.measured import MeasuredSet, SavedReportError
from formcheck.asked.standards import standards
from formcheck.asked.tempo import Tempo
from formcheck.errors import FormcheckError
from formcheck.faults.limits import Limits
from formcheck.judged import judge
from formcheck.report.folder import DRAWN_CLIP, TRACK_FILES


class StandardError(FormcheckError):
    """There is no such test standard."""


def check_standard(name: str | None) -> None:
    """Raise StandardError for a name that is no test standard."""
    if name is not None and name not in standards():
        raise StandardError(f"“{name}” is no test standard; there are {', '.join(standards())}.")


def rewrite(
    one: MeasuredSet, limits: Limits | None, tempo: Tempo | None, standard: str | None
) -> bool:
    """Judge the landmarks in a report folder again and write its report in their place.

    The note and the remarks stay. The annotated clip goes with the earlier verdict that it shows:
    whether there was one is returned. Raises SavedReportError for a
    folder without landmarks, and what ``judge`` and ``Judged.write`` raise.
    """
    if one.folder is None:
        raise SavedReportError(f"{one.name}: not a saved set.")
    tracks = [one.folder / name for name in TRACK_FILES if (one.folder / name).is_file()]
    if not tracks:
        raise SavedReportError(
            f"{one.folder}: no landmarks.parquet in it, so its report cannot be made again."
        )
    held_to = limits or one.limits
    judged = judge(
        *tracks,
        prescription=asked_again(one, tempo, standard),
        person=one.person,
        limits={key: limit.value for key, limit in held_to.items()},
        views=one.views if one.stated else (),
    )
    drawn = (one.folder / DRAWN_CLIP).is_file()
    judged.write(
        one.folder,
        overwrite=True,
        note=one.note,
        remarks=one.remarks,
        drawing=False,
        xlsx=(one.folder / "reps.xlsx").is_file(),
    )
    return drawn
