"""Rewrite the report of a saved set under other limits or another prescription."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from formcheck.advice.ladder import Direction
from formcheck.agree.again import asked_again
from formcheck.agree.clip_again import find_clip
from formcheck.agree.measured import MeasuredSet, SavedReportError
from formcheck.asked.standards import standards
from formcheck.asked.tempo import Tempo
from formcheck.clip.info import ClipInfo
from formcheck.clip.read import probe_apart
from formcheck.errors import FormcheckError
from formcheck.faults.limits import Limits
from formcheck.judged import judge
from formcheck.plain import plain
from formcheck.report.folder import DRAWN_CLIP, REPORT, TRACK_FILES, made_whole
from formcheck.report.tables import check_xlsx
from formcheck.report.weeks import Weeks

# How a clip was drawn of which the report says nothing any more: nobody's face is shown unasked.
_UNKNOWN: dict[str, Any] = {"faces_blurred": True, "path": None}


class StandardError(FormcheckError):
    """There is no such test standard."""


@dataclass(frozen=True)
class Rewritten:
    """What became of the annotated clip of a rewritten report, and whether what the training log
    had added is out of it. ``not_redrawn`` says why the clip is gone; empty where none is."""

    redrawn: bool
    not_redrawn: str
    log_removed: bool


def check_standard(name: str | None) -> None:
    """Raise StandardError for a name that is no test standard."""
    if name is not None and name not in standards():
        raise StandardError(f"“{name}” is no test standard; there are {', '.join(standards())}.")


def rewrite(
    one: MeasuredSet,
    limits: Limits | None,
    tempo: Tempo | None,
    standard: str | None,
    clips_in: Sequence[Path] = (),
) -> Rewritten:
    """Judge the landmarks in a report folder again and write its report in their place.

    The note and the remarks stay, and whose set it is and when it was recorded. The annotated clip
    is drawn anew where the clips that it was drawn from are still there and the same, lie beside
    the report, or in ``clips_in`` (clips, or folders of them), which are drawn from even where no
    annotated clip is left: then with the face hidden, unless the report says that it was not. Else
    it goes with the earlier verdict that it shows, as does what the training log added to that.
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
    saved = json.loads((one.folder / REPORT).read_text("utf-8"))
    clips, why_not = _clips_of(one.folder, saved, clips_in)
    if clips:
        judged = replace(judged, given=clips)
    weeks = _whose(saved, judged.analysis.next_step.direction)
    xlsx = (one.folder / "reps.xlsx").is_file()
    if xlsx:
        check_xlsx()
    with made_whole(one.folder, overwrite=True) as scratch:
        judged.fill(
            scratch,
            one.note,
            remarks=one.remarks,
            drawing=bool(clips),
            xlsx=xlsx,
            weeks=weeks,
            blur_faces=bool(clips) and (saved.get("annotated") or _UNKNOWN)["faces_blurred"],
            home=one.folder,
        )
    return Rewritten(bool(clips), why_not, weeks is not None)


def _clips_of(
    folder: Path, saved: dict[str, Any], clips_in: Sequence[Path]
) -> tuple[tuple[ClipInfo, ...], str]:
    """The clips that a saved report's annotated clip was drawn from, in the order of its
    landmarks; none, and why, where one of them is not to be had. No reason where none was drawn
    and none is asked for."""
    annotated = saved.get("annotated")
    if not clips_in:
        if not (folder / DRAWN_CLIP).is_file():
            return (), ""
        if annotated is None:
            return (), "the report does not say whether faces were blurred in it"
    sources = annotated["sources"] if annotated else [_UNKNOWN] * len(saved["clips"])
    found = []
    for said, clip in zip(sources, saved["clips"], strict=True):
        was = None if said["path"] is None else folder / said["path"]
        if clip["sha256"] is None or (was is None and not clips_in):
            return (), "the report does not say where its clip lies"
        path = find_clip(was, clip["sha256"], folder, clips_in)
        if path is None:
            return (), _not_there(plain(clip["file"]), was, bool(clips_in))
        found.append(probe_apart(path))
    return tuple(found), ""


def _not_there(name: str, was: Path | None, sought: bool) -> str:
    if sought:
        return f"{name} is not where you said"
    changed = was is not None and was.is_file()
    return f"{name} is " + (
        "not the clip that was judged any more" if changed else "no longer where it was"
    )


def _whose(saved: dict[str, Any], alone: Direction) -> Weeks | None:
    """Whose set a saved report is, and when it was recorded, where it says so."""
    if not all(isinstance(saved.get(name), str) for name in ("person", "recorded_at")):
        return None
    return Weeks(saved["person"], saved["recorded_at"], saved.get("recorded_from", "given"), alone)
