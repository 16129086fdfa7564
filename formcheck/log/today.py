"""Today's set among the person's weeks: what the report says of them, and the entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from formcheck.advice.decide import Reason
from formcheck.advice.ladder import ladder
from formcheck.advice.step import Caution, Move, NextStep
from formcheck.analysis import Analysis
from formcheck.asked.person import HipOffset, Person
from formcheck.clip.info import ClipInfo
from formcheck.judged import look_at
from formcheck.log.change import Change, sentence, since
from formcheck.log.enter import Recorded, recorded_of
from formcheck.log.entry import SetEntry, entry_of
from formcheck.log.next_step import LogStep, StepRules, day_words, step_with_log, step_words
from formcheck.log.person import PersonRecord, masses, person_name
from formcheck.log.store import default_log, open_log, people, sets_of
from formcheck.report.contract import report_dict
from formcheck.report.weeks import Weeks

_ALWAYS: tuple[Caution, ...] = ("pain", "not_medical", "professional")


@dataclass(frozen=True)
class LogAsk:
    """Enter the set in the log of ``person``.

    ``file`` the log, None for the one in the user's data folder; ``recorded_at`` when the set was
    recorded, None to take it from the clip.
    """

    person: str
    file: Path | None = None
    recorded_at: datetime | None = None
    rules: StepRules = field(default_factory=StepRules)

    @property
    def path(self) -> Path:
        return self.file or default_log()


@dataclass(frozen=True)
class Before:
    """What the log holds before today's set is judged."""

    ask: LogAsk
    recorded: Recorded
    person: PersonRecord
    history: tuple[SetEntry, ...]


def look_back(ask: LogAsk, clips: Sequence[Path]) -> Before:
    """Open the log, before any work is done for a set that could not be entered.

    Raises LogError, PersonError, and ClipError where a clip cannot be read.
    """
    name = person_name(ask.person)
    given = [look_at(path) for path in clips]
    said = [one.recorded_at if isinstance(one, ClipInfo) else None for one in given]
    recorded = recorded_of(clips, said, ask.recorded_at)
    with open_log(ask.path, write=True) as log:
        known = {one.name.casefold(): one for one in people(log)}
        history = sets_of(log, name)
    return Before(ask, recorded, known.get(name.casefold()) or PersonRecord(name), tuple(history))


def body_of(before: Before, told: Person) -> Person:
    """The person as told for this set, and as the log knows them where nothing was told."""
    kept, hold = before.person, before.person.hip_offset
    return replace(
        told,
        stature_m=told.stature_m or kept.stature_m,
        body_mass_kg=told.body_mass_kg or kept.body_mass_on(before.recorded.at.date()),
        sex=told.sex or kept.sex,
        hip_offset=told.hip_offset or (HipOffset(hold.share, hold.plus_minus) if hold else None),
        upper_arm_m=told.upper_arm_m or kept.upper_arm_m,
        forearm_m=told.forearm_m or kept.forearm_m,
    )


def weighed(analysis: Analysis, before: Before) -> tuple[Analysis, Weeks]:
    """The set with the next step that the log gives, and what the report says of the weeks."""
    today = entry_of(
        report_dict(analysis),
        before.person.name,
        before.recorded.text,
        before.recorded.source,
        "",
        ladder(),
    )
    mine = {clip.key for clip in today.clips}
    others = [one for one in before.history if mine.isdisjoint(clip.key for clip in one.clips)]
    earlier = [one for one in others if one.recorded_at < today.recorded_at]
    step = step_with_log(earlier, today, before.ask.rules)
    last = next((one for one in reversed(earlier) if one.variation == today.variation), None)
    changed = since(last, today, masses([before.person])) if last else []
    weeks = Weeks(
        person=today.person,
        recorded_at=before.recorded.text,
        recorded_from=before.recorded.source,
        alone=today.direction,
        rests_on=tuple(dict.fromkeys(day_words(one) for one in step.rests_on)),
        since=day_words(last) if last else None,
        changed=tuple(_said(one) for one in _by_weight(changed)),
    )
    next_step = _with_log(analysis.next_step, step)
    return replace(analysis, next_step=next_step), weeks


def _with_log(alone: NextStep, log: LogStep) -> NextStep:
    """The next step of the set alone, held back or turned by the log."""
    reasons = tuple(Reason("log", {"says": said}) for said in log.why)
    if log.direction == alone.direction and log.back_to is None:
        return replace(alone, why=(*alone.why, *reasons))
    # How big a step up would be is no news where none is made: only the score stays.
    move = Move("earlier", named=step_words(log.back_to)) if log.back_to else Move("same")
    return NextStep(
        log.direction,
        alone.exercise,
        move,
        (*alone.why[:1], *reasons),
        tuple(said for said in alone.cautions if said in _ALWAYS),
    )


def _by_weight(changed: Sequence[Change]) -> list[Change]:
    """What is real before what is within the error."""
    return sorted(changed, key=lambda one: one.verdict != "real")


def _said(change: Change) -> str:
    return f"{change.followed.words}: {sentence(change)}, {change.verdict}"
