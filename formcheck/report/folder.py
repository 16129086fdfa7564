"""The folder of one set's report: it appears whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import mkdtemp

from formcheck.errors import OutputError
from formcheck.files import cut_name
from formcheck.locks import PARTIAL, hold, open_folder

TRACK_FILES = ("landmarks.parquet", "landmarks_2.parquet")  # of each view, in order
REPORT, DRAWN_CLIP = "report.json", "annotated.mp4"
# What a set's folder may hold; other files in it are the user's and are never touched. The report
# comes last: a folder that has it is whole.
MADE = (*TRACK_FILES, "reps.csv", "reps.xlsx", "report.html", DRAWN_CLIP, REPORT)
# In a scratch folder: what is being taken out of the report's folder, and all of it when it is.
_EARLIER, _REPLACED = "earlier", "replaced"
_MADE_ABOVE = 3  # folders, in which a scratch folder may lie
_NAME_BYTES = 100  # of a folder's name in that of its scratch folder


def check_free(out: Path, overwrite: bool, inputs: Sequence[Path] = ()) -> None:
    """Raise OutputError when a report may not or cannot be written to ``out``.

    That is when it holds a report and ``overwrite`` is not asked; when a file of the report would
    take the place of one of the ``inputs``, or of a folder; or when it is a file.
    """
    try:
        if out.exists() and not out.is_dir():
            raise OutputError(f"{out} is a file; choose a folder with --out.")
        there = [out / name for name in MADE if os.path.lexists(out / name)]
        for path in there:
            if path.is_dir() and not path.is_symlink():
                raise OutputError(
                    f"{path} is a folder, where a file of the report goes; choose another folder "
                    "with --out."
                )
            if any(_same(path, given) for given in inputs):
                raise OutputError(
                    f"{path} was given to be judged, and its report would take its place; choose "
                    "another folder with --out."
                )
    except OSError as error:
        raise OutputError(_cannot_be_written(out, error)) from error
    if there and not overwrite:
        raise OutputError(
            f"{out} already holds a report: replace it with --overwrite, or choose another folder "
            "with --out."
        )


@contextmanager
def made_whole(out: Path, overwrite: bool = False, inputs: Sequence[Path] = ()) -> Iterator[Path]:
    """A scratch folder whose files move into ``out`` when the block ends well.

    Files of an earlier report that were not made again go; until then nothing of it is
    touched. On any error the scratch folder goes and ``out`` stays as it was; what a run that was
    killed left behind is put right by the next one. Raises OutputError as ``check_free``, at the
    beginning and, should another run have been faster, at the end.
    """
    try:
        existing = next(folder for folder in (out, *out.absolute().parents) if folder.exists())
    except OSError as error:
        raise OutputError(_cannot_be_written(out, error)) from error
    # A run that made the folders above lies further up, if it was killed.
    for folder in (existing, *existing.absolute().parents[:_MADE_ABOVE]):
        if folder.is_dir():
            put_right(folder)
    check_free(out, overwrite, inputs)
    with ExitStack() as kept:
        try:
            name = cut_name(out.name, _NAME_BYTES)
            with _held(existing):  # nobody may find the scratch folder before it is held
                scratch = Path(mkdtemp(prefix=f".{name}.", suffix=PARTIAL, dir=existing))
                kept.callback(shutil.rmtree, scratch, ignore_errors=True)
                kept.enter_context(_held(scratch))
        except OSError as error:
            raise OutputError(_cannot_be_written(out, error)) from error
        try:
            yield scratch
            out.mkdir(parents=True, exist_ok=True)
            with _held(out):
                check_free(out, overwrite, inputs)
                _move_in(scratch, out)
        except OSError as error:
            raise OutputError(
                f"{out} could not be written ({error.strerror or error}); free some space or "
                "choose another folder with --out."
            ) from error


def put_right(folder: Path) -> None:
    """Remove what runs that were killed left in a folder, and undo what one did by half."""
    there = [left for left in folder.glob(f".*{PARTIAL}") if left.is_dir()]
    if not there:
        return
    with contextlib.suppress(OSError), _held(folder):
        for left in there:
            if left.is_symlink() or not _abandoned(left):
                continue
            with contextlib.suppress(OSError):
                if not os.path.lexists(folder / REPORT):
                    _put_back(left, folder)
            shutil.rmtree(left, ignore_errors=True)


def put_right_below(root: Path) -> None:
    """``put_right`` wherever a killed run left something in or under a folder, or beside it."""
    with contextlib.suppress(OSError):
        for left in {left.parent for left in root.rglob(f".*{PARTIAL}")} | {root.parent}:
            put_right(left)


def _move_in(scratch: Path, out: Path) -> None:
    """Replace a report; should that fail half way, the earlier one is put back."""
    earlier = scratch / _EARLIER
    earlier.mkdir()
    try:
        for name in reversed(MADE):
            if os.path.lexists(out / name):
                (out / name).rename(earlier / name)
        earlier.rename(scratch / _REPLACED)
        for name in MADE:
            if (scratch / name).exists():
                (scratch / name).rename(out / name)
    except BaseException:
        _put_back(scratch, out)
        raise


def _put_back(scratch: Path, out: Path) -> None:
    """Undo what ``_move_in`` did before it was ended."""
    replaced, earlier = scratch / _REPLACED, scratch / _EARLIER
    if replaced.exists():
        for name in MADE:
            (out / name).unlink(missing_ok=True)
    for path in (replaced if replaced.exists() else earlier).glob("*"):
        path.rename(out / path.name)


def _same(path: Path, given: Path) -> bool:
    try:
        return path.samefile(given)
    except OSError:
        return False


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    """Hold a folder for this process; the system lets go of it however the process ends."""
    file = open_folder(folder)
    try:
        if file is not None:
            hold(file, wait=True)
        yield
    finally:
        if file is not None:
            os.close(file)


def _abandoned(scratch: Path) -> bool:
    """Whether no process holds this scratch folder; unknown counts as held."""
    try:
        file = open_folder(scratch)
    except OSError:
        return False
    if file is None:
        return False
    try:
        return bool(hold(file))
    finally:
        os.close(file)


def _cannot_be_written(out: Path, error: OSError) -> str:
    return f"{out} cannot be written ({error.strerror}); choose another folder with --out."
