"""Everything that changes something: sets announced, clips sent, cancelled, seen differently."""

from __future__ import annotations

import base64
import hmac
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import PurePath
from typing import Any, Literal, cast, get_args
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from formcheck.agree.labels import COUNTED, Label, Said
from formcheck.asked.person import Sex
from formcheck.asked.units import UnitsError, length_m, mass_kg
from formcheck.desk.asked import asked_from
from formcheck.desk.bodies import LARGE_BYTES, pieces, said_in_form, said_in_json
from formcheck.desk.desk import Desk, desk_of, set_of
from formcheck.desk.folder import PART_BYTES, Clip, DeskError, DeskSet, Ended, read_report
from formcheck.desk.groups import ROSTER_ENDINGS, sets_of_folder
from formcheck.desk.guard import TOKEN_FIELD, TOKEN_HEADER
from formcheck.desk.labels import now
from formcheck.desk.remarks import remark
from formcheck.faults.catalogue import fault_kinds
from formcheck.log.person import PersonRecord, person_name
from formcheck.log.store import changing, drop_folders, keep_copy, open_log, people, put_person
from formcheck.plain import plain

_RANGE = re.compile(r"bytes (\d{1,12})-(\d{1,12})/(\d{1,12})")
_CRC32 = re.compile(r"[0-9a-f]{8}")
_LONGEST_NAME = 255
_ROSTER = ("name", "base64")
_LONGEST_WHO = 60
_RUN_BY_SPREADSHEETS = "=+-@"  # where labels.csv is opened in one
_STATURE_M, _MASS_KG = (0.5, 2.6), (10.0, 400.0)


async def announce_set(request: Request) -> Response:
    """A set and its clips, which are then sent. Answers where, and what has come before."""
    desk = desk_of(request)
    _check_token(request, request.headers.get(TOKEN_HEADER, ""))
    said = await said_in_json(request)
    fields, clips = said.get("asked"), said.get("clips")
    if not isinstance(fields, dict) or not isinstance(clips, list):
        raise DeskError("this is not what a page of the desk sends.")
    asked = asked_from(fields)
    announced = [_clip(one) for one in clips[:3]]
    one = await run_in_threadpool(desk.folder.announce, asked, announced)
    desk.queue.wake()
    return JSONResponse(
        {
            "id": one.id,
            "part": PART_BYTES,
            "have": [desk.folder.sure_bytes(one, n) for n in range(1, len(one.clips) + 1)],
        },
        201,
    )


async def announce_group(request: Request) -> Response:
    """A folder of clips, which are then sent. Answers where each belongs."""
    desk = desk_of(request)
    _check_token(request, request.headers.get(TOKEN_HEADER, ""))
    said = await said_in_json(request, LARGE_BYTES)
    name, fields, clips = (said.get(key) for key in ("name", "asked", "clips"))
    if not (isinstance(name, str) and isinstance(fields, dict) and isinstance(clips, list)):
        raise DeskError("this is not what a page of the desk sends.")
    if len(clips) > desk.folder.bounds.clips_of_group:
        raise DeskError(
            f"{len(clips)} clips are in that folder, and at most "
            f"{desk.folder.bounds.clips_of_group} are taken at once; give a part of it.", 413
        )  # fmt: skip
    announced = [_clip(one) for one in clips]
    name = plain(name, _LONGEST_NAME) or "folder"
    before = desk.folder.group_of_name(name)
    there = desk.folder.of_group(before) if before else []
    roster = _roster(said.get("roster"))
    paths = [one.name for one in announced]
    if len(set(paths)) < len(paths):
        raise DeskError("two clips of that folder have one path.")
    sets = await run_in_threadpool(
        sets_of_folder, [(one.name, one) for one in announced], asked_from(fields), roster, there
    )
    group, made = await run_in_threadpool(desk.folder.announce_group, name, sets, roster)
    desk.queue.wake()
    return JSONResponse(
        {
            "id": group.id,
            "part": PART_BYTES,
            "sets": [
                {
                    "id": one.id,
                    "files": [paths.index(place) for place in planned.places],
                    "have": [desk.folder.sure_bytes(one, n) for n in range(1, len(one.clips) + 1)],
                }
                for planned, one in zip(sets, made, strict=True)
            ],
        },
        201,
    )


def _roster(said: object) -> tuple[str, bytes] | None:
    """The ending and the content of a roster that came with a folder. Raises DeskError."""
    if said is None:
        return None
    if not isinstance(said, dict) or not all(isinstance(said.get(k), str) for k in _ROSTER):
        raise DeskError("this is not what a page of the desk sends.")
    ending = PurePath(said["name"]).suffix.lower()
    if ending not in ROSTER_ENDINGS:
        raise DeskError(f"a roster ends in {', '.join(ROSTER_ENDINGS)}.")
    try:
        return ending, base64.b64decode(said["base64"], validate=True)
    except ValueError:
        raise DeskError("this is not what a page of the desk sends.") from None


async def send_part(request: Request) -> Response:
    """Bytes of a clip: ``Content-Range`` says which, ``X-CRC32`` how they add up."""
    desk, one = desk_of(request), set_of(request)
    _check_token(request, request.headers.get(TOKEN_HEADER, ""))
    n = request.path_params["n"]
    if not 1 <= n <= len(one.clips):
        raise DeskError("There is no such clip in this set.", 404)
    if desk.folder.standing(one).state != "arriving":
        raise DeskError("nothing more is expected for this set.", 409)
    place = _RANGE.fullmatch(request.headers.get("content-range", ""))
    crc32 = request.headers.get("x-crc32", "")
    if place is None or not _CRC32.fullmatch(crc32):
        raise DeskError("say which bytes these are, and their CRC-32.")
    first, last, size = map(int, place.groups())
    if size != one.clips[n - 1].size:
        raise DeskError("this clip was announced with another size.", 409)
    length = last - first + 1
    busy: set[tuple[str, int]] = request.app.state.sending
    if (one.id, n) in busy:
        raise DeskError("a part of this clip is arriving already.", 409)
    busy.add((one.id, n))
    try:
        part = desk.folder.open_part(one, n, first, length)
        try:
            async for piece in pieces(request, length):
                part.write(piece)
        finally:
            part.close()
        have = await run_in_threadpool(desk.folder.keep_part, one, n, part, length, int(crc32, 16))
    finally:
        busy.discard((one.id, n))
    desk.queue.wake()
    return JSONResponse({"have": have})


async def clip_have(request: Request) -> Response:
    """How many bytes of a clip are there for sure."""
    one, n = set_of(request), request.path_params["n"]
    if not 1 <= n <= len(one.clips):
        raise DeskError("There is no such clip in this set.", 404)
    return JSONResponse({"have": desk_of(request).folder.sure_bytes(one, n)})


async def cancel(request: Request) -> Response:
    desk, one, _ = await _form(request)
    state = desk.folder.standing(one).state
    if state == "arriving":
        desk.folder.end(one, Ended("cancelled"))
    elif state == "waiting":
        desk.queue.cancel(one)
    return _back_to(one)


async def judge_again(request: Request) -> Response:
    """The same clips, held to what the form says now."""
    desk, one, said = await _form(request)
    if desk.folder.standing(one).state in ("arriving", "waiting"):
        raise DeskError("this set is not judged yet.", 409)
    if len(desk.folder.clips(one)) < len(one.clips):
        raise DeskError("the clips of this set did not arrive whole; send them again.", 409)
    desk.folder.ask_again(one, asked_from(said))
    desk.queue.wake()
    return _back_to(one)


async def judge_apart(request: Request) -> Response:
    """Two clips that were given as one set, judged as two."""
    desk, one, _ = await _form(request)
    standing = desk.folder.standing(one)
    if standing.state != "failed":
        raise DeskError("only clips that could not be judged as one set are judged as two.", 409)
    await run_in_threadpool(desk.folder.part, one, standing.says)
    desk.queue.wake()
    return RedirectResponse(f"/groups/{one.group}" if one.group else "/sets", 303)


async def remove(request: Request) -> Response:
    """Take a set away: its clips, its report, its entry in the log."""
    desk, one, _ = await _form(request)
    if desk.queue.progress(one.id) is not None:
        raise DeskError("this set is being judged; cancel that first.", 409)
    await run_in_threadpool(_remove, desk, one)
    return RedirectResponse("/sets", 303)


async def see_rep(request: Request) -> Response:
    """What somebody says of a rep: labels of what they see, and a remark to the trainee."""
    desk, one, said = await _form(request)
    rep = request.path_params["rep"]
    report = read_report(desk.folder.report(one.id))
    if report is None or rep not in [entry["index"] for entry in report["reps"]]:
        raise DeskError("There is no such rep in this set.", 404)
    labels = _labels(one, rep, said)
    if labels:
        await run_in_threadpool(desk.labels.add, labels)
    if "remark" in said:
        await run_in_threadpool(remark, desk.folder, one, rep, said["remark"])
    return RedirectResponse(f"/sets/{one.id}?rep={rep}#rep-{rep}", 303)


async def tell_of_person(request: Request) -> Response:
    """A person's measures, as the log keeps them."""
    desk = desk_of(request)
    said = await said_in_form(request)
    _check_token(request, said.get(TOKEN_FIELD, ""))
    name = person_name(said.get("name", ""))
    stature = _within(said.get("stature", ""), length_m, _STATURE_M, "height", "cm")
    mass = _within(said.get("body_mass", ""), mass_kg, _MASS_KG, "body mass", "kg")
    sex = said.get("sex", "")
    if sex and sex not in get_args(Sex):
        raise DeskError(f"“{plain(sex, 40)}” is none of {', '.join(get_args(Sex))}.")
    await run_in_threadpool(
        _keep_person,
        desk,
        name,
        stature,
        mass,
        cast("Literal['female', 'male'] | None", sex or None),
    )
    return RedirectResponse(f"/people/{quote(name)}", 303)


def _keep_person(
    desk: Desk, name: str, stature_m: float | None, kg: float | None, sex: Sex | None
) -> None:
    with open_log(desk.log, write=True) as log:
        with changing(log, desk.log):
            known = {one.name.casefold(): one for one in people(log)}
            before = known.get(name.casefold()) or PersonRecord(name)
            masses = dict(before.body_mass) | ({date.today().isoformat(): kg} if kg else {})
            put_person(
                log,
                replace(
                    before,
                    stature_m=stature_m or before.stature_m,
                    sex=sex or before.sex,
                    body_mass=tuple(sorted(masses.items())),
                ),
            )
        keep_copy(log, desk.log)


def _remove(desk: Desk, one: DeskSet) -> None:
    if desk.log.exists():
        with open_log(desk.log, write=True) as log, changing(log, desk.log):
            drop_folders(log, str(desk.folder.report(one.id).resolve()))
    desk.folder.remove(one)


def _labels(one: DeskSet, rep: int, said: Mapping[str, str]) -> list[Label]:
    counted, fault, seen = (said.get(name, "") for name in ("counted", "fault", "seen"))
    if not counted and not fault:
        return []
    who = " ".join(said.get("who", "").split())
    if not 1 <= len(who) <= _LONGEST_WHO:
        raise DeskError(f"say who sees it so: a name or code of 1 to {_LONGEST_WHO} letters.")
    if who[0] in _RUN_BY_SPREADSHEETS:
        raise DeskError("a name begins with a letter or a number.")
    if fault and fault not in fault_kinds():
        raise DeskError(f"“{plain(fault, 40)}” is no fault.")
    if fault and not seen:
        raise DeskError("say whether you see that fault: yes, no or unsure.")
    labels = []
    for key, verdict in ((COUNTED, counted), (fault, seen if fault else "")):
        if not verdict:
            continue
        if verdict not in get_args(Said):
            raise DeskError(f"“{plain(verdict, 40)}” is no verdict: yes, no or unsure.")
        labels.append(Label(one.id, rep, key, cast("Said", verdict), plain(who), now()))
    return labels


async def _form(request: Request) -> tuple[Desk, DeskSet, dict[str, str]]:
    """The desk, the set that the address names, and the fields, with their token checked."""
    said = await said_in_form(request)
    _check_token(request, said.get(TOKEN_FIELD, ""))
    return desk_of(request), set_of(request), said


def _check_token(request: Request, token: str) -> None:
    if not hmac.compare_digest(token.encode(), desk_of(request).door.token.encode()):
        raise DeskError("This did not come from a page of this desk; load the page again.", 403)


def _clip(said: Any) -> Clip:
    if not isinstance(said, dict):
        raise DeskError("this is not what a page of the desk sends.")
    name, size, changed = (said.get(key) for key in ("name", "size", "changed"))
    if not isinstance(name, str) or type(size) is not int or type(changed) is not int:
        raise DeskError("this is not what a page of the desk sends.")
    name = plain(name.encode("utf-8", errors="replace").decode(), _LONGEST_NAME) or "clip"
    return Clip(name, size, changed if 0 <= changed < 1 << 43 else 0)


def _within(text: str, read: Any, bounds: tuple[float, float], what: str, unit: str) -> Any:
    if not text.strip():
        return None
    try:
        value = read(text)
    except UnitsError as error:
        raise DeskError(str(error)) from error
    if not bounds[0] <= value <= bounds[1]:
        raise DeskError(f"“{plain(text, 40)}” is no likely {what}; write it in {unit}.")
    return value


def _back_to(one: DeskSet) -> Response:
    return RedirectResponse(f"/sets/{one.id}", 303)
