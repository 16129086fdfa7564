"""What the weeks say about the next step that one set cannot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from formcheck.log.entry import Direction, SetEntry, local_day

_SAME_LOAD_KG = 0.25  # plates come in no smaller steps


@dataclass(frozen=True)
class StepRules:
    """Common practice, and settings: sets in a row at the top of what was asked before a step up
    (1 steps up at once), and days without a set after which one starts a step lower."""

    sets_in_a_row: int = 2
    long_break_days: int = 21


@dataclass(frozen=True)
class LogStep:
    """The direction that the log gives, why, and the sets that this rests on, oldest first.

    ``back_to`` the set whose variation and weight a failed step goes back to.
    """

    direction: Direction
    why: tuple[str, ...]
    rests_on: tuple[SetEntry, ...]
    back_to: SetEntry | None = None


def step_with_log(
    history: Sequence[SetEntry], today: SetEntry, rules: StepRules | None = None
) -> LogStep:
    """What to do after ``today``, whose ``direction`` is what that set alone earned.

    ``history`` the person's sets, in any order; only those before today's count. A step up needs
    ``sets_in_a_row`` at the top on the same step, since the last long break. A step up that broke
    down early goes back to where it was earned.
    """
    rules = rules or StepRules()
    earlier = sorted(
        (one for one in history if one.recorded_at < today.recorded_at and one is not today),
        key=lambda one: one.recorded_at,
    )
    run, pause = _since_break([*earlier, today], rules)
    on_step = _on_step(run)
    if today.earned:
        return _up(on_step, pause, rules)
    came_from = _came_from(run, on_step)
    if today.direction == "easier" and came_from is not None:
        return LogStep(
            "easier",
            (
                f"The step up from “{step_words(came_from)}” broke down: go back to it, and earn "
                "it again.",
            ),
            (came_from, *on_step),
            came_from,
        )
    return LogStep("easier" if today.direction == "easier" else "same", (), (today,))


def break_words(history: Sequence[SetEntry], now: datetime, rules: StepRules | None = None) -> str:
    """What to do after a long break before today; empty where there was none."""
    rules = rules or StepRules()
    if not history:
        return ""
    last = max(history, key=lambda one: one.recorded_at)
    days = (now.date() - local_day(last.recorded_at)).days
    if days < rules.long_break_days:
        return ""
    return (
        f"{days} days since the last set (“{step_words(last)}”, {day_words(last)}): start one "
        "step lower."
    )


def step_words(entry: SetEntry) -> str:
    """Variation and weight, in words."""
    added = f", {entry.added_load_kg:g} kg added" if entry.added_load_kg else ""
    return f"{entry.variation}{added}"


def day_words(entry: SetEntry) -> str:
    """The day of a set, as written everywhere: ``2026-09-01``."""
    return local_day(entry.recorded_at).isoformat()


def _up(on_step: Sequence[SetEntry], pause: int | None, rules: StepRules) -> LogStep:
    row: list[SetEntry] = []
    for entry in reversed(on_step):
        if not entry.earned:
            break
        row.insert(0, entry)
    if len(row) >= rules.sets_in_a_row:
        used = tuple(row[-rules.sets_in_a_row :])
        if rules.sets_in_a_row == 1:
            return LogStep("harder", (), used)
        days = " and ".join(dict.fromkeys(day_words(one) for one in used))
        return LogStep(
            "harder",
            (f"{len(used)} sets in a row at the top of what was asked: {days}.",),
            used,
        )
    more = rules.sets_in_a_row - len(row)
    why = [
        f"At the top of what was asked {_times(len(row))}; {_times(more)} more in a row and the "
        "step up is earned."
    ]
    if pause is not None and len(on_step) == len(row):
        why.append(f"Sets before the break of {pause} days no longer count for it.")
    return LogStep("same", tuple(why), tuple(row))


def _since_break(
    entries: Sequence[SetEntry], rules: StepRules
) -> tuple[list[SetEntry], int | None]:
    """The sets since the last long break, and its days; None where there was none."""
    longest = timedelta(days=rules.long_break_days)
    for at in range(len(entries) - 1, 0, -1):
        gap = local_day(entries[at].recorded_at) - local_day(entries[at - 1].recorded_at)
        if gap >= longest:
            return list(entries[at:]), gap.days
    return list(entries), None


def _on_step(run: Sequence[SetEntry]) -> list[SetEntry]:
    """The last sets of today's variation that were done with today's weight.

    Other variations in between are other exercises and change nothing.
    """
    today = run[-1]
    out: list[SetEntry] = []
    for entry in reversed(run):
        if entry.variation != today.variation:
            continue
        if abs(entry.added_load_kg - today.added_load_kg) > _SAME_LOAD_KG:
            break
        out.insert(0, entry)
    return out


def _came_from(run: Sequence[SetEntry], on_step: Sequence[SetEntry]) -> SetEntry | None:
    """The set that the step to today's was earned on: the last before the first set of it.

    None where the last set before was not at its top, so that this was no step up, or where a set
    of this step has been at its own top, so that it has not failed.
    """
    if any(entry.earned for entry in on_step):
        return None
    before = [entry for entry in run if entry.recorded_at < on_step[0].recorded_at]
    return before[-1] if before and before[-1].earned else None


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
