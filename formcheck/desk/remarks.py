"""Remarks to the trainee, kept beside the set and printed in its report."""

from __future__ import annotations

import contextlib

from formcheck.batch.records import write_whole
from formcheck.desk.folder import DeskError, DeskFolder, DeskSet
from formcheck.files import read_small
from formcheck.plain import plain
from formcheck.report.page.remarks import with_remarks

LONGEST = 500  # letters of a remark
_PAGE = "report.html"
_LARGEST_PAGE = 20_000_000


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
    """Bring the remarks in the report's page up to date; a set without a page has none."""
    path = folder.report(one.id) / _PAGE
    with contextlib.suppress(OSError):
        page = read_small(path, _LARGEST_PAGE).decode("utf-8")
        remarked = with_remarks(page, folder.remarks(one))
        if remarked != page:
            write_whole(path, remarked.encode("utf-8"))
