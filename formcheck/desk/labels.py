"""How people see reps differently: rows of the table that “formcheck agree” reads.

Nothing here touches what was measured. Every verdict is kept with its time; a person who changes
their mind about a rep replaces their own.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from formcheck.agree.labels import Label, LabelsError, labels_from, labels_table, read_labels
from formcheck.batch.records import write_whole
from formcheck.faults.catalogue import fault_kinds

FILE = "labels.csv"
_writing = threading.Lock()


@dataclass(frozen=True)
class Labels:
    """The verdicts kept in one file."""

    path: Path

    def add(self, labels: Iterable[Label]) -> None:
        """Keep verdicts, checked as they will be read. Raises LabelsError, OutputError."""
        new = tuple(labels)
        labels_from(labels_table(new), fault_kinds(), "label")
        with _writing:
            kept = [one for one in self.read() if not any(_same(one, other) for other in new)]
            text = labels_table([*kept, *new]).to_csv(index=False)
            write_whole(self.path, text.encode("utf-8"))

    def read(self) -> tuple[Label, ...]:
        """All verdicts. Raises LabelsError where somebody spoiled the file by hand."""
        return read_labels(self.path, fault_kinds()) if self.path.exists() else ()

    def of(self, set_id: str) -> tuple[Label, ...]:
        """The verdicts on one set; none where the file cannot be read."""
        try:
            return tuple(one for one in self.read() if one.set == set_id)
        except LabelsError:
            return ()


def _same(one: Label, other: Label) -> bool:
    about = (one.set, one.rep, one.fault, one.who)
    return about == (other.set, other.rep, other.fault, other.who)


def now() -> datetime:
    return datetime.now().astimezone().replace(microsecond=0)
