"""``formcheck demo``: the set that ships, judged, and its report opened."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from formcheck.cli.asked import OverwriteOption, folder
from formcheck.cli.help import OUTPUT
from formcheck.errors import FormcheckError

_CLIP = "hip_sag_side.mp4"
# In an installed package; in a checkout.
_FOLDERS = tuple(Path(__file__).parents[n] / "sample_clips" for n in (1, 2))


class SampleError(FormcheckError):
    """The sample clip is not where it was installed."""


def demo(
    out: Annotated[
        Path | None,
        typer.Option(
            parser=folder,
            metavar="DIR",
            help="Folder of the report. Default: formcheck_demo.",
            rich_help_panel=OUTPUT,
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    open_it: Annotated[
        bool,
        typer.Option(
            "--open/--no-open", help="Open the page in the browser.", rich_help_panel=OUTPUT
        ),
    ] = True,
) -> None:
    """Judge the sample set that comes with formcheck, and open its report.

    A rendered clip of six reps whose hips sink more and more; nothing is downloaded. Takes about
    half a minute the first time.
    """
    from formcheck.cli.progress import progress_bar
    from formcheck.cli.summary import print_summary
    from formcheck.desk.browser import open_page
    from formcheck.job import SetJob, judge_set

    clip = sample_clip()
    job = SetJob(
        clips=(clip,),
        out=out or Path("formcheck_demo"),
        overwrite=overwrite,
        processes=min(2, os.cpu_count() or 1),
    )
    with progress_bar() as on_progress:
        outcome = judge_set(job, on_progress)
    print_summary(outcome.analysis, outcome.folder)
    page = outcome.folder / "report.html"
    if not (open_it and open_page(page.absolute().as_uri())):
        print(f"Open {page} in a browser.")
    print("Your own set: formcheck set CLIP, or formcheck desk for a page to drop clips on.")


def sample_clip() -> Path:
    """The clip that is judged. Raises SampleError when the installation lacks it."""
    found = next((one / _CLIP for one in _FOLDERS if (one / _CLIP).is_file()), None)
    if found is None:
        raise SampleError(
            f"the sample clip {_CLIP} is missing from this installation; install formcheck again."
        )
    return found
