"""``formcheck log``: the sets of people over weeks, and what became of them."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from formcheck.cli.help import PERSON, App
from formcheck.errors import FormcheckError

if TYPE_CHECKING:
    from rich.console import Console

    from formcheck.job import Outcome
    from formcheck.log.change import Change, Point
    from formcheck.log.entry import SetEntry
    from formcheck.log.person import PersonRecord
    from formcheck.log.today import LogAsk

LogFile = Annotated[
    Path | None,
    typer.Option(
        "--log",
        metavar="FILE",
        help="The log. Default: in your folder for programs' data.",
        rich_help_panel=PERSON,
    ),
]
Person = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="Whose sets. Default: everyone's, or the only one's.",
        rich_help_panel=PERSON,
    ),
]
Since = Annotated[
    str | None, typer.Option(metavar="DATE", help="From this day on, such as 2026-09-01.")
]
Variation = Annotated[
    str | None,
    typer.Option(metavar="WORDS", help="One variation, as “formcheck log show” names it."),
]
SetsInARow = Annotated[
    int,
    typer.Option(
        min=1,
        help="Sets in a row at the top of what was asked before a step up.",
        rich_help_panel=PERSON,
    ),
]
LongBreak = Annotated[
    int,
    typer.Option(
        min=1,
        help="Days without a set after which one starts a step lower.",
        rich_help_panel=PERSON,
    ),
]
_PIPED_WIDTH = 160  # characters

app = App(no_args_is_help=True)


class AskedError(FormcheckError):
    """What was asked of the log is not in it."""


@app.callback()
def log() -> None:
    """The training log: sets over weeks, trends, and the next step that they give.

    “formcheck set CLIP --person NAME” enters sets. The log is one file; reports stay the truth,
    and “formcheck log rebuild FOLDER” makes it from them again.
    """


@app.command()
def show(
    person: Person = None, since: Since = None, variation: Variation = None, log: LogFile = None
) -> None:
    """Show the sets in the log, oldest first."""
    from rich.table import Table

    from formcheck.cli.summary import natural_width
    from formcheck.log.change import FOLLOWED
    from formcheck.log.entry import local_day
    from formcheck.log.next_step import step_words

    sets, _ = _chosen(log, person, since, variation)
    console = _console()
    headings = ("low", "top", "hips", "down", "bottom", "up", "top", "loss", "load × reps")

    def table_of(values: int) -> Table:
        table = Table(box=None, pad_edge=False, header_style="dim")
        if person is None:
            table.add_column("person")
        for heading in ("day", "variation"):
            table.add_column(heading)
        for heading in ("clean", *headings[:values]):
            table.add_column(heading, justify="right")
        table.add_column("next")
        for entry in sets:
            table.add_row(
                *((entry.person,) if person is None else ()),
                local_day(entry.recorded_at).isoformat(),
                step_words(entry),
                f"{entry.clean}/{entry.attempts}",
                *(_value(entry, one.name, one.digits) for one in FOLLOWED[1 : 1 + values]),
                {"easier": "easier", "same": "same", "harder": "earned"}[entry.direction],
            )
        return table

    shown = next(
        (
            values
            for values in range(len(headings), 0, -1)
            if natural_width(console, table_of(values)) <= console.width
        ),
        0,
    )
    console.print(table_of(shown))
    told = {
        "low, top: elbow at the bottom and the top": 1, "hips: + sag": 3,
        "down, bottom, up, top: seconds": 4, "load × reps in body masses": 9,
        "earned: at the top of what was asked": 0,
    }  # fmt: skip
    console.print("; ".join(words for words, least in told.items() if shown >= least), style="dim")
    if shown < len(headings):
        left = ", ".join(headings[shown:])
        console.print(f"A wider terminal shows {left} too.", style="dim")


@app.command()
def trend(
    person: Person = None, since: Since = None, variation: Variation = None, log: LogFile = None
) -> None:
    """Say what became of one variation over the weeks, and what is only measuring error.

    Real: the median slope's interval leaves out no change (Sen 1968), and the change is larger
    than the least significant one (1.96 √2 standard errors, Bland & Altman 1999). Of logs in
    which nothing changes, at most 5 in 100 show anything called real.
    """
    from rich.table import Table

    from formcheck.log.change import LEAST_DAYS, changes, sentence, with_unit
    from formcheck.log.entry import local_day
    from formcheck.log.person import masses

    sets, people = _chosen(log, person, since, None)
    whose = _one_person(sets)
    chosen = _one_variation(sets, variation)
    sets = [one for one in sets if one.variation == chosen]
    found = changes(sets, masses(people))
    console = _console()
    days = sorted({local_day(one.recorded_at) for one in sets})
    console.print(
        f"{whose}: {sets[0].variation}, {_many(len(sets), 'set')} on {_many(len(days), 'day')}, "
        f"{days[0]} to {days[-1]}",
        style="bold",
    )
    if len({one.added_load_kg for one in sets}) > 1:
        console.print("Note: with different weights worn; see “formcheck log show”.")
    table = Table(box=None, pad_edge=False, header_style="dim")
    table.add_column("")
    for heading in ("first", "latest"):
        table.add_column(heading, justify="right")
    table.add_column("over these weeks", overflow="fold")
    table.add_column("")
    weekly = any(_per_week(one) for one in found)
    if weekly:
        table.add_column("a week (95 % interval)", overflow="fold")
    for one in found:
        real = one.verdict == "real"
        table.add_row(
            one.followed.words,
            *(with_unit(one.followed, end.value) for end in _ends(one)),
            sentence(one),
            _verdict(one),
            *((_per_week(one),) if weekly else ()),
            style="bold" if real else "",
        )
    console.print(table)
    few = [one for one in found if one.verdict == "too few days"]
    if few:
        console.print(
            f"The latest day against the first: a trend needs {LEAST_DAYS} days.", style="dim"
        )


@app.command()
def page(
    person: Person = None,
    variation: Variation = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The page. Default: NAME_log.html.")
    ] = None,
    sets_in_a_row: SetsInARow = 2,
    long_break_days: LongBreak = 21,
    log: LogFile = None,
) -> None:
    """Write one page of a person's weeks: trends, faults, best and latest set, the ladder."""
    from formcheck.log.next_step import StepRules
    from formcheck.log.page.page import log_page, write_page
    from formcheck.log.person import masses

    sets, people = _chosen(log, person, None, None)
    whose = _one_person(sets)
    chosen = _one_variation(sets, variation)
    file = out or Path(f"{_plain_name(whose)}_log.html")
    rules = StepRules(sets_in_a_row, long_break_days)
    now = datetime.now().astimezone()
    write_page(log_page(sets, chosen, masses(people), now, rules), file)
    print(f"Page: {file}")


@app.command()
def rebuild(
    folder: Annotated[Path, typer.Argument(help="The folder that the reports are in, or under.")],
    person: Annotated[
        str | None, typer.Option(metavar="NAME", help="Whose the reports are that name nobody.")
    ] = None,
    log: LogFile = None,
) -> None:
    """Make the entries of all reports in and under a folder again.

    Entries of that folder without a report go; those of other folders stay.
    """
    from formcheck.log.enter import rebuild as make_again
    from formcheck.log.person import person_name

    done = make_again(folder, log, person_name(person) if person else None)
    for where, why in done.left_out:
        print(f"Left out: {where}: {why}")
    print(f"{_many(done.entered, 'set')} from {folder} in the log, {done.dropped} before")


@app.command()
def export(
    file: Annotated[
        Path, typer.Argument(help="File to write: .jsonl, or .csv with the people beside it.")
    ],
    person: Person = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace the file that is there.")
    ] = False,
    log: LogFile = None,
) -> None:
    """Write the whole log, or one person's part. “formcheck log schema” says what is in it."""
    from formcheck.log.exchange import export as write
    from formcheck.log.store import open_log

    if file.exists() and not overwrite:
        raise AskedError(f"{file} is there already: replace it with --overwrite.")
    with open_log(_path(log)) as opened:
        for written in write(opened, file, person):
            print(f"Written: {written}")


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(help="A .jsonl or .csv that “log export” wrote.")],
    log: LogFile = None,
) -> None:
    """Bring an exported log in; a set of a clip that is in the log replaces its entry."""
    from formcheck.log.exchange import import_log
    from formcheck.log.store import keep_copy, open_log

    with open_log(_path(log), write=True) as opened:
        done = import_log(opened, _path(log), file)
        keep_copy(opened, _path(log))
    again = f", {done.replaced} of them in place of what was there" if done.replaced else ""
    print(f"{_many(done.sets, 'set')} of {done.people} people{again}")


@app.command()
def schema() -> None:
    """Print what each field of an exported log means, as a JSON Schema."""
    from importlib.resources import files

    print(files("formcheck.log").joinpath("log.schema.json").read_text(encoding="utf-8"), end="")


@app.command()
def restore(log: LogFile = None) -> None:
    """Put the last good copy of the log in its place; the file that is there is moved aside."""
    from formcheck.log.store import last_good_copy
    from formcheck.log.store import restore as put_back

    aside = put_back(_path(log))
    print(f"{_path(log)} is now the copy {last_good_copy(_path(log))}.")
    if aside is not None:
        print(f"What was there is {aside}.")
    print("“formcheck log rebuild FOLDER” enters the sets that were judged since.")


def log_ask(
    person: str | None,
    log: Path | None,
    recorded: str | None,
    sets_in_a_row: int,
    long_break_days: int,
) -> LogAsk | None:
    """What is asked of the log for a set; None where nobody was named."""
    if person is None:
        if recorded or log:
            raise typer.BadParameter("give --person NAME to enter the set in a log.")
        return None
    from formcheck.log.next_step import StepRules
    from formcheck.log.today import LogAsk

    at = when(recorded) if recorded else None
    return LogAsk(person, log, at, StepRules(sets_in_a_row, long_break_days))


def print_weeks(outcome: Outcome) -> None:
    """What a judged set changes of the person's weeks, and that it is in the log."""
    from formcheck.plain import plain

    if outcome.weeks is not None and outcome.weeks.since:
        print(f"Since the last set of this variation, {outcome.weeks.since}:")
        real = [said for said in outcome.weeks.changed if said.endswith(", real")]
        for said in real:
            print(f"  {plain(said)}")
        rest = len(outcome.weeks.changed) - len(real)
        print(f"  {'All else' if real else f'All {rest} quantities'} within the error")
    if outcome.entered is not None:
        print(plain(str(outcome.entered)))


def _path(log: Path | None) -> Path:
    from formcheck.log.store import default_log

    return log or default_log()


def _chosen(
    log: Path | None, person: str | None, since: str | None, variation: str | None
) -> tuple[list[SetEntry], list[PersonRecord]]:
    """The sets asked for, at least one, and all people."""
    from formcheck.log.store import find_person, open_log, people, sets_of

    with open_log(_path(log)) as opened:
        if person is not None:
            person = find_person(opened, person).name
        sets = sets_of(opened, person, _utc(since))
        known = people(opened)
    if variation is not None:
        _one_variation(sets, variation)
        sets = [one for one in sets if one.variation == variation]
    if not sets:
        whose = f" of {person}" if person else ""
        when = f" since {since}" if since else ""
        raise AskedError(f"There is no set{whose}{when} in the log.")
    return sets, known


def _one_person(sets: list[SetEntry]) -> str:
    names = list(dict.fromkeys(one.person for one in sets))
    if len(names) > 1:
        raise AskedError(f"Whose? Give --person: there are {', '.join(sorted(names))}.")
    return names[0]


def _one_variation(sets: list[SetEntry], asked: str | None) -> str:
    """The variation asked for, or that of the latest set: never two at once."""
    there = list(dict.fromkeys(one.variation for one in reversed(sets)))
    if asked is None and there:
        return there[0]
    if asked not in there:
        raise AskedError(f"No set of “{asked}”: there are {', '.join(f'“{v}”' for v in there)}.")
    return asked


def _utc(since: str | None) -> str | None:
    if since is None:
        return None
    return when(since).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def when(text: str) -> datetime:
    """A day or a moment as typed, in this machine's time unless it says another."""
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError as error:
        raise typer.BadParameter(
            f"“{text}” is no day: write 2026-09-01, or 2026-09-01T18:30."
        ) from error


def _console() -> Console:
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=True, markup=False)
    if not console.is_terminal:
        console.width = _PIPED_WIDTH
    return console


def _ends(change: Change) -> tuple[Point, Point]:
    return change.points[0], change.points[-1]


def _value(entry: SetEntry, name: str, digits: int) -> str:
    value = getattr(entry, name)
    return "–" if value is None else f"{value:.{digits}f}".replace("-", "−")


def _verdict(change: Change) -> str:
    if change.verdict != "too few days":
        return change.verdict
    return "more than its error" if change.beyond_error else "within the error"


def _per_week(change: Change) -> str:
    if change.per_week is None:
        return ""
    from formcheck.log.change import with_unit

    one = change.followed
    return (
        f"{with_unit(one, change.per_week, 1)} ({with_unit(one, change.low, 1)} to "
        f"{with_unit(one, change.high, 1)})"
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _plain_name(person: str) -> str:
    """The name as part of a file's name."""
    return "".join(sign if sign.isalnum() else "_" for sign in person)
