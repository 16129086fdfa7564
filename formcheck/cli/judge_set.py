"""``formcheck set``: one set, from one or two clips, to a folder with its report.

What is slow to import is imported where it is used: the processes that look for the pose
start from this module too.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, cast, get_args

import typer

from formcheck.asked.person import Person
from formcheck.asked.prescription import HandSpacing, Prescription, RangeStandard
from formcheck.asked.tempo import Tempo, TempoError, parse_tempo
from formcheck.cli.output import TRACK_FILES, check_free, made_whole
from formcheck.errors import Exit
from formcheck.pose.model import DEFAULT_MODEL, POSE_RATE_HZ, PoseModel, find_model
from formcheck.pose.track import PoseTrack
from formcheck.signals.view import ViewKind

if TYPE_CHECKING:
    from formcheck.analysis import Analysis
    from formcheck.clip.read import ClipInfo

    _Given = ClipInfo | PoseTrack  # a clip, or the pose track that was found in one

_PROCESSES = 2  # each holds the model, some 350 MB


def _tempo(text: str) -> Tempo:
    try:
        return parse_tempo(text)
    except TempoError as error:
        raise typer.BadParameter(str(error)) from error


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
        typer.Option(metavar="DIR", help="Folder of the report. Default: named after the clip."),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace the report that is already there.")
    ] = False,
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Write reps.xlsx too.")] = False,
    note: Annotated[str, typer.Option(help="A remark to show on the report.")] = "",
    tempo: Annotated[
        Tempo | None,
        typer.Option(
            parser=_tempo,
            metavar="E-B-C-T",
            help="Asked seconds down, at the bottom, up, at the top; X = as fast as possible. "
            "2-1-X-1, 21X1 and 3-0-1-0 are tempos.",
        ),
    ] = None,
    range_standard: Annotated[
        RangeStandard, typer.Option(help="How low a rep must go to count.")
    ] = "elbow-90",
    reps: Annotated[int | None, typer.Option(min=1, help="Clean reps asked for.")] = None,
    hands: Annotated[HandSpacing | None, typer.Option(help="Hand position asked for.")] = None,
    support: Annotated[
        Literal["toes", "knees"] | None, typer.Option(help="On toes or knees.")
    ] = None,
    surface: Annotated[
        Literal["floor", "hands_raised", "feet_raised", "wall"] | None,
        typer.Option(help="What hands and feet stand on."),
    ] = None,
    arms: Annotated[
        Literal["two", "archer", "one"] | None, typer.Option(help="Which arms work.")
    ] = None,
    rings: Annotated[bool, typer.Option("--rings", help="On rings or straps.")] = False,
    rings_turned_out: Annotated[
        bool, typer.Option("--rings-turned-out", help="On rings, turned out at the top.")
    ] = False,
    supinated_hands: Annotated[
        bool, typer.Option("--supinated-hands", help="Fingers point to the feet.")
    ] = False,
    added_load_kg: Annotated[float, typer.Option(min=0.0, help="Weight worn.")] = 0.0,
    added_load_place: Annotated[
        Literal["back", "vest", "belt"] | None, typer.Option(help="Where the weight is worn.")
    ] = None,
    stature_m: Annotated[
        float | None, typer.Option(min=0.5, max=2.6, help="Body height; speeds are then in m/s.")
    ] = None,
    body_mass_kg: Annotated[
        float | None, typer.Option(min=10.0, max=400.0, help="Body mass; loads are then in kg.")
    ] = None,
    sex: Annotated[
        Literal["female", "male"] | None, typer.Option(help="For body segment masses.")
    ] = None,
    view: Annotated[
        list[str] | None,
        typer.Option(
            metavar="[side|front|oblique|rear]",
            help="The view of a clip, if recognised wrongly; once for each clip.",
        ),
    ] = None,
    limits: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Your own limits; “formcheck limits” shows ours."),
    ] = None,
    model: Annotated[
        str, typer.Option(help="Landmark model: full, heavy, or the path of a bundle.")
    ] = DEFAULT_MODEL,
    pose_rate: Annotated[
        float,
        typer.Option(min=5.0, max=120.0, help="Pictures a second the pose is looked for in."),
    ] = POSE_RATE_HZ,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Find the pose again even if it is known.")
    ] = False,
) -> None:
    """Judge one push-up set: which reps count, how they were done, what to train next.

    Writes report.html, report.json, reps.csv, annotated.mp4 and landmarks.parquet.
    """
    from formcheck.analysis import analyse
    from formcheck.cli.summary import print_summary
    from formcheck.faults.limits import read_limits
    from formcheck.pose.store import write_track
    from formcheck.report.tables import check_xlsx

    if len(clips) > 2:
        raise typer.BadParameter("give one clip, or two clips of the same set.")
    prescription = Prescription(
        tempo=tempo,
        range_standard=range_standard,
        target_reps=reps,
        hands=hands,
        support=support,
        surface=surface,
        arms=arms,
        rings=rings or rings_turned_out,
        rings_turned_out=rings_turned_out,
        supinated_hands=supinated_hands,
        added_load_kg=added_load_kg,
        added_load_place=added_load_place,
    )
    person = Person(stature_m, body_mass_kg, sex)
    views = _views(view, len(clips))
    if xlsx:
        check_xlsx()
    judged_by = read_limits(limits)
    given = [_look_at(path) for path in clips]
    folder = out or _default_folder(given[0])
    check_free(folder, overwrite)
    landmarks = find_model(model)

    with made_whole(folder) as scratch:
        tracks = [
            one if isinstance(one, PoseTrack) else _pose(one, landmarks, pose_rate, fresh)
            for one in given
        ]
        analysis = analyse(tracks, prescription, judged_by, views, person)
        order = [look.clip for look in analysis.looks]
        for place, name in zip(order, TRACK_FILES, strict=False):
            write_track(tracks[place], scratch / name)
        _draw(analysis, [given[place] for place in order], scratch, xlsx, note)
    print_summary(analysis, folder)
    if analysis.empty:
        raise typer.Exit(int(Exit.NO_SET_FOUND))


def _views(given: list[str] | None, clips: int) -> list[ViewKind] | None:
    if not given:
        return None
    if len(given) != clips:
        raise typer.BadParameter("give --view once for each clip, in the same order.")
    for word in given:
        if word not in get_args(ViewKind):
            raise typer.BadParameter(
                f"“{word}” is no view: give one of {', '.join(get_args(ViewKind))}."
            )
    return cast("list[ViewKind]", given)


def _look_at(path: Path) -> _Given:
    from formcheck.clip.read import probe
    from formcheck.pose.store import read_track

    if path.suffix == ".parquet":
        return read_track(path)
    return probe(path)


def _default_folder(given: _Given) -> Path:
    """Here, named after the clip."""
    name = given.source_name if isinstance(given, PoseTrack) else given.path.name
    return Path(f"{Path(name).stem}_report")


def _pose(clip: ClipInfo, model: PoseModel, rate_hz: float, fresh: bool) -> PoseTrack:
    from formcheck.cli.progress import progress_bar
    from formcheck.pose.cache import find_pose_once

    cores = os.cpu_count() or 1
    with progress_bar(f"Finding the pose in {clip.path.name}") as report:
        return find_pose_once(clip, model, rate_hz, min(_PROCESSES, cores), fresh, report)


def _draw(analysis: Analysis, given: Sequence[_Given], folder: Path, xlsx: bool, note: str) -> None:
    from formcheck.cli.progress import progress_bar
    from formcheck.report.write import write_report

    length_s = analysis.looks[0].track.duration_s
    with progress_bar("Drawing the clip") as report:
        write_report(
            analysis,
            [None if isinstance(one, PoseTrack) else one.path for one in given],
            folder,
            xlsx=xlsx,
            note=note,
            on_frame=lambda t_s: report(t_s, length_s),
        )
