"""A person's own straight line, from a clip of a hold that somebody checked with a stick."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from formcheck.asked.prescription import Prescription, Support
from formcheck.clip.info import ClipInfo
from formcheck.errors import FormcheckError
from formcheck.judged import OnProgress, judge, look_at
from formcheck.log.enter import recorded_of
from formcheck.log.person import CheckedHold
from formcheck.measures.bodyline import hip_offset_of, line_doubt_deg

# Somebody who is touched by a stick along the back sags or pikes by no more than this; what reads
# further off than landmarks ever are (four standard deviations between bodies) was not checked.
_FURTHEST_DEG = 6.5
_MOST_DRIFT_DEG = 3.0  # over the hold: the line was not kept


class CalibrationError(FormcheckError):
    """The clip does not show a hold that a straight line can be read from."""


@dataclass(frozen=True)
class Calibrated:
    """``reading_deg`` of the line in the clip, and the 95 % half-width of a moment's body line
    in such a clip without and with it."""

    hold: CheckedHold
    reading_deg: float
    before_deg: float
    after_deg: float


def calibrated(
    clip: Path,
    support: Support | None,
    model: str,
    on_progress: OnProgress = lambda what, done, of: None,
) -> Calibrated:
    """Read the hold. Raises ClipError, and CalibrationError where it shows no such hold."""
    judged = judge(
        clip, prescription=Prescription(support=support), model=model, on_progress=on_progress
    )
    analysis = judged.analysis
    hold, look = analysis.hold, analysis.looks[0]
    if hold is None:
        what = f"{len(analysis.reps)} reps" if analysis.reps else "no hold on straight arms"
        raise CalibrationError(
            f"{clip} shows {what}; film a hold of five seconds on straight arms, nothing else."
        )
    if look.view.kind != "side" or not hold.line_deg.known:
        raise CalibrationError(
            f"{clip} is not filmed square from the side; the line shows only from there."
        )
    drift = abs(hold.drift_deg_per_min) * hold.held_s / 60.0
    reading = hold.line_deg.value
    if drift > _MOST_DRIFT_DEG:
        raise CalibrationError(
            f"{clip}: the line moved by {drift:.0f}° during the hold; keep it still, and again."
        )
    if abs(reading) > _FURTHEST_DEG:
        raise CalibrationError(
            f"{clip}: the line reads {reading:+.0f}°, which is more than a hip's landmark errs by; "
            "check with the stick that head, upper back and tailbone touch it, and film again."
        )
    on_support = analysis.variation.support
    # Within one clip only the mean over the hold counts, which hardly errs of itself.
    offset = hip_offset_of(reading, hold.change_doubt_deg / len(hold.t_s) ** 0.5, on_support)
    said = [one.recorded_at if isinstance(one, ClipInfo) else None for one in [look_at(clip)]]
    day = recorded_of([clip], said).at.astimezone().date().isoformat()
    name = look.track.source_name or clip.name
    return Calibrated(
        CheckedHold(round(offset.share, 5), round(offset.plus_minus, 5), name, day),
        reading,
        line_doubt_deg(look.signals, look.view, on_support)[0],
        line_doubt_deg(look.signals, look.view, on_support, offset)[0],
    )
