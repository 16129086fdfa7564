"""The page: one self-contained HTML file beside the annotated clip, nothing fetched."""

from __future__ import annotations

import base64
import hashlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
from jinja2 import Template
from markupsafe import Markup

from formcheck.advice.decide import FIRST_REPS
from formcheck.analysis import NO_HANDS, NO_TEMPO, Analysis, RepResult
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.rules import Fault
from formcheck.measures.values import RepValue, rep_values
from formcheck.measures.working_arm import FLARE_TURNS, HEAD_TURNS
from formcheck.report import theme
from formcheck.report.advice_words import caution_words, variation_words, why_words
from formcheck.report.answer import (
    FAILED,
    answer_line,
    fix_first,
    fix_line,
    reps_with,
)
from formcheck.report.moments import PHASE_KEYS, bounds_s, called_at_s, phase_words, phases_of
from formcheck.report.page import marks
from formcheck.report.page.compare import HEIGHT, STEPS, WIDTH, compared
from formcheck.report.page.curves import chart, samples, series_of
from formcheck.report.set_words import (
    as_shown,
    called_by,
    correction_text,
    led_text,
    set_facts,
    sticking_text,
    test_text,
    unjudged,
)
from formcheck.report.targets import Targets, targets_of
from formcheck.report.templates import templates_of
from formcheck.report.video.stills import (
    STILL_WIDTH_PX,
    STUCK,
    Annotated,
    FaultId,
    id_of,
)
from formcheck.report.weeks import Weeks
from formcheck.report.words import (
    ATTEMPTS,
    DIRECTIONS,
    TOO_CLOSE,
    TRUST,
    VERDICTS,
    disagreement_text,
    how_to_film,
    in_force_text,
    judged_name,
    limit_text,
    number,
    phase_name,
    plus_minus,
    unit_name,
    variation_text,
    with_unit,
)
from formcheck.reps.find import rep_list
from formcheck.variation.arms import ONE_AT_A_TIME

if TYPE_CHECKING:
    from formcheck.report.video.canvas import Picture

STILLS_BUDGET = 560_000  # bytes of JPEG, so that the page stays under 1.5 MB
_WIDE_PX, _NARROW_PX = 1080.0, 344.0
# What another clip would not help.
NOT_ASKED = (NO_TEMPO, NO_HANDS, ONE_AT_A_TIME, FLARE_TURNS, HEAD_TURNS)
# Smaller losses than these are within what the measurement errs by.
_LEAST_SPEED_LOSS, _LEAST_DEPTH_LOST_DEG = 10.0, 5.0
_BEFORE_UNIT = re.compile(r" (?=(?:s|kg|cm)\b|%|±)|(?<=±) ")
_MOST_STUCK = 3  # presses that slowed are shown, the last of them
_LEAD_S = 0.4  # a fault is shown from a little before it happens


def page_html(
    analysis: Analysis,
    clip: Annotated | None,
    clip_name: str,
    note: str = "",
    weeks: Weeks | None = None,
) -> str:
    """The whole page as text.

    ``clip`` None: no video, only what was measured. ``clip_name`` is the annotated clip's file
    beside the page. File names and ``note`` are shown as text, whatever they contain.
    ``weeks`` what the training log adds.
    """
    script = files("formcheck.report.page").joinpath("templates/report.js").read_text("utf-8")
    return compile_page().render(
        **_context(analysis, clip, clip_name, note),
        weeks=weeks,
        script=Markup(script),  # our own file, not data
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
    )


def compile_page() -> Template:
    """The page's template, compiled the first time."""
    environment = templates_of("formcheck.report.page")
    environment.globals.update(kinds=fault_kinds())
    return environment.get_template("report.html.j2")


def _context(
    analysis: Analysis, clip: Annotated | None, clip_name: str, note: str
) -> dict[str, Any]:
    targets = targets_of(analysis)
    series = series_of(analysis)
    charts = {
        name: chart(analysis, series, targets, width)
        for name, width in (
            ("wide", _WIDE_PX),
            ("narrow", max(_NARROW_PX, 46.0 * len(analysis.reps))),
        )
    }
    drawn = charts["wide"]
    both = compared(analysis, series, targets)
    columns = _columns(analysis)
    first = fix_first(analysis, besides=FAILED)
    duration_s = analysis.looks[0].track.duration_s if analysis.looks else 0.0
    return {
        "theme": theme,
        "answer": answer_line(analysis),
        "files": [view.track.source_name for view in analysis.looks],
        "note": note,
        "notes": [*analysis.notes, *(n for v in analysis.looks for n in v.track.notes)],
        # With pain, advice stops at rest: nothing to fix first, no drills.
        "pain": analysis.prescription.pain,
        "first": fault_kinds()[first] if first and not analysis.prescription.pain else None,
        "fix_line": fix_line(analysis),
        "empty": analysis.empty,
        "first_reps": rep_list(reps_with(analysis, first)) if first else "",
        "next_step": {
            "direction": analysis.next_step.direction,
            "variation": variation_words(analysis.next_step),
            "why": why_words(analysis.next_step),
            "cautions": caution_words(analysis.next_step),
        },
        "trust": TRUST,
        "too_close": TOO_CLOSE,
        "verdicts": VERDICTS,
        "directions": DIRECTIONS,
        "attempts": ATTEMPTS,
        "facts": [] if analysis.empty else _facts(analysis),
        "disagreements": [disagreement_text(d) for d in analysis.variation.disagreements],
        "marks": marks.marks(analysis, targets),
        "rails_text": _rails_text(targets),
        "standings": {marks.standing(result) for result in analysis.reps},
        "mark_size": (marks.WIDTH, marks.HEIGHT),
        "clip": clip,
        "clip_name": clip_name,
        "clip_label": _clip_label(analysis),
        "poster": _jpeg(clip.poster, 960, 70) if clip else "",
        "duration_s": duration_s,
        "spans": _spans(analysis, duration_s),
        "calls": [
            _percent(called_at_s(fault, result.rep), duration_s)
            for result in analysis.reps
            for fault in result.faults
            if fault.verdict == "fault"
        ],
        "phases": {key: phase_name(key) for key in PHASE_KEYS},
        "charts": charts,
        "series": series,
        "tempo_asked": analysis.prescription.tempo is not None,
        "columns": columns,
        "unit_name": unit_name,
        "rows": [_row(result, columns) for result in analysis.reps],
        "groups": _groups(analysis, clip),
        "not_judged": _not_judged(analysis),
        "sheet": _sheet(analysis),
        "compared": both,
        "compare_size": (WIDTH, HEIGHT),
        "compare_steps": STEPS,
        "moments": _moments(analysis, clip),
        "moving": {
            "compared": vars(both) if both else None,
            "frame": 1 / max(analysis.looks[0].track.fps, 1.0) if analysis.looks else 0.04,
            "reps": [
                {
                    "i": r.rep.index,
                    "b": [round(t, 3) for t in bounds_s(r.rep)],
                    "p": [phase_words(r.rep, place) for place in range(len(PHASE_KEYS))],
                }
                for r in analysis.reps
            ],
            "units": {one.key: one.unit for one in series},
            "charts": {
                name: {
                    "t0": c.t0_s,
                    "t1": c.t1_s,
                    "x0": c.x0,
                    "x1": c.x1,
                    "rows": [(r.key, r.low, r.high, r.bottom, r.top) for r in c.rows if r.line],
                }
                for name, c in charts.items()
                if c is not None
            },
            **(samples(series, drawn.t0_s, drawn.t1_s) if drawn else {"series": {}}),
        },
    }


def _facts(analysis: Analysis) -> list[tuple[str, str]]:
    """What was done and asked, as name and value with unit; only what is known."""
    summary, variation, asked = analysis.summary, analysis.variation, analysis.prescription
    facts = [
        ("Variation", variation_text(variation)),
        ("Body inclined", plus_minus(variation.inclination_deg.value,
                                  variation.inclination_deg.plus_minus, "deg")),
        ("Held at the top", f"{analysis.hold.held_s:.0f} s"
         if analysis.hold else ""),
        ("Surface", _surface_text(analysis)),
        ("Tempo asked", f"{asked.tempo} s" if asked.tempo else ""),
        ("Range asked", _range_text(analysis) if analysis.reps else ""),
        ("Limits", in_force_text(analysis.limits, asked.standard)),
        ("Pain reported", asked.pain or ""),
        ("Added load", f"{asked.added_load_kg:g} kg" if asked.added_load_kg else ""),
        ("Time under tension", f"{summary.time_under_tension_s:.0f} s"
         if summary.time_under_tension_s > 0 else ""),
        ("Pace", f"{summary.pace_per_min:.0f} reps/min" if math.isfinite(summary.pace_per_min)
         else ""),
        ("Speed loss, fastest rep to last", with_unit(summary.speed_loss_percent, "%")
         if summary.speed_loss_percent >= _LEAST_SPEED_LOSS else ""),
        ("Depth lost over the set", with_unit(summary.range_loss_deg, "deg")
         if summary.range_loss_deg >= _LEAST_DEPTH_LOST_DEG else ""),
        ("First breakdown", f"rep {summary.first_breakdown_rep}"
         if summary.first_breakdown_rep else ""),
    ]  # fmt: skip
    facts += set_facts(analysis)
    return [(name, _unbroken(value)) for name, value in facts if value and value != "–"]


def _unbroken(text: str) -> str:
    """The text with no line break between a number and its unit."""
    return _BEFORE_UNIT.sub("\u00a0", text)


def _surface_text(analysis: Analysis) -> str:
    """How high the raised end is, in centimetres where the stature is known."""
    height, cm = analysis.variation.surface_height, analysis.variation.surface_height_cm
    if analysis.variation.surface not in ("hands_raised", "feet_raised") or not height.known:
        return ""
    if cm is not None:
        return f"about {abs(cm):.0f} cm high"
    return f"{abs(height.value):.1f} ± {height.plus_minus:.1f} arm lengths high"


def _rails_text(targets: Targets) -> str:
    rails = [
        f"{name} {with_unit(limit, 'deg')}"
        for name, limit in (
            ("lockout", targets.lockout_deg),
            ("depth", targets.depth_deg),
        )
        if math.isfinite(limit)
    ]
    return "; rails: " + ", ".join(rails) if rails else ""


def _range_text(analysis: Analysis) -> str:
    criterion = fault_kinds()["shallow"].criterion(analysis.prescription.range_standard)
    limit = analysis.limits[criterion.limit]
    return criterion.asked.format(limit=with_unit(limit.value, limit.unit))


def _clip_label(analysis: Analysis) -> str:
    kinds = " and ".join(view.view.kind for view in analysis.looks)
    return f"Annotated clip, {kinds} view, with limbs, body line, elbow angle and tempo drawn in"


def _spans(analysis: Analysis, duration_s: float) -> list[dict[str, Any]]:
    """Reps along the time strip, with their phases, in percent of the clip."""
    spans = []
    for result in analysis.reps:
        bounds = bounds_s(result.rep)
        length = max(bounds[4] - bounds[0], 1e-6)
        spans.append(
            {
                "index": result.rep.index,
                "standing": marks.standing(result),
                "left": _percent(bounds[0], duration_s),
                "width": _percent(length, duration_s),
                "phases": [
                    (key, 100 * (to_s - from_s) / length)
                    for key, from_s, to_s in phases_of(result.rep)
                ],
            }
        )
    return spans


def _percent(part: float, whole: float) -> float:
    return round(100 * part / whole, 3) if whole > 0 else 0.0


def _columns(analysis: Analysis) -> list[RepValue]:
    """The values that have a column, in the unit they were measured in."""
    return [
        replace(value, unit=analysis.speed_unit) if value.unit == "arm lengths/s" else value
        for value in rep_values().values()
        if value.page == "always"
        or (
            value.page == "known"
            and any(value.key in r.values and r.values[value.key].known for r in analysis.reps)
        )
    ]


def _row(result: RepResult, columns: list[RepValue]) -> dict[str, Any]:
    cells = []
    for column in columns:
        quantity = result.values.get(column.key)
        value = quantity.value if quantity else getattr(result.rep, column.key, math.nan)
        spread = quantity.plus_minus if quantity else math.nan
        both_known = math.isfinite(spread) and math.isfinite(value)
        cells.append(
            {
                "sort": value if math.isfinite(value) else None,
                "text": number(value, column.unit),
                "spread": f"± {number(spread, column.unit)}" if both_known else "",
                "reason": (quantity.reason or "") if quantity and not quantity.known else "",
            }
        )
    return {
        "index": result.rep.index,
        "start_s": result.rep.start_s,
        "standing": marks.standing(result),
        "attempt": ATTEMPTS[result.attempt],
        "why": result.why_not_counted or "",
        "cells": cells,
        "corrections": [correction_text(one) for one in result.corrections],
        "faults": [(f.key, f.verdict) for f in result.faults],
    }


def _groups(analysis: Analysis, clip: Annotated | None) -> list[dict[str, Any]]:
    """Faults by kind, the one to fix first leading; each with the times it happened."""
    timed = {key for key, kind in fault_kinds().items() if kind.phase is not None}
    shown = {key: still for key, still in clip.stills.items() if key[1] not in timed | {STUCK}} if (
        clip
    ) else {}  # fmt: skip
    pictures = _embedded(shown)
    keys = list(dict.fromkeys(f.key for f in analysis.faults))
    sure = {
        key: sum(f.key == key and f.verdict == "fault" for f in analysis.faults) for key in keys
    }
    first = fix_first(analysis)
    groups = []
    for key in sorted(keys, key=lambda k: (k != first, -sure[k])):
        cases = [f for f in analysis.faults if f.key == key]
        groups.append(
            {
                "key": key,
                "kind": fault_kinds()[key],
                "measured": rep_values()[
                    fault_kinds()[key].criterion(analysis.prescription.range_standard).measure
                ].label,
                "drill": _drill(key, cases, analysis),
                "only_borderline": sure[key] == 0,
                "reps": rep_list(sorted({f.rep for f in cases})),
                "cases": [_case(f, pictures.get(id_of(f), ""), analysis) for f in cases],
            }
        )
    return groups


def _drill(key: str, cases: Sequence[Fault], analysis: Analysis) -> str:
    """What to practise, as the advice has it, which knows when the fault began."""
    kind = fault_kinds()[key]
    first = min((f.rep for f in cases if f.verdict == "fault"), default=0)
    late = first > FIRST_REPS and analysis.test is None
    return kind.remedy(late)


def _sheet(analysis: Analysis) -> dict[str, str] | None:
    """What the named test asks, and how it went; the rows of the reps say the rest."""
    test = analysis.test
    if test is None:
        return None
    standard = test.standard
    source = standard.source + (f", {standard.year}" if standard.year else "")
    return {
        "name": standard.name,
        "result": test_text(test),
        "source": _sentence(f"source: {source}"),
        "superseded": _sentence(f"out of use: {standard.superseded}")
        if standard.superseded
        else "",
        "not_seen": _sentence(f"not seen here: {standard.not_seen}") if standard.not_seen else "",
    }


def _moments(analysis: Analysis, clip: Annotated | None) -> list[dict[str, Any]]:
    """Where the set failed, else where its presses stuck, the slowest first: the moment, large."""
    found = []
    for result in analysis.reps:
        at = result.values["sticking_height_percent"]
        if at.known and at.at_s is not None:
            failed = result.attempt == "failed"
            still = clip.stills.get((result.rep.index, STUCK)) if clip else None
            found.append(
                {
                    "failed": failed,
                    "rep": result.rep.index,
                    "at_s": at.at_s,
                    "seek_s": max(0.0, at.at_s - _LEAD_S),
                    "where": sticking_text(result.values),
                    "picture": "" if still is None else _jpeg(still, STILL_WIDTH_PX, 80),
                }
            )
    if analysis.hold is not None and (lost_s := analysis.hold_verdict.broke_at_s) is not None:
        still = clip.stills.get((0, STUCK)) if clip else None
        found.append(
            {
                "failed": True,
                "rep": 0,
                "at_s": lost_s,
                "seek_s": max(0.0, lost_s - _LEAD_S),
                "where": f"after {lost_s - analysis.hold.start_s:.0f} s",
                "picture": "" if still is None else _jpeg(still, STILL_WIDTH_PX, 80),
            }
        )
    where_failed = [one for one in found if one["failed"]]
    return where_failed or found[-_MOST_STUCK:]


def _phase_bars(fault: Fault, analysis: Analysis) -> dict[str, Any] | None:
    """A phase as done beside what was asked, both from one start: shares of the longer one."""
    phase = fault_kinds()[fault.key].phase
    if phase is None:
        return None
    tempo = analysis.prescription.tempo
    asked_s = getattr(tempo, f"{phase}_s", None)
    longest = max(fault.value + fault.uncertainty, asked_s or 0.0, fault.limit, 0.1)
    return {
        "phase": phase,
        "done": 100 * max(fault.value, 0.0) / longest,
        "doubt": 100 * fault.uncertainty / longest,
        "asked": None if asked_s is None else 100 * asked_s / longest,
        "asked_s": None if asked_s is None else f"{asked_s:g} s asked",
        "limit": 100 * fault.limit / longest,
    }


def _case(found: Fault, picture: str, analysis: Analysis) -> dict[str, Any]:
    values = next(r.values for r in analysis.reps if r.rep.index == found.rep)
    fault = as_shown(found, values)
    bars = _phase_bars(fault, analysis)
    if bars is not None:
        picture = ""  # a still of a time shows nothing
    return {
        "bars": bars,
        "led": led_text(fault),
        "by": called_by(found, values),
        "rep": fault.rep,
        "verdict": fault.verdict,
        "at_s": fault.at_s,
        "seek_s": max(0.0, fault.at_s - _LEAD_S),
        "value": plus_minus(fault.value, fault.uncertainty, fault.unit),
        "limit": _limit_words(fault, analysis),
        "view": fault.view,
        "picture": picture,
    }


def _limit_words(fault: Fault, analysis: Analysis) -> str:
    """``limit at most 12°``; of a phase what was asked, too: ``3 s asked, at least 2.25 s``."""
    phase = fault_kinds()[fault.key].phase
    limit = limit_text(fault.value, fault.limit, fault.unit)
    asked_s = getattr(analysis.prescription.tempo, f"{phase}_s", None) if phase else None
    if asked_s is None:
        return f"limit {limit}"
    return f"{asked_s:g} s asked, {limit} allowed"


def _not_judged(analysis: Analysis) -> list[dict[str, Any]]:
    """What was not judged, gathered by reason, with what to film instead."""
    gathered: dict[tuple[str, str], list[str]] = {}
    for reason, keys in unjudged(analysis):
        # Some reasons already say how to film; some are not about the filming.
        told = "film" in reason or reason in NOT_ASKED
        for key in keys:
            film = "" if told else how_to_film(key)
            gathered.setdefault((_sentence(reason), film), []).append(judged_name(key))
    return [
        {"names": list(dict.fromkeys(names)), "reason": reason, "film": film}
        for (reason, film), names in gathered.items()
    ]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def _embedded(stills: Mapping[FaultId, Picture]) -> dict[FaultId, str]:
    """The stills as data URLs, smaller where there are many, so that all fit the page."""
    width, quality = 480, 78
    while True:
        urls = {key: _jpeg(still, width, quality) for key, still in stills.items()}
        if sum(map(len, urls.values())) <= STILLS_BUDGET or width <= 120:
            return urls
        width, quality = round(width * 0.75), max(55, quality - 6)


def _jpeg(picture: Picture, width: int, quality: int) -> str:
    import cv2  # a page without pictures does without

    height = round(picture.shape[0] * width / picture.shape[1])
    if width < picture.shape[1]:
        picture = np.asarray(
            cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA), np.uint8
        )
    done, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode() if done else ""
