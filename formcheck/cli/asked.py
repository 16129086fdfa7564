"""Options that more than one command has: what was asked of a set, and how it is judged."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from formcheck.asked.prescription import (
    Arms,
    Counts,
    HandSpacing,
    Pain,
    Support,
    Surface,
    WorkingArm,
    parse_rep_range,
)
from formcheck.asked.standards import RangeStandard, standards
from formcheck.asked.tempo import Tempo, TempoError, parse_tempo
from formcheck.cli.help import ASKED, CLIP, OUTPUT
from formcheck.plain import meant


def folder(text: str) -> Path:
    """A folder to write to; an empty name, as of a variable that was not set, is none."""
    if not text.strip() or "\0" in text:
        raise typer.BadParameter("no folder has such a name; choose another.")
    return Path(text)


def _tempo(text: str) -> Tempo:
    try:
        return parse_tempo(text)
    except TempoError as error:
        raise typer.BadParameter(str(error)) from error


def rep_range_of(text: str | None) -> tuple[int, int] | None:
    """The range of reps that ``RepRangeOption`` was given."""
    try:
        return None if text is None else parse_rep_range(text)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from error


def one_arm_of(arms: Arms | None, which: WorkingArm | None) -> WorkingArm | None:
    """The arm that ``WorkingArmOption`` was given, which is said of archer and one-arm sets."""
    if which is not None and arms not in ("archer", "one"):
        raise typer.BadParameter(
            "a working arm is said of an archer or one-arm set: give --arms archer or --arms one, "
            "too."
        )
    return which


def limits_of(given: Path | None) -> dict[str, float]:
    """The values that ``LimitsOption`` was given, by key. Raises LimitsError."""
    from formcheck.faults.limits import read_limits

    return {key: limit.value for key, limit in read_limits(given).items()}


def _standard(text: str) -> str:
    if text not in standards():
        raise typer.BadParameter(
            f"“{text}” is no named test: there are {', '.join(standards())}."
            f"{meant(text, standards())}"
        )
    return text


OverwriteOption = Annotated[
    bool,
    typer.Option(
        "--overwrite", help="Replace the report that is already there.", rich_help_panel=OUTPUT
    ),
]
TempoOption = Annotated[
    Tempo | None,
    typer.Option(
        parser=_tempo,
        metavar="E-B-C-T",
        help="Prescribed tempo: lowering-pause-press-pause, seconds; X = as fast as possible. "
        "2-1-X-1, 21X1 and 3-0-1-0 are tempos.",
        rich_help_panel=ASKED,
    ),
]
RangeOption = Annotated[
    RangeStandard, typer.Option(help="How low a rep must go to count.", rich_help_panel=ASKED)
]
RepsOption = Annotated[
    int | None, typer.Option(min=1, help="Clean reps asked for.", rich_help_panel=ASKED)
]
CountsOption = Annotated[
    Counts,
    typer.Option(
        help="What a rep has to keep to count; a named test decides it itself.",
        rich_help_panel=ASKED,
    ),
]
StandardOption = Annotated[
    str | None,
    typer.Option(
        parser=_standard,
        metavar=f"[{'|'.join(standards())}]",
        help="Hold the set to a named test: depth, line, pace, rests, and when it ends.",
        rich_help_panel=ASKED,
    ),
]
RepRangeOption = Annotated[
    str | None,
    typer.Option(
        metavar="LOW-HIGH",
        help="Reps to build up to before a step; 8-12 unless told.",
        rich_help_panel=ASKED,
    ),
]
AllowFaultyOption = Annotated[
    int | None,
    typer.Option(
        min=0,
        help="Reps that may have a fault; one in ten in training, none in a test.",
        rich_help_panel=ASKED,
    ),
]
RepsLeftOption = Annotated[
    int | None,
    typer.Option(min=0, help="Reps the trainee had left, as felt.", rich_help_panel=ASKED),
]
PainOption = Annotated[
    Pain | None, typer.Option(help="Where it hurt, if it did.", rich_help_panel=ASKED)
]
HandsOption = Annotated[
    HandSpacing | None, typer.Option(help="Hand position asked for.", rich_help_panel=ASKED)
]
SupportOption = Annotated[
    Support | None, typer.Option(help="On toes or knees.", rich_help_panel=ASKED)
]
SurfaceOption = Annotated[
    Surface | None, typer.Option(help="What hands and feet stand on.", rich_help_panel=ASKED)
]
ArmsOption = Annotated[Arms | None, typer.Option(help="Which arms work.", rich_help_panel=ASKED)]
WorkingArmOption = Annotated[
    WorkingArm | None,
    typer.Option(
        help="The arm that does every rep of an archer or one-arm set.", rich_help_panel=ASKED
    ),
]
LimitsOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        help="Your own limits, or the name of a set that ships; see “formcheck limits”.",
        rich_help_panel=ASKED,
    ),
]
ModelOption = Annotated[
    str,
    typer.Option(
        help="Landmark model: full, heavy, or the path of a bundle.", rich_help_panel=CLIP
    ),
]
PoseRateOption = Annotated[
    float, typer.Option(min=5.0, max=120.0, help="Pose estimates per second.", rich_help_panel=CLIP)
]
DrawingOption = Annotated[
    bool,
    typer.Option(
        "--drawing/--no-drawing",
        help="The annotated clip and the pictures.",
        rich_help_panel=OUTPUT,
    ),
]
BlurFacesOption = Annotated[
    bool,
    typer.Option(
        "--blur-faces",
        help="Hide the face of who does the set, in the clip and all pictures. Other people's "
        "faces stay.",
        rich_help_panel=OUTPUT,
    ),
]
FreshOption = Annotated[
    bool,
    typer.Option("--fresh", help="Find the pose again even if it is known.", rich_help_panel=CLIP),
]
