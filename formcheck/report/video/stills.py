"""What a page shows of an annotated clip besides the clip itself; without what draws it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from formcheck.faults.rules import Fault

if TYPE_CHECKING:
    from formcheck.report.video.canvas import Picture

STILL_WIDTH_PX = 480

FaultId = tuple[int, str]  # rep and key: a rep has each fault once
STUCK = "stuck"


def id_of(fault: Fault) -> FaultId:
    """What its still is found by."""
    return fault.rep, fault.key


@dataclass(frozen=True)
class Annotated:
    """What the page shows of the clip besides the clip itself, as RGB pictures.

    ``stills`` of the faults, and of the moments where a press stuck, by rep and ``STUCK``, or a
    hold lost its line, by 0 and ``STUCK``;
    ``poster`` the whole picture at the bottom of the first rep; ``width`` and ``height`` of the
    clip in px.
    """

    stills: Mapping[FaultId, Picture]
    poster: Picture
    width: int
    height: int
