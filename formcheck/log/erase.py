"""Removing what formcheck made of a person's sets."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path

from formcheck.log.enter import REPORT
from formcheck.log.entry import SetEntry
from formcheck.pose.cache import forget
from formcheck.report.folder import MADE


def remove_reports(sets: Sequence[SetEntry]) -> list[Path]:
    """Remove the reports of these sets, and the poses kept of their clips.

    A folder that holds another's report by now is left alone. Returns what could not be removed.
    """
    left = []
    for entry in sets:
        folder = Path(entry.folder)
        if not _is_of(folder, entry.person):
            continue
        for name in sorted(MADE, key=REPORT.__eq__):  # last the one that says whose it is
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
