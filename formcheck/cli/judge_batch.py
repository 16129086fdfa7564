"""``formcheck batch``: a folder of clips to a folder of reports and a summary."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from formcheck.asked.prescription import Prescription
from formcheck.cli.asked import (
    AllowFaultyOption,
    ArmsOption,
    BlurFacesOption,
    CountsOption,
    DrawingOption,
    HandsOption,
    LimitsOption,
    ModelOption,
    PoseRateOption,
    RangeOption,
    RepRangeOption,
    RepsOption,
    StandardOption,
    SupportOption,
    SurfaceOption,
    TempoOption,
    WorkingArmOption,
    folder,
    limits_of,
    one_arm_of,
    rep_range_of,
)
from formcheck.cli.help import ASKED, CLIP, OUTPUT, PERSON
from formcheck.cli.log import LogFile, LongBreak, SetsInARow
from formcheck.job import SetJob
from formcheck.pose.model import DEFAULT_MODEL, POSE_RATE_HZ


def judge_batch(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER",
            show_default=False,
            help="Where the clips are; a person's clips in a folder named after them.",
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            parser=folder,
            metavar="DIR",
            help="Folder of the reports. Default: named after FOLDER.",
            rich_help_panel=OUTPUT,
        ),
    ] = None,
    roster: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Who is in which clip, and what was asked: .csv, .xlsx or .toml.",
            rich_help_panel=ASKED,
        ),
    ] = None,
    write_roster: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Only write a roster of what is found, to fill in.",
            rich_help_panel=ASKED,
        ),
    ] = None,
    watch: Annotated[
        bool,
        typer.Option(
            "--watch", help="Keep looking for new clips until interrupted.", rich_help_panel=CLIP
        ),
    ] = False,
    tempo: TempoOption = None,
    range_standard: RangeOption = "elbow-90",
    counts: CountsOption = "range",
    standard: StandardOption = None,
    reps: RepsOption = None,
    rep_range: RepRangeOption = None,
    allow_faulty: AllowFaultyOption = None,
    hands: HandsOption = None,
    support: SupportOption = None,
    surface: SurfaceOption = None,
    arms: ArmsOption = None,
    working_arm: WorkingArmOption = None,
    limits: LimitsOption = None,
    model: ModelOption = DEFAULT_MODEL,
    pose_rate: PoseRateOption = POSE_RATE_HZ,
    drawing: DrawingOption = True,
    blur_faces: BlurFacesOption = False,
    xlsx: Annotated[
        bool,
        typer.Option(
            "--xlsx",
            help="Write summary.xlsx, and reps.xlsx of each set, too.",
            rich_help_panel=OUTPUT,
        ),
    ] = False,
    codes: Annotated[
        bool,
        typer.Option(
            "--codes", help="Write codes in place of names and file names.", rich_help_panel=OUTPUT
        ),
    ] = False,
    codes_key: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Who each code stands for; implies --codes. Default: DIR.codes.csv beside DIR.",
            rich_help_panel=OUTPUT,
        ),
    ] = None,
    fresh: Annotated[
        bool,
        typer.Option(
            "--fresh", help="Judge everything again, and find the pose again.", rich_help_panel=CLIP
        ),
    ] = False,
    again_failed: Annotated[
        bool,
        typer.Option("--again-failed", help="Try sets again that failed and have not changed."),
    ] = False,
    workers: Annotated[
        int, typer.Option(min=0, help="Sets judged at once. 0: as many as cores and memory allow.")
    ] = 0,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="HOST:PORT",
            help="Judge on the workers of this Dask scheduler, which must see FOLDER and DIR.",
        ),
    ] = None,
    longest: Annotated[
        float,
        typer.Option(
            min=0.1, metavar="MINUTES", help="A longer clip is not judged.", rich_help_panel=CLIP
        ),
    ] = 20.0,
    patience: Annotated[
        float, typer.Option(min=0.01, help="Times the usual limit that a set may take.")
    ] = 1.0,
    in_log: Annotated[
        bool,
        typer.Option(
            "--in-log",
            help="Enter the sets of everyone who is named in their log.",
            rich_help_panel=PERSON,
        ),
    ] = False,
    log: LogFile = None,
    sets_in_a_row: SetsInARow = 2,
    long_break_days: LongBreak = 21,
) -> None:
    """Judge every push-up set in a folder, and sum up who did what.

    Run it again after anything: only what is missing or changed is judged. Writes a report folder
    a set, summary.html, summary.csv and reps.parquet.
    """
    from formcheck.batch.run import BatchJob, default_out, roster_to_fill_in, run_batch
    from formcheck.batch.watch import watch_batch
    from formcheck.cli.batch_progress import BatchScreen
    from formcheck.log.next_step import StepRules
    from formcheck.log.today import LogAsk

    where = out or default_out(folder)
    job = BatchJob(
        folder=folder,
        out=where,
        each=SetJob(
            clips=(),
            prescription=Prescription(
                tempo=tempo,
                range_standard=range_standard,
                counts=counts,
                standard=standard,
                target_reps=reps,
                rep_range=rep_range_of(rep_range),
                allow_faulty=allow_faulty,
                hands=hands,
                support=support,
                surface=surface,
                arms=arms,
                working_arm=one_arm_of(arms, working_arm),
            ),
            limits=limits_of(limits),
            model=model,
            pose_rate_hz=pose_rate,
            drawing=drawing,
            blur_faces=blur_faces,
            xlsx=xlsx,
            fresh=fresh,
            log=LogAsk("", log, None, StepRules(sets_in_a_row, long_break_days))
            if in_log or log
            else None,
        ),
        roster=roster,
        codes_key=codes_key or (Path(f"{where}.codes.csv") if codes else None),
        count=workers,
        scheduler=scheduler,
        longest_min=longest,
        patience=patience,
        again_failed=again_failed,
    )
    if write_roster is not None:
        found = roster_to_fill_in(job, write_roster)
        print(f"{write_roster}: {found} {'clip' if found == 1 else 'clips'} to fill in")
        return
    screen = BatchScreen(where)
    with screen:
        if watch:
            watch_batch(job, screen.show, screen.close_round)
            return
        outcome = run_batch(job, screen.show)
        screen.close_round(outcome)
    if outcome.exit_code:
        raise typer.Exit(int(outcome.exit_code))
