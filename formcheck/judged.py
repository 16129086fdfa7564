"""Judge a set from a program or a notebook, look at the answer, and judge it again.

What judges is slow to import. That is done while the pose is searched for, beside what waits for
it; but after the search of a large clip, whose memory is better used there.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from os import PathLike, cpu_count
from os.path import relpath
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any, get_args

from formcheck.asked.bounds import AskedError, check_within
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import Tempo, parse_tempo
from formcheck.clip.info import ClipInfo
from formcheck.faults.limits import Limits, LimitsError, default_limits, read_limits, with_values
from formcheck.plain import plain
from formcheck.pose.digest import sha256_of
from formcheck.pose.model import DEFAULT_MODEL, POSE_RATE_HZ, SEARCHES, PoseModel, find_model
from formcheck.pose.store import read_track, write_track
from formcheck.pose.track import PoseTrack
from formcheck.report.folder import TRACK_FILES, made_whole
from formcheck.report.weeks import Weeks

if TYPE_CHECKING:
    import pandas as pd

    from formcheck.analysis import Analysis
    from formcheck.clip.small import Drawn
    from formcheck.report.page.curves import Drawing
    from formcheck.signals.view import ViewKind

Given = ClipInfo | PoseTrack  # a clip, or the pose track that was found in one
# Told what is being done, and how much of it, in whatever unit.
OnProgress = Callable[[str, float, float], None]
# While the pose is searched for: the place of the clip, in the order given, and its track so far.
OnTrack = Callable[[int, PoseTrack], None]
GivenLimits = Mapping[str, float] | str | PathLike[str]

PROCESSES = 2  # to look for the pose in; each holds the model, some 350 MB
# What a prescription says of these changes what is measured, not only what is judged.
MEASURED_BY = (
    "support", "surface", "arms", "working_arm", "hands", "rings", "rings_turned_out",
    "supinated_hands", "added_load_kg", "added_load_place",
)  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class Judged:
    """A judged set: its values as tables, its report, and the way to judge it again.

    ``analysis`` is all that was measured and judged. ``given`` the clips or saved pose tracks in
    the order given, ``tracks`` the pose in each.
    """

    analysis: Analysis
    given: tuple[Given, ...]
    tracks: tuple[PoseTrack, ...]
    views: tuple[ViewKind, ...] = ()

    def __repr__(self) -> str:
        step = self.analysis.next_step
        return f"<{repr(self.analysis)[1:-1]}; next step: {step.direction}>"

    def table(self) -> pd.DataFrame:
        """A row an attempt, named as in ``reps.csv``: units in the names, NaN where unmeasured."""
        from formcheck.report.tables import reps_table

        return reps_table(self.report())

    def faults(self) -> pd.DataFrame:
        """A row a fault or borderline: rep, key, when, value ± uncertainty, limit, verdict."""
        from formcheck.report.tables import faults_table

        return faults_table(self.report())

    def curves(self) -> pd.DataFrame:
        """The curves that the page draws, on one clock: ``t_s``, then a column a curve (deg; arm
        lengths), NaN while not in position or where no view shows it."""
        import numpy as np
        import pandas as pd

        from formcheck.report.page.curves import series_of

        series = series_of(self.analysis)
        t_s = self.analysis.looks[0].signals.t_s
        columns = {
            one.key: np.interp(t_s, one.t_s, one.values, left=np.nan, right=np.nan)
            for one in series
        }
        return pd.DataFrame({"t_s": t_s, **columns})

    def figure(self, width_in: float = 9.0) -> Drawing:
        """The curves and the tempo as the page draws them. Raises AskedError without a rep."""
        from formcheck.report.page.curves import chart, drawing, series_of
        from formcheck.report.targets import targets_of

        series, targets = series_of(self.analysis), targets_of(self.analysis)
        drawn = chart(self.analysis, series, targets, 96 * width_in) if self.analysis.reps else None
        if drawn is None:
            raise AskedError("there is no rep in this set to draw.")
        return drawing(drawn)

    def report(self) -> dict[str, Any]:
        """The set as ``report.json`` has it."""
        from formcheck.report.contract import report_dict

        return report_dict(self.analysis)

    def write(
        self,
        folder: str | PathLike[str],
        *,
        overwrite: bool = False,
        note: str = "",
        remarks: Mapping[int, str] | None = None,
        drawing: bool = True,
        xlsx: bool = False,
    ) -> Path:
        """Write the report folder that the command line writes, whole or not at all.

        ``note`` is shown on the page, and ``remarks`` beside the reps of these indices.
        ``drawing`` whether to draw the annotated clip; a saved track has none. Raises
        OutputError when the folder holds a report already, unless ``overwrite``, or cannot be
        written.
        """
        out = Path(folder)
        if xlsx:
            from formcheck.report.tables import check_xlsx

            check_xlsx()
        inputs = [one.path for one in self.given if isinstance(one, ClipInfo)]
        with made_whole(out, overwrite, inputs) as scratch:
            self.fill(scratch, note, remarks=remarks, drawing=drawing, xlsx=xlsx, home=out)
        return out

    def fill(
        self,
        folder: Path,
        note: str = "",
        *,
        remarks: Mapping[int, str] | None = None,
        drawing: bool = True,
        xlsx: bool = False,
        weeks: Weeks | None = None,
        blur_faces: bool = False,
        home: Path | None = None,
        small_in: Path | None = None,
        on_progress: OnProgress = lambda what, done, of: None,
    ) -> None:
        """Write the report's files into a folder that is there, over any of the same name.

        ``weeks`` what the training log adds. ``blur_faces`` hides the face of who does the set.
        ``home`` the folder in which the report is to lie, when ``folder`` is a scratch folder.
        ``small_in`` where ``judge`` left small copies of the clips.
        """
        from formcheck.report.write import write_report  # draws: slow to import

        order = [look.clip for look in self.analysis.looks]
        for place, name in zip(order, TRACK_FILES, strict=False):
            write_track(self.tracks[place], folder / name)
        clips = [
            _drawn(one, small_in and small_in / str(place)) if isinstance(one, ClipInfo) else None
            for place, one in enumerate(self.given)
        ]
        length_s = self.analysis.looks[0].track.duration_s
        write_report(
            self.analysis,
            [clips[place] for place in order] if drawing else (),
            folder,
            xlsx=xlsx,
            note=note,
            remarks=remarks or {},
            weeks=weeks,
            blur_faces=blur_faces,
            sources=[self._source(place, home or folder) for place in order],
            on_frame=lambda t_s: on_progress("Drawing the clip", t_s, length_s),
        )

    def _source(self, place: int, home: Path) -> str | None:
        """Where a clip lies from the report's folder; None where it is shown by another name, or
        its path is no plain text."""
        given, track = self.given[place], self.tracks[place]
        if not isinstance(given, ClipInfo) or track.source_name != plain(given.path.name):
            return None
        with contextlib.suppress(ValueError):  # on another drive
            path = Path(relpath(given.path.resolve(), home.resolve())).as_posix()
            return path if path.isprintable() else None  # or bytes that a report cannot hold
        return None

    def again(
        self,
        *,
        limits: GivenLimits | None = None,
        tempo: str | Tempo | None = None,
        prescription: Prescription | None = None,
        person: Person | None = None,
    ) -> Judged:
        """The same set held to something else; what is not given stays as it was.

        ``limits`` values by key, laid over the ones in force; or a limits file, or the name of a
        set of limits, in their place. Takes a millisecond, or a tenth of a second where
        something is told of the body, the load or the variation, which changes measurements.
        """
        from formcheck.analysis import analyse, rejudge

        held_to = (
            self.analysis.limits if limits is None else limits_of(limits, self.analysis.limits)
        )
        asked = asked_of(prescription or self.analysis.prescription, tempo)
        before = self.analysis.prescription
        same_body = person is None or person == self.analysis.person
        if same_body and all(getattr(asked, name) == getattr(before, name) for name in MEASURED_BY):
            return replace(self, analysis=rejudge(self.analysis, held_to, asked))
        who = person or self.analysis.person
        analysis = analyse(self.tracks, asked, held_to, self.views or None, who)
        return replace(self, analysis=analysis)


def judge(
    *clips: str | PathLike[str],
    tempo: str | Tempo | None = None,
    prescription: Prescription | None = None,
    person: Person | None = None,
    limits: GivenLimits | None = None,
    views: Sequence[ViewKind] = (),
    model: str = DEFAULT_MODEL,
    pose_rate_hz: float = POSE_RATE_HZ,
    fresh: bool = False,
    names: Sequence[str] = (),
    processes: int | None = None,
    on_progress: OnProgress = lambda what, done, of: None,
    on_track: OnTrack | None = None,
    small_in: Path | None = None,
) -> Judged:
    """Judge one set, filmed from one view or two, in any order; nothing is written.

    ``clips`` are clips, or pose tracks (``landmarks.parquet``) of an earlier report or another
    tracker. ``tempo`` like ``"2-1-X-1"`` wins over that of ``prescription``. ``limits`` values by
    key, a limits file, or the name of a set of limits. ``views`` the view of each clip, where
    recognition is not wanted. The pose found in a clip is kept, and found again only if ``fresh``.
    ``names`` are shown in place of the clips' file names. More than one of
    ``processes`` share the search for the pose. ``on_track`` is handed, about once a second, the
    track found so far: from the clip's beginning on without a gap; never one that is known.
    Small copies of large clips are left in folders of ``small_in``, for ``fill`` to draw from.

    Raises FormcheckError, in one sentence, for everything that can be wrong with what is given:
    ClipError, NotOneSetError, LimitsError, AskedError.
    """
    _check(len(clips), views, names)
    check_within("a pose rate", pose_rate_hz, 5.0, 120.0, "Hz")
    asked = asked_of(prescription or Prescription(), tempo)
    held_to = default_limits() if limits is None else limits_of(limits, default_limits())
    if processes is None:
        processes = min(PROCESSES, cpu_count() or 1)
    with _search_ready(clips, processes):
        given = [look_at(path) for path in clips]
        _check_different(given)
        finder = find_model(model)
        if not any(_large(one) for one in given):
            Thread(target=_get_ready).start()
        tracks = _find_tracks(
            given, finder, pose_rate_hz, processes, fresh, on_progress, on_track, small_in
        )
    if names:
        named = zip(tracks, names, strict=True)
        tracks = [replace(track, source_name=plain(name)) for track, name in named]
    from formcheck.analysis import analyse

    analysis = analyse(tracks, asked, held_to, tuple(views) or None, person)
    return Judged(analysis, tuple(given), tuple(tracks), tuple(views))


def _search_ready(
    clips: Sequence[str | PathLike[str]], processes: int
) -> contextlib.AbstractContextManager[None]:
    """Processes that get ready to look for the pose, unless every one is known: then none."""
    if all(is_track(path) for path in clips):
        return contextlib.nullcontext()
    from formcheck.apart.process import started_ahead  # a track needs none

    return started_ahead(SEARCHES, processes)


def _get_ready() -> None:
    """Import what judges and reports, and compile the page's template."""
    import_module("formcheck.report.write")
    from formcheck.report.page.page import compile_page

    compile_page()


def _large(given: Given) -> bool:
    if isinstance(given, PoseTrack):
        return False
    from formcheck.clip.small import worth_keeping  # what decodes: a track needs none

    return worth_keeping(given)


def _drawn(info: ClipInfo, small_in: Path | None) -> Drawn:
    from formcheck.clip.small import Drawn, copies_in

    return Drawn(info, copies_in(small_in))


def _check(clips: int, views: Sequence[str], names: Sequence[str]) -> None:
    if clips not in (1, 2):
        raise AskedError(
            f"a set is seen by one camera or by two, not by {clips}: give one clip, or two clips "
            "of the same set."
        )
    if views and len(views) != clips:
        raise AskedError("give the view once for each clip, in the same order.")
    if views:
        from formcheck.signals.view import ViewKind

        for word in views:
            if word not in get_args(ViewKind):
                known = ", ".join(get_args(ViewKind))
                raise AskedError(f"“{word}” is no view: give one of {known}.")
    if names and len(names) != clips:
        raise AskedError("give a name once for each clip, in the same order.")


def _check_different(given: Sequence[Given]) -> None:
    """Raise AskedError when one clip was given twice: it would agree with itself."""
    if len(given) == 2 and _content(given[0]) == _content(given[1]):
        raise AskedError(
            "both clips are the same one: give it once, or the clip of the other camera with it."
        )


def _content(given: Given) -> tuple[Any, ...]:
    """What two clips, or two tracks, have in common only when they are one."""
    if isinstance(given, PoseTrack):
        return (given.t_s.tobytes(), given.xy_px.tobytes())
    return (sha256_of(given.path),)


def is_track(path: str | PathLike[str]) -> bool:
    """Whether it is a saved pose track, by its name."""
    return isinstance(path, str | PathLike) and Path(path).suffix.lower() == ".parquet"


def look_at(path: str | PathLike[str]) -> Given:
    """The clip, opened as far as to know what it is, or the pose track that was saved."""
    if not isinstance(path, str | PathLike):
        raise AskedError(f"a clip is given by its path, not by a {type(path).__name__}.")
    place = Path(path)
    if is_track(place):
        return read_track(place)
    from formcheck.clip.read import probe_apart  # what decodes: a track needs none

    return probe_apart(place)


def _find_tracks(
    given: Sequence[Given],
    model: PoseModel,
    pose_rate_hz: float,
    processes: int,
    fresh: bool,
    on_progress: OnProgress,
    on_track: OnTrack | None,
    small_in: Path | None,
) -> list[PoseTrack]:
    """The pose in each clip; a saved track is its own."""
    tracks = []
    for place, one in enumerate(given):
        if isinstance(one, PoseTrack):
            tracks.append(one)
            continue
        from formcheck.pose.cache import find_pose_once

        told = partial(on_progress, f"Finding the pose in {plain(one.path.name)}")
        so_far = partial(on_track, place) if on_track is not None else None
        if small_in is not None:
            (small_in / str(place)).mkdir(parents=True, exist_ok=True)
        tracks.append(
            find_pose_once(
                one, model, pose_rate_hz, processes, fresh, told, so_far,
                small_in and small_in / str(place),
            )
        )  # fmt: skip
    return tracks


def asked_of(prescription: Prescription, tempo: str | Tempo | None) -> Prescription:
    """The prescription with another tempo, where one is given. Raises TempoError."""
    if tempo is None:
        return prescription
    if not isinstance(tempo, str | Tempo):
        raise AskedError(
            f"a tempo is written like “2-1-X-1”, not given as a {type(tempo).__name__}."
        )
    return replace(prescription, tempo=parse_tempo(tempo) if isinstance(tempo, str) else tempo)


def limits_of(given: GivenLimits, base: Limits) -> Limits:
    """Values laid over ``base``, or the limits of a file or a named set. Raises LimitsError."""
    if not isinstance(given, Mapping):
        return read_limits(Path(given))
    unknown = [key for key in given if key not in base]
    if unknown:
        raise LimitsError(f"“{unknown[0]}” is no limit; there are {', '.join(base)}.")
    return with_values(base, given)
