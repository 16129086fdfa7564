"""Removing what formcheck made of a person's sets."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path

from formcheck.log.enter import REPORT
from formcheck.log.entry import SetEntry
from formcheck.pose.cache import forget

# What a report's folder may hold of ours; anything else in it is the user's and stays. The
# report goes last: until then it says whose the folder is.
_OURS = (
    "reps.csv", "reps.xlsx", "report.html", "annotated.mp4",
    "landmarks.parquet", "landmarks_2.parquet", REPORT,
)  # fmt: skip


def remove_reports(sets: Sequence[SetEntry]) -> list[Path]:
    """Remove the reports of these sets, and the poses kept of their clips.

    A folder that holds another's report by now is left alone. Returns what could not be removed.
    """
    left = []
    for entry in sets:
        folder = Path(entry.folder)
        if not _is_of(folder, entry.person):
            continue
        for name in _OURS:
            try:
                (folder / name).unlink(missing_ok=True)
            except OSError:
                left.append(folder / name)
                break
        with contextlib.suppress(OSError):
            folder.rmdir()  # only when nothing of the user's is in it
    forget({clip.key for entry in sets for clip in entry.clips})
    return left


def _is_of(folder: Path, person: str) -> bool:
    try:
        report = json.loads((folder / REPORT).read_text(encoding="utf-8"))
        return str(report["person"]).casefold() == person.casefold()
    except (OSError, ValueError, KeyError, TypeError):
        return False
