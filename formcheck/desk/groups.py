"""A folder of clips given at once: its sets, found as a batch finds them, and their summary.

What lies in it is first known by names and by the roster. Once its clips have come, those that
are still on their own are looked at, and the time of recording pairs them, as in a batch.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Generator, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from formcheck.apart.process import WorkLostError, told_apart
from formcheck.batch.find import ClipFile, look_at
from formcheck.batch.judged_sets import JudgedSet
from formcheck.batch.plan import set_names, sets_among
from formcheck.batch.records import Result
from formcheck.batch.roster import Roster, RosterError, read_roster
from formcheck.desk.asked import Asked, as_told
from formcheck.desk.folder import Clip, DeskError, DeskFolder, DeskSet, Group, Planned, read_report

if TYPE_CHECKING:
    from formcheck.batch.summary import Summary

ROSTER_ENDINGS = (".csv", ".toml", ".xlsx")
_Looked = list[ClipFile | None]
Look = Callable[[Sequence[tuple[Path, str]]], _Looked]


def sets_of_folder(
    clips: Sequence[tuple[str, Clip]],
    asked: Asked,
    roster: tuple[str, bytes] | None = None,
    there: Sequence[DeskSet] = (),
) -> list[Planned]:
    """The sets that clips belong to by their paths, with ``/``, inside the folder.

    The ``roster``, an ending and content, says who did what, which clips are one set, and what is
    asked; a folder inside is called after a person, in whose name its clips are then asked for.
    Sets that are ``there`` from before stay, also clips that turned out to be no one set.
    Raises DeskError.
    """
    files = [ClipFile(Path(place), place, place, 0.0) for place, _ in clips]
    own = {place: replace(clip, name=place.rpartition("/")[2]) for place, clip in clips}
    known = {clip: one.id for one in there for clip in one.clips if len(one.clips) == 2 or one.note}
    rows = Roster() if roster is None else _read(roster, files)
    try:
        told, groups = sets_among(
            files, rows, asked.prescription, lambda file: known.get(own[file.place])
        )
    except RosterError as error:
        raise DeskError(str(error)) from error
    names = set_names(groups, files)
    return [
        Planned(
            names[group],
            (group.by or "") if len(group.clips) == 2 else "",
            as_told(asked, told[group.clips[0].place]),
            tuple(own[file.place] for file in group.clips),
            tuple(file.place for file in group.clips),
        )
        for group in groups
    ]


def _read(roster: tuple[str, bytes], files: Sequence[ClipFile] | None) -> Roster:
    ending, content = roster
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / f"roster{ending}"
        path.write_bytes(content)
        try:
            return read_roster(path, files)
        except RosterError as error:
            raise DeskError(str(error).replace(str(path), path.name)) from error


def files_of(folder: DeskFolder, one: DeskSet) -> list[ClipFile]:
    """The clips of a set, by where they lie in the folder that they came in."""
    places = one.places or tuple(clip.name for clip in one.clips)
    paths = folder.clips(one)
    return [ClipFile(path, place, "", 0.0) for path, place in zip(paths, places, strict=True)]


def roster_of(folder: DeskFolder, one: DeskSet) -> Roster:
    """The roster of the folder that a set came in; an empty one where there is none."""
    found = [group for group in folder.groups() if group.id == one.group]
    path = folder.roster(found[0]) if found else None
    if path is None or not path.is_file():
        return Roster()
    return read_roster(path)


def pair_by_time(folder: DeskFolder, group_id: str, look: Look | None = None) -> None:
    """Make one set of two clips of a folder that were recorded at once, as a batch does, where
    both wait on their own; once they turned out to be no one set they stay so."""
    sets = [one for one in folder.all() if one.group == group_id]
    joined = {place for one in sets if len(one.clips) == 2 for place in one.places}
    alone = []
    for one in sets:
        if len(one.clips) == 1 and not one.note and folder.standing(one).state == "waiting":
            if joined.issuperset(one.places):
                folder.remove(one)  # by a desk that was killed half way
            else:
                alone.append(one)
    if len(alone) < 2:
        return
    looked = (look or _looked)([(one[0].path, one[0].place) for one in
                                (files_of(folder, each) for each in alone)])  # fmt: skip
    files = {file.place: one for file, one in zip(looked, alone, strict=True) if file is not None}
    seen = [file for file in looked if file is not None]
    _, groups = sets_among(seen, roster_of(folder, alone[0]), alone[0].asked.prescription)
    names = set_names(groups, seen)
    used = {one.called for one in sets}
    for together in groups:
        if together.by == "time":
            one, other = (files[file.place] for file in together.clips)
            called = names[together] if names[together] not in used else one.called
            folder.join(one, other, called, "time")


def _looked(files: Sequence[tuple[Path, str]]) -> _Looked:
    """What each file is, found in a process apart; None for one that makes it break down."""
    telling: Generator[None, None, _Looked] = told_apart(_look_at_each, tuple(files))
    try:
        while True:
            next(telling)
    except StopIteration as end:
        found: _Looked = end.value
        return found
    except WorkLostError:
        half = len(files) // 2
        return _looked(files[:half]) + _looked(files[half:]) if half else [None]


def _look_at_each(files: Sequence[tuple[Path, str]], tell: Callable[[None], None]) -> _Looked:
    found = []
    for path, place in files:
        found.append(look_at(path, place))
        tell(None)
    return found


def group_summary(folder: DeskFolder, group: Group) -> Summary:
    """The summary of a group, as a batch writes it, of the sets that have ended; made anew when
    something that it rests on has changed."""
    sets = folder.of_group(group)
    rests_on = tuple((one, folder.stamps(one)) for one in sets)
    return _summary(folder, group, folder.stamp(folder.roster(group)), rests_on)


@lru_cache(maxsize=4)
def _summary(
    folder: DeskFolder,
    group: Group,
    _roster: object,
    rests_on: tuple[tuple[DeskSet, tuple[int, ...]], ...],
) -> Summary:
    from formcheck.batch.summary import summary_of  # its tables are slow to import

    sets = [one for one, _ in rests_on]
    address = {_name(one): f"/sets/{one.id}" for one in sets}
    picture = {_name(one): folder.picture(one) for one in sets}
    judged = [one for one in (_judged(folder, each) for each in sets) if one is not None]
    there = {one.asked.person for one in sets}
    roster = roster_of(folder, sets[0]) if sets else Roster()
    absent = [name for name in roster.people if name not in there]
    return summary_of(judged, absent, picture.__getitem__, address.__getitem__)


def _name(one: DeskSet) -> str:
    return one.called or one.id


def _judged(folder: DeskFolder, one: DeskSet) -> JudgedSet | None:
    """What came of a set; None while nothing did."""
    ended = folder.standing(one).ended
    if ended is None or ended.how == "cancelled":
        return None
    report: dict[str, Any] = {}
    reason = ended.says
    if ended.how != "failed":
        report = read_report(folder.report(one.id)) or {}
        unseen = report.get("not_judged", ()) if ended.how == "empty" else ()
        reason = " ".join(entry["reason"] for entry in unseen)
    result = Result(
        _name(one),
        tuple(clip.name for clip in one.clips),
        ended.how,
        reason,
        ended.says if ended.how == "judged" else "",
        ended.fix_first,
        ended.variation,
    )
    return JudgedSet(result, one.asked.person, one.by, one.note, report)
