"""Time of the training log with 2,000 sets in it.

    python -m tests.truth.log_speed

Prints seconds of the whole process of `formcheck log trend`, and of entering a set. The bars are
1 s and 50 ms on a machine with nothing else to do.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from formcheck.log.enter import Recorded, enter
from formcheck.log.store import changing, open_log, put_set
from tests.log.made_up import FIRST, entry, write_report

SETS = 2000
TREND = "from formcheck.cli import app; app()"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        with open_log(path, write=True) as log, changing(log, path):
            for n in range(SETS):
                # Twelve a fortnight, each on its own day where it can be: as many points as any.
                put_set(log, entry(n * 14 / 12, elbow_bottom_deg=85.0 + n % 7))
        started = []
        for _ in range(5):
            since = time.perf_counter()
            subprocess.run(
                [sys.executable, "-c", TREND, "log", "trend", "--log", str(path)],
                check=True,
                capture_output=True,
            )
            started.append(time.perf_counter() - since)
        entered = []
        for n in range(30):
            report = write_report(Path(folder) / str(n), f"{n:064x}")
            since = time.perf_counter()
            enter(report, "ana", Recorded(FIRST, "given"), path)
            entered.append(time.perf_counter() - since)
    print(f"{SETS} sets in the log")
    print(f"log trend, whole process: median {median(started):.2f} s, worst {max(started):.2f} s")
    print(
        f"entering a set: median {1000 * median(entered):.0f} ms, "
        f"worst {1000 * max(entered[1:]):.0f} ms"
    )


if __name__ == "__main__":
    main()
