"""The whole middle in one call: a pose track (or two) in, a judged set out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from formcheck.faults.rules import Fault
from formcheck.pose.track import PoseTrack
from formcheck.prescription import Prescription
from formcheck.progression import NextStep
from formcheck.quantity import Quantity
from formcheck.reps import Attempt, Rep
from formcheck.signals import Signals
from formcheck.variation import Variation
from formcheck.views import View


@dataclass(frozen=True)
class SetView:
    """One camera's look at the set; time in the reference clip = time here + ``offset_s``."""

    track: PoseTrack
    view: View
    signals: Signals
    offset_s: float = 0.0


@dataclass(frozen=True)
class RepResult:
    """A rep, whether it counts, and what was measured on it, by contract field name."""

    rep: Rep
    attempt: Attempt
    why_not_counted: str | None
    values: Mapping[str, Quantity]
    faults: tuple[Fault, ...]  # faults and borderlines of this rep


@dataclass(frozen=True)
class NotJudged:
    key: str
    reason: str


@dataclass(frozen=True)
class SetSummary:
    attempts: int
    counted: int
    clean: int
    time_under_tension_s: float
    pace_per_min: float
    speed_loss_percent: float
    range_loss_deg: float
    first_breakdown_rep: int | None


@dataclass(frozen=True)
class Analysis:
    """A judged set. ``views[0]`` keeps the clock that every time refers to."""

    prescription: Prescription
    views: tuple[SetView, ...]
    reps: tuple[RepResult, ...]
    faults: tuple[Fault, ...]
    not_judged: tuple[NotJudged, ...]
    summary: SetSummary
    variation: Variation
    next_step: NextStep
    notes: tuple[str, ...] = ()
