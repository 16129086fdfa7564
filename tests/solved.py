"""Sets that are fitted once a run of the tests, however many tests and processes look at them.

The fit of a body (`signals.body_fit`) is a pure function of its arguments and the calibration in
use, and most of what judging a set costs.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from formcheck.job import Outcome, SetJob, judge_set
from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.signals import calibration, curves
from formcheck.signals.body_fit import BodyFit, fit_body

# Where the fits of this run lie, for the processes that tests start.
FOLDER = "FORMCHECK_TESTS_SOLVED"


class Solved:
    """Fits in a folder; ``saved_s`` of processor time that they took when they were made."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.saved_s = folder, 0.0
        self._known: dict[str, tuple[BodyFit | None, float]] = {}

    def fit(
        self, points_px: Mapping[str, FloatArray], in_position: BoolArray, *more: object
    ) -> BodyFit | None:
        """As `fit_body`."""
        seen = hashlib.sha256(in_position.tobytes() + pickle.dumps((calibration.in_use(), more)))
        for name, points in sorted(points_px.items()):
            seen.update(name.encode() + points.tobytes())
        key = seen.hexdigest()
        file = self.folder / key
        if key not in self._known and file.exists():
            self._known[key] = pickle.loads(file.read_bytes())
        if key in self._known:
            self.saved_s += self._known[key][1]
            return self._known[key][0]
        began = time.process_time()
        fitted = fit_body(points_px, in_position, *more)  # type: ignore[arg-type]
        self._known[key] = fitted, time.process_time() - began
        partial = self.folder / f"{key}.{os.getpid()}"
        partial.write_bytes(pickle.dumps(self._known[key]))
        partial.replace(file)
        return fitted


def remember(folder: Path) -> Solved:
    """From now on this process takes fits from the folder, and leaves there those it makes."""
    solved = Solved(folder)
    vars(curves)["fit_body"] = solved.fit
    return solved


@contextmanager
def remembered(folder: Path) -> Iterator[None]:
    """`remember`, in this process until the block ends, and in those whose judge is `judge`."""
    folder.mkdir(exist_ok=True)
    os.environ[FOLDER] = str(folder)
    remember(folder)
    try:
        yield
    finally:
        vars(curves)["fit_body"] = fit_body
        del os.environ[FOLDER]


def judge(job: SetJob) -> Outcome:
    """As `judge_set`, in a process that tests started."""
    remember(Path(os.environ[FOLDER]))
    return judge_set(job)
