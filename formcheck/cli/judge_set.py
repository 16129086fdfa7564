"""``formcheck set``: one set, from one or two clips, to a folder with its report."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, cast

import typer

from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.cli.asked import (
    AllowFaultyOption,
    ArmsOption,
    BlurFacesOption,
    CountsOption,
    DrawingOption,
    FreshOption,
    HandsOption,
    LimitsOption,
    ModelOption,
    OverwriteOption,
    PainOption,
    PoseRateOption,
    RangeOption,
    RepRangeOption,
    RepsLeftOption,
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
from formcheck.cli.log import LogFile, LongBreak, SetsInARow, log_ask, print_weeks
from formcheck.cli.progress import progress_bar
from formcheck.job import SetJob
from formcheck.job import judge_set as run
from formcheck.pose.model import DEFAULT_MODEL, POSE_RATE_HZ

if TYPE_CHECKING:
    from formcheck.signals.view import ViewKind

_PROCESSES = 2  # each holds the model, some 350 MB


def judge_set(
    clips: Annotated[
        list[Path],
        typer.Argument(
            metavar="CLIP [CLIP]",
            show_default=False,
            help="The set filmed from one view or two, in any order; or landmarks.parquet of an "
            "earlier report, or of another tracker.",
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            parser=folder,
            metavar="DIR",
            help="Folder of the report. Default: named after the clip.",
            rich_help_panel=OUTPUT,
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    xlsx: Annotated[
        bool, typer.Option("--xlsx", help="Write reps.xlsx too.", rich_help_panel=OUTPUT)
    ] = False,
    note: Annotated[
        str, typer.Option(help="A remark to show on the report.", rich_help_panel=OUTPUT)
    ] = "",
    tempo: TempoOption = None,
    range_standard: RangeOption = "elbow-90",
    counts: CountsOption = "range",
    standard: StandardOption = None,
    reps: RepsOption = None,
    rep_range: RepRangeOption = None,
    allow_faulty: AllowFaultyOption = None,
    reps_left: RepsLeftOption = None,
    pain: PainOption = None,
    hands: HandsOption = None,
    support: SupportOption = None,
    surface: SurfaceOption = None,
    arms: ArmsOption = None,
    working_arm: WorkingArmOption = None,
    rings: Annotated[
        bool, typer.Option("--rings", help="On rings or straps.", rich_help_panel=ASKED)
    ] = False,
    rings_turned_out: Annotated[
        bool,
        typer.Option(
            "--rings-turned-out", help="On rings, turned out at the top.", rich_help_panel=ASKED
        ),
    ] = False,
    supinated_hands: Annotated[
        bool,
        typer.Option("--supinated-hands", help="Fingers point to the feet.", rich_help_panel=ASKED),
    ] = False,
    added_load_kg: Annotated[
        float, typer.Option(min=0.0, help="Weight worn.", rich_help_panel=ASKED)
    ] = 0.0,
    added_load_place: Annotated[
        Literal["back", "vest", "belt"] | None,
        typer.Option(help="Where the weight is worn.", rich_help_panel=ASKED),
    ] = None,
    stature_m: Annotated[
        float | None,
        typer.Option(
            min=0.5, max=2.6, help="Body height; speeds are then in m/s.", rich_help_panel=PERSON
        ),
    ] = None,
    body_mass_kg: Annotated[
        float | None,
        typer.Option(
            min=10.0, max=400.0, help="Body mass; loads are then in kg.", rich_help_panel=PERSON
        ),
    ] = None,
    sex: Annotated[
        Literal["female", "male"] | None,
        typer.Option(help="For body segment masses.", rich_help_panel=PERSON),
    ] = None,
    person: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="Enter the set in this person's log; what it knows of them is used.",
            rich_help_panel=PERSON,
        ),
    ] = None,
    recorded: Annotated[
        str | None,
        typer.Option(
            metavar="DATE",
            help="When it was recorded: 2026-09-01T18:30. Default: as the clip says.",
            rich_help_panel=CLIP,
        ),
    ] = None,
    log: LogFile = None,
    sets_in_a_row: SetsInARow = 2,
    long_break_days: LongBreak = 21,
    view: Annotated[
        list[str] | None,
        typer.Option(
            metavar="[side|front|oblique|rear]",
            help="The view of a clip, if recognised wrongly; once for each clip.",
            rich_help_panel=CLIP,
        ),
    ] = None,
    limits: LimitsOption = None,
    model: ModelOption = DEFAULT_MODEL,
    pose_rate: PoseRateOption = POSE_RATE_HZ,
    drawing: DrawingOption = True,
    blur_faces: BlurFacesOption = False,
    fresh: FreshOption = False,
) -> None:
    """Judge one push-up set: which reps count, how they were done, what to train next.

    Writes report.html, report.json, reps.csv, annotated.mp4 and landmarks.parquet.
    """
    prescription = Prescription(
        tempo=tempo,
        range_standard=range_standard,
        counts=counts,
        standard=standard,
        target_reps=reps,
        rep_range=rep_range_of(rep_range),
        allow_faulty=allow_faulty,
        reps_left=reps_left,
        pain=pain,
        hands=hands,
        support=support,
        surface=surface,
        arms=arms,
        working_arm=one_arm_of(arms, working_arm),
        rings=rings or rings_turned_out,
        rings_turned_out=rings_turned_out,
        supinated_hands=supinated_hands,
        added_load_kg=added_load_kg,
        added_load_place=added_load_place,
    )
    job = SetJob(
        clips=tuple(clips),
        out=out,
        prescription=prescription,
        person=Person(stature_m, body_mass_kg, sex),
        limits=limits_of(limits),
        views=tuple(cast("list[ViewKind]", view or [])),
        model=model,
        pose_rate_hz=pose_rate,
        note=note,
        drawing=drawing,
        blur_faces=blur_faces,
        xlsx=xlsx,
        overwrite=overwrite,
        fresh=fresh,
        processes=min(_PROCESSES, os.cpu_count() or 1),
        log=log_ask(person, log, recorded, sets_in_a_row, long_break_days),
    )
    with progress_bar() as on_progress:
        outcome = run(job, on_progress)
    from formcheck.cli.summary import print_summary  # reads and judges: slow to import

    print_summary(outcome.analysis, outcome.folder)
    print_weeks(outcome)
    if outcome.exit_code:
        raise typer.Exit(int(outcome.exit_code))
