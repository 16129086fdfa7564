"""The folder of one set's report: it appears whole or not at all."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp

from formcheck.errors import OutputError

TRACK_FILES = ("landmarks.parquet", "landmarks_2.parquet")  # of each view, in order
# What a set's folder may hold; other files in it are the user's and are never touched.
MADE = (*TRACK_FILES, "report.json", "reps.csv", "reps.xlsx", "report.html", "annotated.mp4")


def check_free(out: Path, overwrite: bool) -> None:
    """Raise OutputError when ``out`` holds a report that may not be replaced."""
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out} is a file; choose a folder with --out.")
    if not overwrite and any((out / name).exists() for name in MADE):
        raise OutputError(
            f"{out} already holds a report: replace it with --overwrite, or choose another folder "
            "with --out."
        )


@contextmanager
def made_whole(out: Path) -> Iterator[Path]:
    """A scratch folder whose files move into ``out`` when the block ends well.

    Files of an earlier report that were not made again go; until then nothing of it is
    touched. On any error the scratch folder goes and ``out`` stays as it was.
    """
    existing = next(folder for folder in (out, *out.absolute().parents) if folder.exists())
    try:
        scratch = Path(mkdtemp(prefix=f".{out.name}.", suffix=".partial", dir=existing))
    except OSError as error:
        raise OutputError(
            f"{out} cannot be written ({error.strerror}); choose another folder with --out."
        ) from error
    try:
        yield scratch
        out.mkdir(parents=True, exist_ok=True)
        for name in MADE:
            if (scratch / name).exists():
                (scratch / name).replace(out / name)
            else:
                (out / name).unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(
            f"{out} could not be written ({error.strerror or error}); free some space or choose "
            "another folder with --out."
        ) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
