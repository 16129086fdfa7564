"""Where in the set an instant lies: which rep, which phase, for how long already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from formcheck.analysis import RepResult
from formcheck.asked.tempo import Tempo
from formcheck.faults.catalogue import PhaseKey, fault_kinds
from formcheck.faults.rules import Fault
from formcheck.report.words import ATTEMPTS, phase_name
from formcheck.reps.find import Rep

PHASE_KEYS: tuple[PhaseKey, ...] = ("eccentric", "bottom_pause", "concentric", "top_pause")


@dataclass(frozen=True)
class Moment:
    """``phase`` is a place in PHASE_KEYS; ``elapsed_s`` since that phase began."""

    result: RepResult
    phase: int
    elapsed_s: float


def bounds_s(rep: Rep) -> tuple[float, float, float, float, float]:
    """Start of each phase, and the end of the last, in seconds of the reference clip."""
    return rep.start_s, rep.bottom_start_s, rep.bottom_end_s, rep.top_s, rep.end_s


def phases_of(rep: Rep) -> tuple[tuple[PhaseKey, float, float], ...]:
    """The phases that a rep has, each with its start and end (s). One that failed has no top
    pause, and none at the bottom where nothing was pressed."""
    bounds = bounds_s(rep)
    count = len(PHASE_KEYS)
    if rep.failed:
        count = 3 if rep.bottom_end_s < rep.top_s else 1
    return tuple((key, bounds[i], bounds[i + 1]) for i, key in enumerate(PHASE_KEYS[:count]))


def phase_words(rep: Rep, phase: int) -> str:
    """The name of a place in PHASE_KEYS within this rep: ``Lowering``; ``Failed`` after the last
    phase of one that failed."""
    if phase < len(phases_of(rep)):
        return phase_name(PHASE_KEYS[phase])
    return ATTEMPTS["failed"].capitalize()


def moment(reps: Sequence[RepResult], t_s: float) -> Moment | None:
    """The rep and phase at ``t_s``; None before, after and between reps."""
    for result in reps:
        bounds = bounds_s(result.rep)
        if bounds[0] <= t_s < bounds[4]:
            phase = max(i for i in range(4) if bounds[i] <= t_s)
            return Moment(result, phase, t_s - bounds[phase])
    return None


def asked_s(tempo: Tempo | None) -> tuple[float | None, float | None, float | None, float | None]:
    """Seconds asked for each phase; None where nothing (or X) is asked."""
    if tempo is None:
        return None, None, None, None
    return tempo.eccentric_s, tempo.bottom_pause_s, tempo.concentric_s, tempo.top_pause_s


def called_at_s(fault: Fault, rep: Rep) -> float:
    """When a fault can be called: the moment itself, or the end of a phase that was timed."""
    phase = fault_kinds()[fault.key].phase
    return fault.at_s if phase is None else bounds_s(rep)[PHASE_KEYS.index(phase) + 1]
