"""Removing what formcheck made of a person's sets."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path

from formcheck.log.entry import SetEntry

# What a report's folder may hold of ours; anything else in it is the user's and stays.
_OURS = (
    "report.json", "reps.csv", "reps.xlsx", "report.html", "annotated.mp4",
    "landmarks.parquet", "landmarks_2.parquet",
)  # fmt: skip


def remove_reports(sets: Sequence[SetEntry]) -> list[Path]:
    """Remove the reports of these sets and the poses kept of their clips; returns what is left
    that could not be removed."""
    left = []
    for folder in {Path(one.folder) for one in sets}:
        for name in _OURS:
            try:
                (folder / name).unlink(missing_ok=True)
            except OSError:
                left.append(folder / name)
        with contextlib.suppress(OSError):
            folder.rmdir()  # only when nothing of the user's is in it
    return left
