"""The page of a batch: who needs a word, what many have in common, and every set to look up."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote

from markupsafe import Markup

from formcheck.batch.judged_sets import JudgedSet
from formcheck.batch.standout import common_faults, did_well, people_in, words_due
from formcheck.faults.catalogue import FaultKind, fault_kinds
from formcheck.report import theme
from formcheck.report.advice_words import ALWAYS_CAUTIONS
from formcheck.report.templates import templates_of
from formcheck.report.words import TRUST, with_unit

_FIRST_WORDS = 8  # more are folded away


@dataclass(frozen=True)
class Cell:
    """One number of a row: how it is written, and what it is sorted by (empty: last)."""

    text: str
    sort: float | str


@dataclass(frozen=True)
class Row:
    """One set in the table. ``name`` of the set without its person's; ``picture`` a data URL, empty
    where nothing was drawn; ``href`` of its report, empty where there is none; ``search`` all that
    the search box looks in."""

    person: str
    name: str
    href: str
    picture: str
    status: str
    reason: str
    counted: Cell
    clean: Cell
    clean_words: str
    fix_first: str | None
    faults: tuple[tuple[str, int], ...]
    elbow_bottom: Cell
    elbow_top: Cell
    line: Cell
    step: str
    note: str
    word: str
    search: str


_STEPS = {"easier": "easier", "same": "same again", "harder": "harder"}


def report_beside(name: str) -> str:
    """The address of a set's report from the page beside its folder."""
    return quote(f"{name}/report.html")


def summary_html(
    sets: Sequence[JudgedSet],
    absent: Sequence[str],
    picture: Callable[[str], Path],
    address: Callable[[str], str] = report_beside,
) -> str:
    """The page as text; ``picture`` tells where the small picture of a set lies, if it does, and
    ``address`` that of its report."""
    environment = templates_of("formcheck.batch")
    environment.globals.update(kind=_kind)
    due = words_due(sets)
    said = {word.about.result.name: word.text for word in due}
    rows = {one.result.name: _row(one, picture, said, address) for one in sets}
    judged = [one for one in sets if one.result.status == "judged"]
    script = files("formcheck.batch").joinpath("templates/summary.js").read_text("utf-8")
    return environment.get_template("summary.html.j2").render(
        theme=theme,
        answer=_answer(judged),
        people=sorted({one.person for one in judged if one.person}),
        faults=sorted(
            {key for one in judged for key in one.counts()}, key=lambda key: _kind(key).name
        ),
        due=[rows[word.about.result.name] for word in due],
        first_words=_FIRST_WORDS,
        well=[rows[one.result.name] for one in did_well(judged)],
        common=common_faults(sets),
        group=len(people_in(sets)),
        rows=[rows[one.result.name] for one in judged],
        unjudged=[rows[one.result.name] for one in sets if one.result.status != "judged"],
        absent=absent,
        cautions=(*ALWAYS_CAUTIONS, TRUST),
        script=Markup(script),  # our own file, not data
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
    )


def _kind(key: str) -> FaultKind:
    """What is known of a fault; of one that was added from outside, its key alone."""
    return fault_kinds().get(key) or replace(
        next(iter(fault_kinds().values())), key=key, name=key, cue="", sign="", meant=""
    )


def _answer(judged: Sequence[JudgedSet]) -> str:
    """``24 sets of 7 people: 180 of 214 attempts counted, 96 clean, 20 unclear``."""
    if not judged:
        return "No set could be judged"
    people = len({one.person for one in judged if one.person})
    of = f" of {people} {'people' if people > 1 else 'person'}" if people else ""
    attempts, counted, clean, unclear = (
        sum(one.of_set(name) or 0 for one in judged)
        for name in ("attempts", "counted", "clean", "unclear")
    )
    sets = f"{len(judged)} {'sets' if len(judged) > 1 else 'set'}{of}"
    return f"{sets}: {counted} of {attempts} attempts counted, {_clean(clean, unclear)}"


def _clean(clean: int, unclear: int) -> str:
    """As the report of a set has it: a clean rep with a value too close to a limit is unclear."""
    return f"{clean - unclear} clean" + (f", {unclear} unclear" if unclear else "")


def _row(
    one: JudgedSet,
    picture: Callable[[str], Path],
    said: dict[str, str],
    address: Callable[[str], str],
) -> Row:
    result = one.result
    counted, clean, unclear = (one.of_set(key) or 0 for key in ("counted", "clean", "unclear"))
    share = counted / one.attempts if one.attempts else 0.0
    held = (one.report.get("variation") or {}).get("support_hold")
    fix = _kind(result.fix_first).name if result.fix_first else ""
    step = one.report.get("next_step", {})
    return Row(
        person=one.person,
        name=result.name.removeprefix(f"{one.person}/") if one.person else result.name,
        href="" if result.status == "failed" else address(result.name),
        picture=_picture(picture(result.name)),
        status=result.status,
        reason=result.reason,
        counted=Cell(
            f"held {held['held_s']:.0f} s"
            if held and not one.attempts
            else f"{counted} of {one.attempts}",
            share,
        ),
        clean=Cell(_clean(clean, unclear).replace(" clean", ""), clean - unclear),
        clean_words=_clean(clean, unclear),
        fix_first=result.fix_first,
        faults=tuple(sorted(one.counts().items())),
        elbow_bottom=_degrees(one.median("elbow_bottom_deg")),
        elbow_top=_degrees(one.median("elbow_top_deg")),
        line=_degrees(one.furthest_line_deg),
        step=_STEPS.get(step.get("direction", ""), "") if one.attempts else "",
        note=one.note,
        word=said.get(result.name, ""),
        search=" ".join((one.person, result.name, *result.clips, fix)).casefold(),
    )


def _degrees(value: float | None) -> Cell:
    return Cell(with_unit(value, "deg"), "" if value is None else round(value, 2))


def _picture(path: Path) -> str:
    try:
        content = path.read_bytes()
    except OSError:
        return ""
    return "data:image/jpeg;base64," + base64.b64encode(content).decode()
