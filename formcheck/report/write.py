"""Write everything a set produces into one folder."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from formcheck.analysis import Analysis
from formcheck.report.contract import NO_REMARKS, HowAnnotated, check, report_dict
from formcheck.report.folder import DRAWN_CLIP
from formcheck.report.page.page import page_html
from formcheck.report.page.remarks import with_remarks
from formcheck.report.tables import reps_table, write_reps_csv, write_xlsx
from formcheck.report.weeks import Weeks

if TYPE_CHECKING:
    from formcheck.clip.small import Drawn


def write_report(
    analysis: Analysis,
    clips: Sequence[Drawn | None],
    out_dir: Path,
    *,
    xlsx: bool = False,
    note: str = "",
    remarks: Mapping[int, str] = NO_REMARKS,
    weeks: Weeks | None = None,
    blur_faces: bool = False,
    sources: Sequence[str | None] = (),
    on_frame: Callable[[float], None] | None = None,
) -> None:
    """``report.json reps.csv report.html annotated.mp4`` (and ``reps.xlsx``) into ``out_dir``.

    ``clips`` one for each of ``analysis.looks``, in that order; None (or an empty
    sequence) where there is no clip, only a pose track: the page then comes without video.
    ``note`` is the user's remark shown on the page, ``remarks`` those beside reps, ``weeks`` what
    the training log adds, ``blur_faces`` hides the person's face in clip and pictures. ``sources``
    where each of ``clips`` lies from the report's folder, where that may be said.
    ``on_frame`` is told the seconds of the clip drawn so far. Works for a set without a rep, and
    says so. Raises ClipError when a clip cannot be read, ContractError when a value from outside
    breaks the report's contract; files already in ``out_dir`` are overwritten.
    """
    drawn = [one for one in clips if one is not None]
    drawing = bool(drawn) and len(drawn) == len(analysis.looks)
    annotated = HowAnnotated(blur_faces, tuple(sources)) if drawing else None
    report = report_dict(analysis, weeks, note, remarks, annotated)
    check(report)
    out_dir.mkdir(parents=True, exist_ok=True)
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False)
    (out_dir / "report.json").write_text(text + "\n", encoding="utf-8")
    write_reps_csv(report, out_dir / "reps.csv")
    if xlsx:
        write_xlsx(reps_table(report), out_dir / "reps.xlsx")
    clip = None
    if drawing:
        from formcheck.report.video.annotate import annotate  # a track alone is not drawn

        clip = annotate(analysis, drawn, out_dir / DRAWN_CLIP, on_frame, blur_faces=blur_faces)
    page = page_html(analysis, clip, DRAWN_CLIP, note, weeks)
    page = with_remarks(page, remarks)
    (out_dir / "report.html").write_text(page, encoding="utf-8")
