"""Options that more than one command has: what was asked of a set, and how it is judged."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from formcheck.asked.prescription import HandSpacing
from formcheck.asked.standards import RangeStandard
from formcheck.asked.tempo import Tempo, TempoError, parse_tempo


def _tempo(text: str) -> Tempo:
    try:
        return parse_tempo(text)
    except TempoError as error:
        raise typer.BadParameter(str(error)) from error


TempoOption = Annotated[
    Tempo | None,
    typer.Option(
        parser=_tempo,
        metavar="E-B-C-T",
        help="Prescribed tempo: lowering-pause-press-pause, seconds; X = as fast as possible. "
        "2-1-X-1, 21X1 and 3-0-1-0 are tempos.",
    ),
]
RangeOption = Annotated[RangeStandard, typer.Option(help="How low a rep must go to count.")]
RepsOption = Annotated[int | None, typer.Option(min=1, help="Clean reps asked for.")]
HandsOption = Annotated[HandSpacing | None, typer.Option(help="Hand position asked for.")]
LimitsOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        help="Your own limits, or the name of a set that ships; see “formcheck limits”.",
    ),
]
ModelOption = Annotated[
    str, typer.Option(help="Landmark model: full, heavy, or the path of a bundle.")
]
PoseRateOption = Annotated[
    float, typer.Option(min=5.0, max=120.0, help="Pose estimates per second.")
]
DrawingOption = Annotated[
    bool, typer.Option("--drawing/--no-drawing", help="The annotated clip and the pictures.")
]
FreshOption = Annotated[
    bool, typer.Option("--fresh", help="Find the pose again even if it is known.")
]
