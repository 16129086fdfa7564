"""The page: one self-contained HTML file, nothing fetched, printable on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from formcheck.advice.ladder import ladder
from formcheck.errors import OutputError
from formcheck.locks import made_beside
from formcheck.log.change import (
    LEAST_DAYS,
    Change,
    changes,
    followed_in,
    sentence,
    value_of,
    with_unit,
)
from formcheck.log.entry import SetEntry, local_day
from formcheck.log.next_step import StepRules, break_words, day_words, step_with_log, step_words
from formcheck.log.page.multiples import HEIGHT, WIDTH, Multiple, multiples
from formcheck.log.person import BodyMass
from formcheck.report import theme
from formcheck.report.advice_words import ALWAYS_CAUTIONS
from formcheck.report.templates import templates_of
from formcheck.report.words import fault_name

_MOST_WEEKS = 16
_MOST_FAULTS = 8
_MOST_HEADLINES = 3  # changes said in the largest type


@dataclass(frozen=True)
class Row:
    """One line of two sets side by side."""

    words: str
    best: str
    latest: str


@dataclass(frozen=True)
class Cell:
    """A fault in a week: ``side`` of a square whose area is the share of reps with it, and the
    same in words; ``unclear`` when no rep had it for sure."""

    side: float
    unclear: bool
    words: str


@dataclass(frozen=True)
class FaultLine:
    words: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class RungLine:
    """A rung of the ladder: ``standing`` "here", "earned", "done" or "", and the dates."""

    words: str
    standing: str
    note: str


@dataclass(frozen=True)
class LogPage:
    """Everything the page shows of one person's sets of one variation.

    ``weeks`` first days of the weeks with sets, the oldest first; ``rows`` the best set before
    the latest beside it, and ``best_on`` empty where there is no set before.
    """

    person: str
    variation: str
    scope: str
    headline: str
    rest: str
    step: str
    why: tuple[str, ...]
    multiples: tuple[Multiple, ...]
    best_on: str
    latest_on: str
    rows: tuple[Row, ...]
    weeks: tuple[str, ...]
    faults: tuple[FaultLine, ...]
    rungs: tuple[RungLine, ...]
    cautions: tuple[str, ...]


def log_page(
    sets: Sequence[SetEntry],
    variation: str,
    mass_of: BodyMass,
    now: datetime,
    rules: StepRules | None = None,
) -> LogPage:
    """The page of one person's ``sets``, all variations in order of time, trends of one."""
    of = [entry for entry in sets if entry.variation == variation]
    found = changes(of, mass_of)
    latest, before = of[-1], of[:-1]
    best = max(before or of, key=lambda one: (one.clean, one.load_reps or 0.0, one.recorded_at))
    step, pause = step_with_log(sets, latest, rules), break_words(sets, now, rules)
    headline, rest = _headline(found)
    weeks = sorted({_monday(entry) for entry in sets})[-_MOST_WEEKS:]
    return LogPage(
        person=latest.person,
        variation=variation,
        scope=_scope(of),
        headline=headline,
        rest=rest,
        step=_step_line(step.direction, latest, step.back_to, pause),
        why=(pause,) if pause else step.why,
        multiples=tuple(multiples(of, found, mass_of)),
        best_on=day_words(best) if before else "",
        latest_on=day_words(latest),
        rows=_rows(best, latest, mass_of),
        weeks=tuple(_week_label(day) for day in weeks),
        faults=_faults(sets, weeks),
        rungs=_rungs(sets, rules),
        cautions=ALWAYS_CAUTIONS,
    )


def page_html(page: LogPage) -> str:
    """The page as text; names are shown as text, whatever they contain."""
    return (
        templates_of("formcheck.log.page")
        .get_template("log.html.j2")
        .render(page=page, theme=theme, width=WIDTH, height=HEIGHT)
    )


def write_page(page: LogPage, path: Path) -> None:
    """Write the page whole or not at all. Raises OutputError."""
    text = page_html(page)
    try:
        with made_beside(path) as part:
            part.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"{path} cannot be written ({error.strerror}); choose another file with --out."
        ) from error


def _scope(of: Sequence[SetEntry]) -> str:
    days = sorted({day_words(entry) for entry in of})
    count = f"{len(of)} set{'' if len(of) == 1 else 's'}"
    return f"{count}, {days[0]}" if len(days) == 1 else f"{count}, {days[0]} to {days[-1]}"


def _headline(found: Sequence[Change]) -> tuple[str, str]:
    """What changed for sure, the surest first, and what is left to say."""
    real = [change for change in found if change.verdict == "real"]
    real.sort(key=lambda change: change.plus_minus / abs(change.change))
    if real:
        said = [_said(change) for change in real]
        more = [*said[_MOST_HEADLINES:], "All else is within its error"]
        return f"{'. '.join(said[:_MOST_HEADLINES])}.", f"{'. '.join(more)}."
    if all(change.verdict == "too few days" for change in found):
        return "Too few days to tell a trend yet.", f"{LEAST_DAYS} days with sets are needed."
    return "No change yet that is larger than its error.", ""


def _said(change: Change) -> str:
    subject = {
        "clean": "Clean reps:",
        "elbow_bottom_deg": "",
        "elbow_top_deg": "Lockout",
        "hip_deviation_deg": "",
        "speed_loss_percent": "Press",
        "load_reps": "Load × reps:",
    }.get(change.followed.name, change.followed.words)
    said = f"{subject} {sentence(change)}".strip()
    return said[:1].upper() + said[1:]


def _step_line(direction: str, latest: SetEntry, back_to: SetEntry | None, pause: str) -> str:
    if pause:
        return f"One step easier than last time ({step_words(latest)})"
    if back_to is not None:
        return f"Go back to {day_words(back_to)} ({step_words(back_to)})"
    if direction == "same":
        return f"Same as last time ({step_words(latest)})"
    return f"{'Step up' if direction == 'harder' else 'Easier'}: {latest.next_variation or ''}"


def _rows(best: SetEntry, latest: SetEntry, mass_of: BodyMass) -> tuple[Row, ...]:
    rows = [
        Row("Clean of attempts", f"{best.clean} of {best.attempts}",
            f"{latest.clean} of {latest.attempts}"),
        Row("Weight worn", f"{best.added_load_kg:g} kg", f"{latest.added_load_kg:g} kg"),
        Row("Tempo asked", best.tempo or "none", latest.tempo or "none"),
    ]  # fmt: skip
    for one in followed_in([best, latest], mass_of)[1:]:
        cells = []
        for entry in (best, latest):
            pair = value_of(entry, one, mass_of(entry))
            cells.append(
                "–" if pair is None else f"{with_unit(one, pair[0])} ± {with_unit(one, pair[1])}"
            )
        rows.append(Row(one.words, *cells))
    rows.append(Row("Faults", _fault_text(best), _fault_text(latest)))
    return tuple(rows)


def _fault_text(entry: SetEntry) -> str:
    said = [
        f"{fault_name(key).lower()} {count.reps}×"
        for key, count in entry.faults.items()
        if count.reps
    ]
    return ", ".join(said) or "none"


def _monday(entry: SetEntry) -> date:
    day = local_day(entry.recorded_at)
    return day - timedelta(days=day.weekday())


def _week_label(monday: date) -> str:
    return f"{monday.day} {monday:%b}"


def _faults(sets: Sequence[SetEntry], weeks: Sequence[date]) -> tuple[FaultLine, ...]:
    """The faults met most often in these weeks, as shares of each week's attempts."""
    within = [entry for entry in sets if _monday(entry) in weeks]
    totals: dict[str, int] = {}
    for entry in within:
        for key, count in entry.faults.items():
            totals[key] = totals.get(key, 0) + count.reps
    often = sorted((key for key in totals if totals[key]), key=lambda key: -totals[key])
    lines = []
    for key in often[:_MOST_FAULTS]:
        name = fault_name(key)
        cells = []
        for week in weeks:
            there = [entry for entry in within if _monday(entry) == week]
            attempts = sum(entry.attempts for entry in there)
            counts = [entry.faults[key] for entry in there if key in entry.faults]
            reps, unclear = sum(c.reps for c in counts), sum(c.unclear for c in counts)
            shown = reps or unclear
            side = (shown / attempts) ** 0.5 if attempts else 0.0
            said = f"week of {_week_label(week)}: {reps} of {attempts} reps"
            if unclear:
                said += f", {unclear} unclear"
            cells.append(Cell(min(side, 1.0), not reps, said))
        lines.append(FaultLine(name, tuple(cells)))
    return tuple(lines)


def _rungs(sets: Sequence[SetEntry], rules: StepRules | None) -> tuple[RungLine, ...]:
    """The ladder, heaviest first: where the latest set stands and where steps were earned."""
    latest = next((entry.rung for entry in reversed(sets) if entry.rung), None)
    lines = []
    for rung in reversed(ladder()):
        there = [entry for entry in sets if entry.rung == rung.key]
        steps = ((entry, step_with_log(sets, entry, rules)) for entry in there)
        earned = [entry for entry, step in steps if step.direction == "harder"]
        standing = "here" if rung.key == latest else "earned" if earned else "done" if there else ""
        note = ""
        if earned:
            note = f"step up earned {day_words(earned[0])}"
        elif there:
            note = f"since {day_words(there[0])}"
        lines.append(RungLine(rung.words, standing, note))
    return tuple(lines)
