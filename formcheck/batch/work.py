"""What a worker does with one set, and what it leaves behind when it cannot."""

from __future__ import annotations

import contextlib
import faulthandler
import io
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from formcheck.batch.plan import SetPlan
from formcheck.batch.records import Records, Result, Status, write_whole
from formcheck.errors import ClipError, FormcheckError, OutputError
from formcheck.job import Outcome, SetJob, judge_set
from formcheck.report.folder import DRAWN_CLIP
from formcheck.reps.pairing import NotOneSetError

_PICTURE_PX = 320  # longer side of the small picture
_PICTURE_QUALITY = 72
_CALLED_S = 0.1  # a fault is called in the clip from its moment on

Judge = Callable[[SetJob], Outcome]


@dataclass(frozen=True)
class Done:
    """What came of a set: a result, or one for each clip and a ``note`` why."""

    results: tuple[Result, ...]
    note: str = ""


class EndedBeforeError(Exception):
    """The set has ended a process in this run already, and is not tried again."""


def judge_plan(plan: SetPlan, limit_s: float, judge: Judge = judge_set) -> Done:
    """Judge a set, or its clips one at a time where they are not one set.

    Whatever is wrong with the clips becomes a result. A crash of a library, or ``limit_s`` gone
    by, ends the process; its trace file then says so.
    """
    with _watched(Records(plan.out).trace(plan.name), limit_s):
        try:
            return Done((_judged(plan, judge),))
        except (NotOneSetError, ClipError) as error:
            if len(plan.clips) == 1:
                return Done((_failed(plan, error),))
            why = plan.told(str(error))
        except Exception as error:
            return Done((_failed(plan, error),))
        results = []
        for alone in plan.parts():
            try:
                results.append(_judged(alone, judge))
            except Exception as error:
                results.append(_failed(alone, error))
        why = why.removesuffix("Judge them one at a time.").strip()
        return Done(tuple(results), f"{why} So each was judged on its own.")


def why_ended(plan: SetPlan, limit_s: float) -> str:
    """Why the process that judged a set ended, from what it left behind, and what to do."""
    try:
        trace = Records(plan.out).trace(plan.name).read_text(encoding="utf-8", errors="replace")
    except OSError:
        trace = ""
    first = trace.partition("\n")[0]
    if first.startswith("Timeout"):
        return (
            f"took longer than the {limit_s / 60:.0f} min that a clip of this length may take; "
            "cut it to the set, or give it more time with --patience."
        )
    if first.startswith("Fatal Python error: "):
        what = first.removeprefix("Fatal Python error: ")
        return f"its process crashed ({what}); export the clip again as H.264 mp4."
    return (
        "its process was ended from outside, most often because memory ran out; close other "
        "programs, or take fewer --workers."
    )


def _judged(plan: SetPlan, judge: Judge) -> Result:
    outcome = judge(plan.job)
    from formcheck.report.answer import FAILED, answer_line, fix_first
    from formcheck.report.words import variation_text

    analysis = outcome.analysis
    Records(plan.out).trouble(plan.name).unlink(missing_ok=True)
    keep_picture(outcome, Records(plan.out).picture(plan.name))
    status: Status = "empty" if analysis.empty else "judged"
    reason = " ".join(entry.reason for entry in analysis.not_judged) if analysis.empty else ""
    return Result(
        plan.name,
        plan.shown,
        status,
        reason,
        answer_line(analysis),
        fix_first(analysis, besides=FAILED),
        variation_text(analysis.variation),
    )


def _failed(plan: SetPlan, error: Exception) -> Result:
    if isinstance(error, FormcheckError):
        return Result(plan.name, plan.shown, "failed", plan.told(str(error)))
    trouble = Records(plan.out).trouble(plan.name)
    with contextlib.suppress(OutputError):
        told = plan.told("".join(traceback.format_exception(error)))
        write_whole(trouble, told.encode("utf-8", errors="replace"))
    return Result(
        plan.name,
        plan.shown,
        "failed",
        f"formcheck went wrong ({type(error).__name__}); tell its authors, with "
        f"{trouble.relative_to(plan.out).as_posix()}.",
    )


@contextmanager
def _watched(trace: Path, limit_s: float) -> Iterator[None]:
    """Write to ``trace`` what ends this process, which it does itself after ``limit_s``.

    The clock runs outside Python, so that it also ends a library that hangs.
    """
    if trace.exists() and trace.stat().st_size:
        raise EndedBeforeError
    trace.parent.mkdir(parents=True, exist_ok=True)
    with trace.open("w", encoding="utf-8") as file:
        faulthandler.enable(file)
        faulthandler.dump_traceback_later(limit_s, exit=True, file=file)
        try:
            yield
        finally:
            faulthandler.cancel_dump_traceback_later()
            faulthandler.disable()
    trace.unlink(missing_ok=True)


@dataclass(frozen=True)
class DecisiveMoment:
    """``at_s`` on the set's clock; ``drawn_at_s`` when the annotated clip shows it as it is called;
    ``view`` that shows it, empty for any."""

    at_s: float
    drawn_at_s: float
    view: str = ""


def decisive_moment(outcome: Outcome) -> DecisiveMoment | None:
    """When the fault to fix first was worst; else the bottom of the first rep, or mid-hold."""
    from formcheck.report.answer import fix_first
    from formcheck.report.moments import called_at_s

    analysis, key = outcome.analysis, fix_first(outcome.analysis)
    worst = [
        (abs(fault.value - fault.limit), called_at_s(fault, result.rep), fault.view)
        for result in analysis.reps
        for fault in result.faults
        if fault.key == key and fault.verdict == "fault"
    ]
    if worst:
        _, at_s, view = max(worst)
        return DecisiveMoment(at_s, at_s + _CALLED_S, view)
    if analysis.reps:
        at_s = analysis.reps[0].rep.bottom_s
    elif analysis.hold is not None:
        at_s = analysis.hold.start_s + analysis.hold.held_s / 2
    else:
        return None
    return DecisiveMoment(at_s, at_s)


def keep_picture(outcome: Outcome, path: Path) -> None:
    """The decisive moment as it is drawn in the annotated clip; as a stick figure without one."""
    import numpy as np
    from PIL import Image

    from formcheck.clip.read import probe, read_frames
    from formcheck.report.video.stick_figure import stick_figure

    path.unlink(missing_ok=True)
    moment, clip = decisive_moment(outcome), outcome.folder / DRAWN_CLIP
    if moment is None:
        return
    if clip.exists():
        info = probe(clip)
        apart = np.abs(info.times_s - moment.drawn_at_s)
        nearest = info.times_s[[int(np.argmin(apart))]]
        picture = next((rgb for _, rgb in read_frames(info, nearest, _PICTURE_PX)), None)
    else:
        picture = stick_figure(outcome.analysis, moment.at_s, moment.view, _PICTURE_PX)
    if picture is not None:
        buffer = io.BytesIO()
        Image.fromarray(picture).save(buffer, "JPEG", quality=_PICTURE_QUALITY, optimize=True)
        write_whole(path, buffer.getvalue())
