"""One camera's look at a set: its track, its view, its curves, and the set's reps on its clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from formcheck.pose.track import PoseTrack
from formcheck.reps.find import Rep
from formcheck.signals.curves import Signals
from formcheck.signals.view import View


@dataclass(frozen=True, eq=False)
class Look:
    """What one clip shows of the set.

    ``clip`` is its place among the clips that were given. ``reps`` are the set's attempts on
    this clip's own clock; time in the reference clip = time here + ``offset_s``.
    """

    clip: int
    track: PoseTrack
    view: View
    signals: Signals
    reps: tuple[Rep, ...] = ()
    offset_s: float = 0.0

    def with_reps(self, reps: Sequence[Rep]) -> Look:
        """The same look at ``reps``, which are given on the reference clip's clock."""
        return replace(self, reps=tuple(rep.shifted(-self.offset_s) for rep in reps))
