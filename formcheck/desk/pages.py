"""The pages: each has an address of its own, made anew from what is on disk."""

from __future__ import annotations

import asyncio
import json
import os
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args
from urllib.parse import quote

import jinja2
import segno
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    Response,
    StreamingResponse,
)

from formcheck.agree.labels import COUNTED, Label
from formcheck.asked.prescription import (
    Arms,
    Counts,
    HandSpacing,
    Pain,
    Support,
    Surface,
    WorkingArm,
)
from formcheck.asked.standards import RangeStandard, standards
from formcheck.desk.asked import Asked
from formcheck.desk.desk import Desk, desk_of, group_of, set_of
from formcheck.desk.folder import DeskError, DeskSet, State, read_report
from formcheck.desk.groups import group_summary
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.limit_sets import limit_sets
from formcheck.log.change import FOLLOWED
from formcheck.log.entry import SetEntry, local_day
from formcheck.log.next_step import step_words
from formcheck.log.page.page import log_page
from formcheck.log.page.page import page_html as log_page_html
from formcheck.log.person import PersonRecord, masses
from formcheck.log.store import open_log, people, sets_of
from formcheck.plain import plain
from formcheck.pose.model import DEFAULT_MODEL, SHIPPED_MODELS
from formcheck.report import theme
from formcheck.report.folder import MADE
from formcheck.report.templates import templates_of
from formcheck.report.words import ATTEMPTS, VARIATIONS, fault_name
from formcheck.reps.early import EarlySet

_SHOWN = 50  # sets in a list, before the rest is asked for
_LOOK_EVERY_S = 0.4
_MOST_WATCHING = 40  # pages that follow the progress at once
_SURELY_THERE_S = 5.0  # of a clip, after which somebody should be seen in it
_OFTEN_SEEN = 0.3  # of its pictures
_PAGES = (*MADE, "summary.html", "summary.csv", "summary.xlsx", "reps.parquet")
_META_POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"<>]{1,400})"')
_NO_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_HEAD_BYTES = 20_000

STATES: dict[str, str] = {
    "arriving": "arriving",
    "waiting": "waiting",
    "judging": "being judged",
    "judged": "judged",
    "empty": "no set found in it",
    "failed": "could not be judged",
    "cancelled": "cancelled",
}
MODELS: dict[str, str] = {"full": "full, twice as quick", "heavy": "heavy, the most exact"}
COUNTS: dict[str, str] = {"range": "range alone", "range-and-line": "range and body line"}
RANGES: dict[str, str] = {
    "elbow-90": "elbow at 90° or less",
    "arm-parallel": "upper arm parallel to the floor",
    "chest-low": "chest within a fist of the floor",
    "chest-floor": "chest on the floor",
}


@dataclass(frozen=True)
class Line:
    """A set in a list."""

    id: str
    when: str
    person: str
    clips: tuple[str, ...]
    state: str
    said: str
    why: str
    note: str = ""


@dataclass(frozen=True)
class RepSeen:
    """A rep as measured, and what people say of it."""

    index: int
    attempt: str
    standing: str
    faults: tuple[str, ...]
    unclear: tuple[str, ...]
    labels: tuple[str, ...]
    remark: str


async def home(request: Request) -> Response:
    person = request.query_params.get("person", "")[:100]
    lines = await run_in_threadpool(_lines, desk_of(request), 8)
    asked = await run_in_threadpool(desk_of(request).folder.remembered, person)
    return _page(request, "home.html.j2", asked=asked, lines=lines, can=_choices(desk_of(request)))


async def all_sets(request: Request) -> Response:
    most = None if "all" in request.query_params else _SHOWN
    lines = await run_in_threadpool(_lines, desk_of(request), most)
    return _page(request, "sets.html.j2", lines=lines, more=len(lines) == most)


async def one_set(request: Request) -> Response:
    desk, one = desk_of(request), set_of(request)
    line = _line(desk, one)
    report = read_report(desk.folder.report(one.id))
    open_rep = request.query_params.get("rep", "")
    return _page(
        request,
        "set.html.j2",
        one=one,
        line=line,
        asked=one.asked,
        percent=_percent(desk, one),
        reps=_reps(desk, one, report) if report else (),
        open_rep=int(open_rep) if re.fullmatch(r"\d{1,4}", open_rep) else None,
        report=report,
        made=[name for name in MADE if (desk.folder.report(one.id) / name).is_file()],
        kinds={key: kind.name for key, kind in fault_kinds().items()},
        can=_choices(desk),
    )


async def report_file(request: Request) -> Response:
    """A file of a set's report, as it was written."""
    desk, one = desk_of(request), set_of(request)
    name = request.path_params["name"]
    path = desk.folder.report(one.id) / name
    if name not in MADE or not path.is_file():
        raise DeskError("There is no such file in this report.", 404)
    return _as_written(path)


async def list_people(request: Request) -> Response:
    known, sets = await run_in_threadpool(_in_log, desk_of(request))
    counts = [(one, [s for s in sets if s.person == one.name]) for one in known]
    return _page(request, "people.html.j2", people=counts, local_day=local_day)


async def person(request: Request) -> Response:
    desk, name = desk_of(request), request.path_params["name"]
    known, sets = await run_in_threadpool(_in_log, desk)
    record = _of_name(known, name)
    if record is None:
        raise DeskError("There is nobody of that name in the log.", 404)
    mine = [one for one in sets if one.person == record.name]
    variations = list(dict.fromkeys(one.variation for one in reversed(mine)))
    chosen = request.query_params.get("variation", variations[0] if variations else "")
    here = {str(desk.folder.report(one.id).resolve()): one.id for one in desk.folder.all()}
    return _page(
        request,
        "person.html.j2",
        record=record,
        mass=record.body_mass[-1] if record.body_mass else None,
        rows=[_log_row(one, here.get(one.folder, "")) for one in reversed(mine)],
        columns=[one.words for one in FOLLOWED[1:]],
        variations=variations,
        chosen=chosen if chosen in variations else "",
    )


async def trends(request: Request) -> Response:
    """The page that “formcheck log page” writes."""
    known, sets = await run_in_threadpool(_in_log, desk_of(request))
    record = _of_name(known, request.query_params.get("person", ""))
    mine = [one for one in sets if record is not None and one.person == record.name]
    variation = request.query_params.get("variation", "")
    if variation not in [one.variation for one in mine]:
        raise DeskError("There is no such set in the log.", 404)
    page = log_page(mine, variation, masses(known), datetime.now().astimezone())
    text = log_page_html(page)
    return HTMLResponse(text, headers={"content-security-policy": policy_of(text)})


async def remembered(request: Request) -> Response:
    """What was last asked of a person, for the form."""
    name = request.query_params.get("person", "")[:100]
    asked = await run_in_threadpool(desk_of(request).folder.remembered, name)
    return JSONResponse(vars(asked))


async def list_folders(request: Request) -> Response:
    desk = desk_of(request)
    found = [
        (n, plain(str(root)), [name for name in ("summary.html", "summary.csv", "summary.xlsx")
                               if (root / name).is_file()], _reports_in(root))
        for n, root in enumerate(desk.shown, 1)
    ]  # fmt: skip
    groups = [(one, len(desk.folder.of_group(one))) for one in desk.folder.groups()]
    return _page(
        request,
        "folders.html.j2",
        folders=found,
        groups=groups,
        own=plain(str(desk.folder.reports)),
        quote=quote,
    )


async def folder_file(request: Request) -> Response:
    """A file of a folder of reports, found by name among what is there."""
    desk, n = desk_of(request), request.path_params["n"]
    if not 1 <= n <= len(desk.shown):
        raise DeskError("There is no such folder here.", 404)
    found = await run_in_threadpool(found_in, desk.shown[n - 1], request.path_params["place"])
    if found is None or found.name not in _PAGES:
        raise DeskError("There is no such file in this folder.", 404)
    return _as_written(found)


async def one_group(request: Request) -> Response:
    """A folder of clips that was given: how far it is, its summary, and its sets."""
    desk, group = desk_of(request), group_of(request)
    sets = await run_in_threadpool(desk.folder.of_group, group)
    lines = [_line(desk, one) for one in sets]
    return _page(
        request,
        "group.html.j2",
        group=group,
        lines=lines,
        judged=sum(line.state in ("judged", "empty", "failed") for line in lines),
    )


async def group_file(request: Request) -> Response:
    """The summary of the sets that are judged by now, as “formcheck batch” writes it."""
    desk, group = desk_of(request), group_of(request)
    found = await run_in_threadpool(group_summary, desk.folder, group)
    name = request.path_params["name"]
    if name not in found:
        raise DeskError("There is no such file of this folder.", 404)
    if not name.endswith(".html"):
        kept = {"content-disposition": f"attachment; filename={name}"}
        return Response(found[name], media_type="application/octet-stream", headers=kept)
    text = found[name].decode("utf-8")
    return HTMLResponse(text, headers={"content-security-policy": policy_of(text)})


async def phone(request: Request) -> Response:
    addresses = desk_of(request).addresses
    codes = [(one, Markup(qr_svg(one))) for one in addresses]
    return _page(request, "phone.html.j2", codes=codes)


async def progress(request: Request) -> Response:
    """Server-sent events: what is under way, whenever it changes."""
    watching = request.app.state.watching
    if len(watching) >= _MOST_WATCHING:
        raise DeskError("too many pages are open; close some.", 429)
    watcher = object()
    watching.add(watcher)

    async def events() -> AsyncIterator[str]:
        try:
            before, quiet_s = "", 0.0
            while not request.app.state.closing.is_set() and not await request.is_disconnected():
                now = json.dumps(await run_in_threadpool(under_way, desk_of(request)))
                if now != before or quiet_s > 15.0:
                    yield f"data: {now}\n\n"
                    before, quiet_s = now, 0.0
                await asyncio.sleep(_LOOK_EVERY_S)
                quiet_s += _LOOK_EVERY_S
        finally:
            watching.discard(watcher)

    return StreamingResponse(events(), media_type="text/event-stream")


async def look(request: Request) -> Response:
    """Our own style and script."""
    name = request.path_params["name"]
    if name == "desk.css":
        return Response(style(), media_type="text/css")
    if name == "desk.js":
        script = files("formcheck.desk").joinpath("templates/desk.js").read_text("utf-8")
        return Response(script, media_type="text/javascript")
    raise DeskError("There is no such page.", 404)


def said_on_page(request: Request, says: str, status: int) -> Response:
    """A sentence on a page of its own, or alone where a script asked."""
    if "text/html" not in request.headers.get("accept", ""):
        return JSONResponse({"says": plain(says)}, status)
    return _page(request, "said.html.j2", status, says=says)


def under_way(desk: Desk) -> dict[str, Any]:
    """Sets that are not done, as the page's script follows them."""
    found = {}
    for one in desk.folder.all():
        standing = desk.folder.standing(one)
        if standing.state not in ("arriving", "waiting"):
            continue
        now = desk.queue.progress(one.id)
        found[one.id] = {
            "state": STATES["judging" if now else standing.state],
            "what": now.what if now else "",
            "percent": _percent(desk, one),
            "left": None if now is None or now.left_s is None else round(now.left_s),
            "early": [_early(one, place, early) for place, early in now.early.items()]
            if now
            else [],
        }
    return found


def _early(one: DeskSet, place: int, early: EarlySet) -> dict[str, Any]:
    """What a clip shows so far: for the strip, and in words."""
    reps = len(early.reps)
    said = f"{reps} {'rep' if reps == 1 else 'reps'}"
    if early.until_s > _SURELY_THERE_S and early.seen < _OFTEN_SEEN:
        said = "Hardly anybody to be seen"
    elif early.until_s > _SURELY_THERE_S and not early.curve:
        said = "No push-up position"
    return {
        "clip": plain(one.clips[place].name) if len(one.clips) > 1 else "",
        "says": f"{said} in the first {early.until_s:.0f} of {early.duration_s:.0f} s",
        "until": early.until_s,
        "of": early.duration_s,
        "reps": early.reps,
        "curve": early.curve,
    }


def found_in(root: Path, place: str) -> Path | None:
    """The file of that name below a folder, each part looked up among what is there, so that
    nothing outside can be named; None where there is none."""
    here = root
    try:
        for name in place.split("/"):
            with os.scandir(here) as entries:
                names = {one.name for one in entries if not one.is_symlink()}
            if name not in names or name.startswith("."):
                return None
            here = here / name
    except OSError:
        return None
    return here if here.is_file() else None


def policy_of(page: str) -> str:
    """The policy that a written page states for itself, and that only the desk may frame it."""
    found = _META_POLICY.search(page)
    said = found.group(1).replace("&#39;", "'").replace(" file:", "") if found else _NO_POLICY
    return f"{said}; frame-ancestors 'self'"


def qr_svg(address: str) -> str:
    svg: str = segno.make(address, error="m").svg_inline(
        scale=6, border=4, dark=theme.INK, light="#ffffff", omitsize=True
    )
    return svg


@cache
def style() -> str:
    return _environment().get_template("desk.css.j2").render(theme=theme)


@cache
def _environment() -> jinja2.Environment:
    environment = templates_of("formcheck.desk")
    environment.globals["states"] = STATES
    return environment


def _page(request: Request, template: str, status: int = 200, **shown: Any) -> Response:
    desk = desk_of(request)
    text = (
        _environment()
        .get_template(template)
        .render(here=request.url.path, token=desk.door.token, network=bool(desk.addresses), **shown)
    )
    return HTMLResponse(text, status)


def _as_written(path: Path) -> Response:
    if path.suffix != ".html":
        return FileResponse(path)
    with path.open(encoding="utf-8", errors="replace") as file:
        head = file.read(_HEAD_BYTES)
    return FileResponse(path, headers={"content-security-policy": policy_of(head)})


def _lines(desk: Desk, most: int | None) -> list[Line]:
    return [_line(desk, one) for one in desk.folder.all()[:most]]


def _line(desk: Desk, one: DeskSet) -> Line:
    standing = desk.folder.standing(one)
    state: State | str = standing.state
    if state == "waiting" and desk.queue.progress(one.id) is not None:
        state = "judging"
    return Line(
        one.id,
        datetime.fromisoformat(one.begun).strftime("%Y-%m-%d %H:%M"),
        one.asked.person,
        tuple(clip.name for clip in one.clips),
        state,
        standing.says if state in ("judged", "empty") else STATES[state],
        standing.says if state == "failed" else "",
        f"{one.note.removesuffix('Judge them one at a time.').strip()} So each clip was judged on "
        "its own."
        if one.note
        else "",
    )


def _percent(desk: Desk, one: DeskSet) -> int:
    """Of judging where it is under way; else of what has arrived."""
    now = desk.queue.progress(one.id)
    if now is not None:
        return round(100 * now.share)
    size = sum(clip.size for clip in one.clips)
    return int(100 * sum(desk.folder.standing(one).have) / size)


def _reps(desk: Desk, one: DeskSet, report: dict[str, Any]) -> list[RepSeen]:
    labels, remarks = desk.labels.of(one.id), desk.folder.remarks(one)
    seen = []
    for rep in report["reps"]:
        index, faults = int(rep["index"]), rep["faults"]
        counted = rep["attempt"] == "counted"
        seen.append(
            RepSeen(
                index,
                ATTEMPTS.get(rep["attempt"], rep["attempt"]),
                "faulty" if counted and faults else "clean" if counted else "not_counted",
                tuple(fault_name(key) for key in faults if key in fault_kinds()),
                tuple(fault_name(key) for key in rep.get("borderline", ()) if key in fault_kinds()),
                tuple(_label_words(label) for label in labels if label.rep in (None, index)),
                remarks.get(index, ""),
            )
        )
    return seen


def _label_words(label: Label) -> str:
    said = "unsure whether" if label.verdict == "unsure" else ""
    if label.fault == COUNTED:
        what = {"yes": "counts it", "no": "does not count it"}.get(
            label.verdict, f"{said} it counts"
        )
    else:
        fault = fault_name(label.fault).lower()
        what = {"yes": f"sees: {fault}", "no": f"does not see: {fault}"}.get(
            label.verdict, f"{said} it has: {fault}"
        )
    return f"{label.who} {'is ' if said else ''}{what}"


def _choices(desk: Desk) -> dict[str, Any]:
    """What the fields of the form can say."""
    known = sorted({one.asked.person for one in desk.folder.all() if one.asked.person})
    return {
        "people": known,
        "ranges": [(key, RANGES[key]) for key in get_args(RangeStandard)],
        "counts": [(key, COUNTS[key]) for key in get_args(Counts)],
        "supports": [(key, VARIATIONS[key]) for key in get_args(Support)],
        "surfaces": [(key, VARIATIONS[key]) for key in get_args(Surface)],
        "arms": [(key, VARIATIONS[key]) for key in get_args(Arms)],
        "working_arms": [(key, f"{key} in every rep") for key in get_args(WorkingArm)],
        "hand_spacings": [(key, VARIATIONS[key]) for key in get_args(HandSpacing)],
        "limit_sets": [
            (one.name, one.title[:1].lower() + one.title[1:]) for one in limit_sets().values()
        ],
        "standards": [(one.key, one.name) for one in standards().values()],
        "models": [(key, MODELS[key]) for key in SHIPPED_MODELS],
        "pains": [(key, key) for key in get_args(Pain)],
        "usual": Asked(),
        "default_model": MODELS[DEFAULT_MODEL],
        "largest_mb": desk.folder.bounds.clip_bytes // 1_000_000,
    }


def _in_log(desk: Desk) -> tuple[list[PersonRecord], list[SetEntry]]:
    if not desk.log.exists():
        return [], []
    with open_log(desk.log) as log:
        return people(log), sets_of(log)


def _of_name(known: list[PersonRecord], name: str) -> PersonRecord | None:
    return next((one for one in known if one.name.casefold() == name.casefold()), None)


def _log_row(entry: SetEntry, set_id: str) -> dict[str, Any]:
    return {
        "id": set_id,
        "day": local_day(entry.recorded_at).isoformat(),
        "did": step_words(entry),
        "clean": f"{entry.clean}/{entry.attempts}",
        "values": [
            "–" if (value := getattr(entry, one.name)) is None
            else f"{value:.{one.digits}f}".replace("-", "−")
            for one in FOLLOWED[1:]
        ],
    }  # fmt: skip


def _reports_in(root: Path) -> list[str]:
    """Reports below a folder, by where they lie."""
    found = sorted(path.parent.relative_to(root) for path in root.rglob("report.html"))
    return [
        "" if str(place) == "." else place.as_posix()
        for place in found
        if not any(part.startswith(".") for part in place.parts)
    ]
