"""A folder of clips given at once: its sets, found as a batch finds them, and their summary."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from formcheck.batch.find import ClipFile
from formcheck.batch.judged_sets import JudgedSet
from formcheck.batch.pair import Together, put_together
from formcheck.batch.plan import set_names
from formcheck.batch.records import Result
from formcheck.batch.roster import Roster
from formcheck.batch.summary import Summary, summary_of
from formcheck.desk.asked import Asked
from formcheck.desk.folder import Clip, DeskFolder, DeskSet, Group, read_report

_ROSTER = Roster()


@dataclass(frozen=True)
class FolderSet:
    """A set of a folder: what it is called, what its clips were paired by, empty for one alone;
    ``places`` of the clips in the list that was given."""

    called: str
    by: str
    asked: Asked
    clips: tuple[Clip, ...]
    places: tuple[int, ...]


def sets_of_folder(
    clips: Sequence[tuple[str, Clip]], asked: Asked, alone: Collection[Clip] = ()
) -> list[FolderSet]:
    """The sets that clips belong to by their paths, with ``/``, inside the folder.

    Side and front of one set are told by their names; a folder inside is called after a person,
    in whose name its clips are then asked for, as in a batch. Clips that are ``alone`` already,
    since they turned out to be no one set, stay so.
    """
    files = [ClipFile(Path(path), path, f"{n}", 0.0) for n, (path, _) in enumerate(clips)]
    person = {
        one.place: _ROSTER.told(one, asked.prescription).name or asked.person for one in files
    }
    own = [_named(clip, path) for path, clip in clips]
    groups = [
        one
        for group in put_together(files, lambda one: person[one.place])
        for one in (
            [Together((each,)) for each in group.clips]
            if all(own[int(each.sha256)] in alone for each in group.clips)
            else [group]
        )
    ]
    names = set_names(groups, files)
    return [
        FolderSet(
            names[group],
            group.by or "",
            replace(asked, person=person[group.clips[0].place]),
            tuple(own[int(one.sha256)] for one in group.clips),
            tuple(int(one.sha256) for one in group.clips),
        )
        for group in groups
    ]


def _named(clip: Clip, path: str) -> Clip:
    return replace(clip, name=path.rpartition("/")[2])


def group_summary(folder: DeskFolder, group: Group) -> Summary:
    """The summary of a group, as a batch writes it, of the sets that have ended."""
    sets = folder.of_group(group)
    address = {_name(one): f"/sets/{one.id}" for one in sets}
    picture = {_name(one): folder.picture(one) for one in sets}
    judged = [one for one in (_judged(folder, each) for each in sets) if one is not None]
    return summary_of(judged, (), picture.__getitem__, address.__getitem__)


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
