"""The page on agreement: one self-contained HTML file, nothing fetched."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from formcheck.agree.coefficients import Estimate
from formcheck.agree.compare import TOOL, Agreement, CountAgreement, Verdict
from formcheck.agree.comparison import Comparison
from formcheck.agree.labels import COUNTED
from formcheck.agree.pictures import pictures
from formcheck.agree.plots import counts_figure, limit_figure
from formcheck.agree.preference import Preference
from formcheck.agree.suggest import Suggestion
from formcheck.agree.sweep import SweepError
from formcheck.report import theme
from formcheck.report.figures import svg_url
from formcheck.report.folder import DRAWN_CLIP
from formcheck.report.templates import templates_of
from formcheck.report.words import fault_name, plus_minus, unit_name, with_unit

MOST_SHOWN = 120  # disagreements on one page
_LEAD_S = 0.4  # a moment is shown from a little before it


@dataclass(frozen=True)
class Row:
    """Two raters on one fault, every cell in words."""

    fault: str
    raters: str
    reps: str
    precision: str
    recall: str
    f1: str
    kappa: str
    ac1: str
    left_out: str


@dataclass(frozen=True)
class Case:
    """One rep they differ on. ``href`` plays the moment in the annotated clip, where there is one;
    ``report`` leads to the set's report page."""

    title: str
    accused: bool
    said: str
    measured: str
    picture: str
    href: str
    report: str


@dataclass(frozen=True)
class LimitCase:
    """What the labels say of one limit: ``headline`` and sentences, and the plot as a data URL."""

    fault: str
    headline: str
    says: tuple[str, ...]
    plot: str


@dataclass(frozen=True)
class AgreementPage:
    """Everything the page shows. ``counts`` are Bland–Altman plots, each with its sentence."""

    headline: str
    basis: str
    tool_rows: tuple[Row, ...]
    coach_rows: tuple[Row, ...]
    cases: tuple[Case, ...]
    more_cases: int
    limits: tuple[LimitCase, ...]
    counts: tuple[tuple[str, str], ...]


def agreement_page(
    found: Comparison, beside: Path, preference: Preference = "few-false"
) -> AgreementPage:
    """What the page says; links are made relative to the folder ``beside``."""
    rows = [(one, row_of(one)) for one in found.agreements()]
    differ = found.disagreements()
    shown = pictures(differ, found.sets)
    accusations = sum(one.false_accusation for one in differ)
    return AgreementPage(
        headline=_headline(len(differ), accusations, len(found.verdicts)),
        basis=(
            f"{len(found.verdicts)} verdicts of {_people(found)} on "
            f"{len({one.of_set for one in found.verdicts})} sets. Intervals are 95 %, from drawing "
            "whole sets again; borderline is no accusation."
        ),
        tool_rows=tuple(row for one, row in rows if one.first == TOOL),
        coach_rows=tuple(row for one, row in rows if one.first != TOOL),
        cases=tuple(_case(one, found, shown, beside) for one in differ[:MOST_SHOWN]),
        more_cases=max(0, len(differ) - MOST_SHOWN),
        limits=tuple(
            case
            for fault in found.faults()
            if fault != COUNTED and (case := _limit_case(found, fault, preference)) is not None
        ),
        counts=tuple((svg_url(counts_figure(one)), count_words(one)) for one in found.counts()),
    )


def page_html(page: AgreementPage) -> str:
    """The page as text."""
    return (
        templates_of("formcheck.agree")
        .get_template("agreement.html.j2")
        .render(page=page, theme=theme)
    )


def interval(one: Estimate, digits: int = 2) -> str:
    """``0.91 (0.84–0.97)``; a dash for what is not defined."""
    if not math.isfinite(one.value):
        return "–"
    text = f"{one.value:.{digits}f}".replace("-", "−")
    if not math.isfinite(one.low):
        return text
    return f"{text} ({one.low:.{digits}f} to {one.high:.{digits}f})".replace("-", "−")


def suggestion_words(one: Suggestion) -> tuple[str, tuple[str, ...]]:
    """A suggestion as a headline and sentences."""
    if one.refused:
        return "No limit suggested", (_sentence(one.refused), *_next_words(one))
    unit = unit_name(one.unit)
    behind = unit if unit == "°" else f" {unit}"
    headline = f"{one.limit.value:g}{behind} instead of {one.in_force:g}{behind}"
    says = [
        f"95 % interval {one.limit.low:.3g} to {one.limit.high:.3g}; the verdicts fit a limit of "
        f"{one.coach.value:.3g} ({one.coach.low:.3g} to {one.coach.high:.3g}).",
        f"On sets it was not chosen on: {interval(one.precision)} of accusations right, "
        f"{interval(one.recall)} of faults called.",
        f"From {one.labelled[0]} reps with and {one.labelled[1]} without, in {one.labelled[2]} "
        "sets.",
    ]
    return headline, (*says, *(_sentence(remark) for remark in one.remarks), *_next_words(one))


def _next_words(one: Suggestion) -> tuple[str, ...]:
    if not one.label_next:
        return ()
    reps = ", ".join(f"{name} rep {rep}" for name, rep in one.label_next[:4])
    return (f"What would tell most next: {reps}.",)


def _headline(differ: int, accusations: int, verdicts: int) -> str:
    if not differ:
        return f"No disagreement in {verdicts} verdicts"
    differs = "1 disagreement" if differ == 1 else f"{differ} disagreements"
    wrong = {0: "no false accusation", 1: "1 false accusation"}
    return (
        f"{differs} in {verdicts} verdicts, "
        f"{wrong.get(accusations, f'{accusations} false accusations')}"
    )


def _people(found: Comparison) -> str:
    people = list(dict.fromkeys(one.label.who for one in found.verdicts))
    return " and ".join(people) if len(people) < 4 else f"{len(people)} people"


def row_of(one: Agreement) -> Row:
    """Two raters on one fault, in words."""
    parts = [
        f"{count} {'unclear (borderline)' if key == 'borderline' else key}"
        for key, count in one.left_out.items()
        if count
    ]
    coefficients = one.coefficients
    return Row(
        fault=_name(one.fault),
        raters=f"{one.first} with {one.second}",
        reps=f"{one.reps} in {one.sets} sets",
        precision=interval(coefficients["precision"]),
        recall=interval(coefficients["recall"]),
        f1=interval(coefficients["f1"]),
        kappa=interval(coefficients["kappa"]),
        ac1=interval(coefficients["ac1"]),
        left_out=", ".join(parts),
    )


def _name(fault: str) -> str:
    return "Rep counted" if fault == COUNTED else fault_name(fault)


def _case(
    one: Verdict, found: Comparison, shown: Mapping[tuple[int, float], str], beside: Path
) -> Case:
    folder = found.sets[one.of_set].folder
    measured = ""
    if math.isfinite(one.value):
        measured = plus_minus(one.value, one.plus_minus, one.unit)
        if math.isfinite(one.limit):
            measured += f", limit {with_unit(one.limit, one.unit)}"
    href = report = ""
    if folder is not None:
        place = quote(Path(os.path.relpath(folder, beside)).as_posix())
        report = f"{place}/report.html" if (folder / "report.html").is_file() else ""
        if (folder / DRAWN_CLIP).is_file() and math.isfinite(one.at_s):
            href = f"{place}/{DRAWN_CLIP}#t={max(0.0, one.at_s - _LEAD_S):.2f}"
    tool = {
        "yes": "yes", "borderline": "unclear", "no": "no", "no such rep": "no such rep found",
        "not judged": "not judged",
    }[one.tool]  # fmt: skip
    return Case(
        title=f"{one.label.set}, rep {one.rep}: {_name(one.label.fault).lower()}",
        accused=one.false_accusation,
        said=f"{one.label.who} says {one.label.verdict}, {TOOL} says {tool}",
        measured=measured,
        picture=shown.get((one.of_set, one.at_s), ""),
        href=href,
        report=report,
    )


def _limit_case(found: Comparison, fault: str, preference: Preference) -> LimitCase | None:
    try:
        one = found.suggest(fault, preference=preference)
        plot = svg_url(limit_figure(found.sweep(fault, one.key), one))
    except SweepError:
        return None
    headline, says = suggestion_words(one)
    return LimitCase(f"{fault_name(fault)} ({one.key})", headline, says, plot)


def count_words(one: CountAgreement) -> str:
    """How far two counts lie apart, in a sentence."""
    apart = one.apart
    words = f"{one.first} counts {apart.bias.value:+.1f} reps a set against {one.second}"
    if math.isfinite(apart.lower.value):
        words += f"; 95 % of sets lie between {apart.lower.value:+.1f} and {apart.upper.value:+.1f}"
    return words.replace("-", "−") + "."


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
