"""From clips and roster to the sets to judge: which clips, whose, asked for what, and where to.

A set's key is a fingerprint of everything its report depends on: while the key stays, the report
does.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import Tempo
from formcheck.batch.codes import Codes
from formcheck.batch.find import ClipFile
from formcheck.batch.pair import PairedBy, Together, put_together, without_view
from formcheck.batch.roster import Roster, RosterError, Told
from formcheck.job import SetJob
from formcheck.pose.model import find_model

SUMMARY = "summary"  # stem of the files that tell of all sets
REPS = "reps.parquet"
STATE = ".formcheck"  # folder inside the output folder
_TAKEN = {f"{SUMMARY}.html", f"{SUMMARY}.csv", f"{SUMMARY}.xlsx", REPS, STATE}


@dataclass(frozen=True)
class SetPlan:
    """One set to judge.

    ``name`` of its folder inside ``out``, with ``/``; ``alone`` the names of its clips' own
    folders, should they turn out to be two sets. ``person`` and ``shown``, the clips, as they are
    called in every output; ``person`` is empty where unknown. ``by`` what speaks for the clips
    being one set. ``refused`` why it need not be tried.
    """

    out: Path
    name: str
    alone: tuple[str, ...]
    person: str
    clips: tuple[ClipFile, ...]
    shown: tuple[str, ...]
    by: PairedBy | None
    job: SetJob
    key: str
    refused: str | None = None

    @property
    def length_s(self) -> float:
        return sum(clip.duration_s for clip in self.clips)

    def parts(self) -> list[SetPlan]:
        """Each clip as a set of its own."""
        return [
            replace(
                self,
                name=name,
                alone=(name,),
                clips=self.clips[n : n + 1],
                shown=self.shown[n : n + 1],
                by=None,
                job=replace(
                    self.job,
                    clips=self.job.clips[n : n + 1],
                    names=self.job.names[n : n + 1],
                    views=self.job.views[n : n + 1],
                    out=self.out / name,
                ),
            )
            for n, name in enumerate(self.alone)
        ]

    def told(self, text: str) -> str:
        """A message about the clips, which calls them as they are shown, wherever they lie."""
        for clip, name in zip(self.clips, self.shown, strict=True):
            text = text.replace(str(clip.path), name).replace(clip.place, name)
        for clip, name in zip(self.clips, self.job.names, strict=True):
            text = text.replace(clip.path.name, name)
        return text


def plan_sets(
    clips: Sequence[ClipFile],
    roster: Roster,
    each: SetJob,
    out: Path,
    codes: Codes | None = None,
    longest_s: float = float("inf"),
) -> list[SetPlan]:
    """The sets of a folder in order of name. ``each`` is how a set is judged where the roster
    says nothing else. Raises RosterError and ModelError."""
    told, groups = sets_among(clips, roster, each.prescription)
    names = set_names(groups, clips)
    model = find_model(each.model)
    plans = []
    for group in groups:
        own = [told[clip.place] for clip in group.clips]
        name, alone = names[group], tuple(names[Together((c,))] for c in group.clips)
        person = own[0].name or ""
        shown = tuple(clip.place for clip in group.clips)
        called = tuple(clip.path.name for clip in group.clips)
        if codes is not None:
            person = codes.person(own[0].name, own[0].code)
            name, alone = codes.set(person, name), tuple(codes.set(person, a) for a in alone)
            shown = called = tuple(a.replace("/", "-") for a in alone)
        job = told_job(group.clips, own, each, out / name, called)
        if job.log is not None:
            job = replace(job, log=replace(job.log, person=person) if person else None)
        key = _key(job, [clip.sha256 for clip in group.clips], model.sha256)
        plan = SetPlan(out, name, alone, person, group.clips, shown, group.by, job, key)
        plans.append(replace(plan, refused=_refused(plan, longest_s)))
    return sorted(plans, key=lambda plan: plan.name)


def sets_among(
    clips: Sequence[ClipFile],
    roster: Roster,
    asked: Prescription,
    set_of: Callable[[ClipFile], str | None] = lambda clip: None,
) -> tuple[dict[str, Told], list[Together]]:
    """What is told of each clip, by its place, and the sets that they belong to.

    ``asked`` where the roster says nothing else; ``set_of`` what is known to be one set already.
    Raises RosterError.
    """
    told = {clip.place: roster.told(clip, asked) for clip in clips}
    groups = put_together(
        clips,
        lambda clip: told[clip.place].name,
        lambda clip: set_of(clip) or told[clip.place].set,
    )
    for group in groups:
        if len(group.clips) > 2:
            which = ", ".join(clip.place for clip in group.clips)
            raise RosterError(
                f"{which} are all set “{told[group.clips[0].place].set}” of one person; a set is "
                "seen by two cameras at most."
            )
    return told, [one for group in groups for one in _only_readable(group)]


def _only_readable(group: Together) -> list[Together]:
    """A clip that cannot be read leaves the other one of its pair on its own."""
    if len(group.clips) > 1 and any(clip.unreadable for clip in group.clips):
        return [Together((clip,)) for clip in group.clips]
    return [group]


def _refused(plan: SetPlan, longest_s: float) -> str | None:
    for clip in plan.clips:
        if clip.unreadable:
            return plan.told(clip.unreadable)
        if clip.duration_s > longest_s:
            return plan.told(
                f"{clip.path} is {clip.duration_s / 60:.0f} min long, more than the "
                f"{longest_s / 60:g} min allowed; cut it to the set, or allow more with "
                "--longest."
            )
    return None


def told_job(
    clips: Sequence[ClipFile], told: Sequence[Told], each: SetJob, out: Path, names: tuple[str, ...]
) -> SetJob:
    """How a set is judged: as ``each``, with what the roster says of either clip; the first one's
    word where both say something."""
    first = told[0]
    views = tuple(one.view for one in told if one.view is not None)
    return replace(
        each,
        clips=tuple(clip.path for clip in clips),
        out=out,
        prescription=first.prescription,
        person=first.person,
        views=views if len(views) == len(clips) else (),
        names=names,
        note=next((one.note for one in told if one.note), each.note),
        overwrite=True,
    )


def set_names(groups: Iterable[Together], clips: Iterable[ClipFile]) -> dict[Together, str]:
    """A folder for each group and each clip, after the clips' paths; no two alike anywhere."""
    names: dict[Together, str] = {}
    used = set(_TAKEN)
    singles = [Together((clip,)) for clip in clips]
    for group in sorted({*groups, *singles}, key=lambda one: (len(one.clips), one.clips[0].place)):
        plain = Together(group.clips)
        if plain in names:
            names[group] = names[plain]
            continue
        name = _common_name(group.clips)
        free, number = name, 2
        while free.casefold() in used:
            free, number = f"{name}-{number}", number + 1
        used.add(free.casefold())
        names[group] = names[plain] = free
    return names


def _common_name(clips: Sequence[ClipFile]) -> str:
    """The path without its ending; of two clips, what they share with the view left out."""
    places = [clip.place.rpartition(".")[0] or clip.place for clip in clips]
    if len(places) == 1:
        return places[0]
    one, other = (place.split("/") for place in places)
    if len(one) == len(other):
        parts = [a if a == b else without_view(a) for a, b in zip(one, other, strict=True)]
        return "/".join(part for part in parts if part) or "set"
    return places[0]


def _key(job: SetJob, clips: Sequence[str], model_sha256: str) -> str:
    """Fingerprint of the content of the clips and of everything asked."""
    told = {
        **asdict(job),
        "clips": list(clips),
        "model": model_sha256,
        "version": version("formcheck"),
        "log": None if job.log is None else job.log.person,
    }
    for name in ("out", "overwrite", "fresh", "processes"):  # say where and how, not what
        told.pop(name)
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=_plain).encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, Tempo):
        return str(value)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{value!r} has no fingerprint")
