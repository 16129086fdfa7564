"""Remarks to the trainee, kept beside the set and printed in its report."""

from __future__ import annotations

import contextlib
import json

from formcheck.batch.records import write_whole
from formcheck.desk.folder import DeskError, DeskFolder, DeskSet, read_report
from formcheck.files import read_small
from formcheck.plain import plain
from formcheck.report.contract import check, remarks_field
from formcheck.report.folder import REPORT
from formcheck.report.page.remarks import with_remarks

LONGEST = 500  # letters of a remark
_PAGE = "report.html"
_LARGEST = 20_000_000


def remark(folder: DeskFolder, one: DeskSet, rep: int, says: str) -> None:
    """Write a remark beside a rep, in place of what was there; an empty one takes it away."""
    says = plain(" ".join(says.split()))
    if len(says) > LONGEST:
        raise DeskError(f"a remark has at most {LONGEST} letters.")
    kept = folder.remarks(one)
    kept.pop(rep, None)
    folder.keep_remarks(one, {**kept, rep: says} if says else kept)
    print_remarks(folder, one)


def print_remarks(folder: DeskFolder, one: DeskSet) -> None:
    """Bring the remarks in the report's page and data up to date, where it has them."""
    remarks, report = folder.remarks(one), folder.report(one.id)
    with contextlib.suppress(OSError):
        page = read_small(report / _PAGE, _LARGEST).decode("utf-8")
        remarked = with_remarks(page, remarks)
        if remarked != page:
            write_whole(report / _PAGE, remarked.encode("utf-8"))
    if (told := read_report(report)) is not None:
        told = {**told, "remarks": remarks_field(remarks)}
        if told != read_report(report):
            check(told)
            text = json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False)
            write_whole(report / REPORT, f"{text}\n".encode())
