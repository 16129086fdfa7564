"""Rewrite the report of a saved set under other limits or another prescription."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from formcheck.advice.ladder import Direction
from formcheck.agree.again import asked_again
from formcheck.agree.measured import MeasuredSet, SavedReportError
from formcheck.asked.standards import standards
from formcheck.asked.tempo import Tempo
from formcheck.errors import FormcheckError
from formcheck.faults.limits import Limits
from formcheck.judged import judge
from formcheck.report.folder import DRAWN_CLIP, REPORT, TRACK_FILES, made_whole
from formcheck.report.tables import check_xlsx
from formcheck.report.weeks import Weeks


class StandardError(FormcheckError):
    """There is no such test standard."""


@dataclass(frozen=True)
class Rewritten:
    """What a rewritten report no longer has: its annotated clip; what the training log added."""

    clip_removed: bool
    log_removed: bool


def check_standard(name: str | None) -> None:
    """Raise StandardError for a name that is no test standard."""
    if name is not None and name not in standards():
        raise StandardError(f"“{name}” is no test standard; there are {', '.join(standards())}.")


def rewrite(
    one: MeasuredSet, limits: Limits | None, tempo: Tempo | None, standard: str | None
) -> Rewritten:
    """Judge the landmarks in a report folder again and write its report in their place.

    The note and the remarks stay, and whose set it is and when it was recorded. The annotated clip
    goes with the earlier verdict that it shows, and so does what the training log added to that.
    Raises SavedReportError for a folder without landmarks, and what ``judge`` and
    ``made_whole`` raise.
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
    weeks = _whose(one.folder, judged.analysis.next_step.direction)
    xlsx = (one.folder / "reps.xlsx").is_file()
    if xlsx:
        check_xlsx()
    with made_whole(one.folder, overwrite=True) as scratch:
        judged.fill(
            scratch, one.note, remarks=one.remarks, drawing=False, xlsx=xlsx, weeks=weeks
        )  # fmt: skip
    return Rewritten(drawn, weeks is not None)


def _whose(folder: Path, alone: Direction) -> Weeks | None:
    """Whose set a saved report is, and when it was recorded, where it says so."""
    saved = json.loads((folder / REPORT).read_text("utf-8"))
    if not all(isinstance(saved.get(name), str) for name in ("person", "recorded_at")):
        return None
    return Weeks(saved["person"], saved["recorded_at"], saved.get("recorded_from", "given"), alone)
