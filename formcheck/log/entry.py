"""One judged set as the log keeps it, read from its report."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from typing import Any, Literal

Direction = Literal["easier", "same", "harder"]
Source = Literal["given", "clip", "file", "now"]
Z_95 = 1.96
# What is measured on each rep and kept as the set's median, by its name in the report.
OF_REPS = (
    "elbow_bottom_deg", "elbow_top_deg", "hip_deviation_deg",
    "eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s",
)  # fmt: skip
_FULL = ("counted", "not_counted")  # attempts that were whole reps


@dataclass(frozen=True)
class ClipRef:
    """A clip of a set: ``key`` tells it from all others, its SHA-256 where that is known."""

    key: str
    file: str
    view: str | None


@dataclass(frozen=True)
class FaultCount:
    """On how many reps of the set a fault was called, and on how many it stayed unclear."""

    reps: int
    unclear: int


@dataclass(frozen=True)
class SetEntry:
    """A set in the log. ``log.schema.json`` says what each field means, with units.

    Values are medians over the whole reps; ``NAME_plus_minus`` is the half-width of the 95 %
    interval: the error that reps of one clip share, and the standard error of the median.
    None where it was not measured.
    """

    person: str
    recorded_at: str
    recorded_from: Source
    folder: str
    variation: str
    direction: Direction
    attempts: int
    counted: int
    clean: int
    unclear: int
    rung: str | None = None
    next_variation: str | None = None
    tempo: str | None = None
    target_reps: int | None = None
    added_load_kg: float = 0.0
    body_mass_kg: float | None = None
    elbow_bottom_deg: float | None = None
    elbow_bottom_deg_plus_minus: float | None = None
    elbow_top_deg: float | None = None
    elbow_top_deg_plus_minus: float | None = None
    hip_deviation_deg: float | None = None
    hip_deviation_deg_plus_minus: float | None = None
    eccentric_s: float | None = None
    eccentric_s_plus_minus: float | None = None
    bottom_pause_s: float | None = None
    bottom_pause_s_plus_minus: float | None = None
    concentric_s: float | None = None
    concentric_s_plus_minus: float | None = None
    top_pause_s: float | None = None
    top_pause_s_plus_minus: float | None = None
    speed_loss_percent: float | None = None
    speed_loss_percent_plus_minus: float | None = None
    load_reps: float | None = None
    load_reps_plus_minus: float | None = None
    clips: tuple[ClipRef, ...] = ()
    faults: Mapping[str, FaultCount] = field(default_factory=dict)

    @property
    def earned(self) -> bool:
        """Whether this set, taken alone, was at the top of what was asked."""
        return self.direction == "harder"


def entry_of(
    report: Mapping[str, Any],
    person: str,
    recorded_at: str,
    recorded_from: Source,
    folder: str,
    rungs: Sequence[Any] = (),
) -> SetEntry:
    """The log's entry of a report (``report.json`` as data).

    ``recorded_at`` UTC, ISO 8601; ``rungs`` the ladder, whose nearest rung of the same kind the
    set is filed under. The report's own ``rung`` wins where it has one.
    """
    asked, variation, reps = report["prescription"], report["variation"], report["reps"]
    whole = [rep for rep in reps if rep["attempt"] in _FULL]
    values: dict[str, float | None] = {}
    for name in OF_REPS:
        values[name], values[f"{name}_plus_minus"] = _median(whole, name)
    loss = report["set"].get("speed_loss_percent")
    load, load_doubt = _load_reps(reps, asked)
    step = report["next_step"]
    rung = report["variation"].get("rung") or _nearest_rung(variation, asked, rungs)
    return SetEntry(
        person=person,
        recorded_at=recorded_at,
        recorded_from=recorded_from,
        folder=folder,
        variation=variation_words(variation, asked, _height_words(rung, rungs)),
        direction=(report.get("log") or {}).get("direction_alone") or step["direction"],
        attempts=report["set"]["attempts"],
        counted=report["set"]["counted"],
        clean=report["set"]["clean"],
        unclear=sum(bool(rep.get("borderline")) and not rep["faults"] for rep in whole),
        rung=rung,
        next_variation=step.get("variation"),
        tempo=asked.get("tempo"),
        target_reps=asked.get("target_reps"),
        added_load_kg=asked.get("added_load_kg") or 0.0,
        body_mass_kg=asked.get("body_mass_kg"),
        speed_loss_percent=loss,
        speed_loss_percent_plus_minus=_loss_doubt(whole, loss),
        load_reps=load,
        load_reps_plus_minus=load_doubt,
        clips=tuple(_clip_ref(clip) for clip in report["clips"]),
        faults=_faults(reps),
        **values,  # the names are those of the fields above
    )


def variation_words(
    variation: Mapping[str, Any], asked: Mapping[str, Any], height: str | None = None
) -> str:
    """What was done, in the words that sets are filed and compared under.

    Hands that were neither seen nor asked to be close or wide are taken for the usual ones.
    ``height`` names a raised surface, since a step and a table are two exercises.
    """
    surface, support = variation["surface"], variation["support"]
    if surface is None:
        words = "surface not seen"
    elif surface in ("hands_raised", "feet_raised"):
        words = height or surface.replace("_", " ")
    else:
        words = {"floor": "floor", "wall": "wall"}[surface]
    if support == "knees":
        words += ", on the knees"
    hands = asked.get("hands") or variation.get("hands")
    if hands in ("close", "wide", "diamond"):
        words += f", hands {hands}" if hands != "diamond" else ", diamond hands"
    if variation.get("arms") in ("archer", "one"):
        words += ", archer" if variation["arms"] == "archer" else ", one arm"
    if asked.get("rings"):
        words += ", rings"
    if asked.get("supinated_hands"):
        words += ", fingers to the feet"
    return words


@cache
def local_day(recorded_at: str) -> date:
    """The day of a UTC time where this machine is."""
    return datetime.fromisoformat(recorded_at).astimezone().date()


def clip_key(clip: Mapping[str, Any]) -> str:
    """What tells a clip from all others: its SHA-256, else its name, length and size."""
    known = clip.get("sha256")
    if known:
        return str(known)
    return f"{clip['file']}|{clip['duration_s']}|{clip['frames']}|{clip['width']}x{clip['height']}"


def _clip_ref(clip: Mapping[str, Any]) -> ClipRef:
    return ClipRef(clip_key(clip), str(clip["file"]), clip.get("view"))


def _median(reps: Sequence[Mapping[str, Any]], name: str) -> tuple[float | None, float | None]:
    known = [rep for rep in reps if rep.get(name) is not None]
    if not known:
        return None, None
    values = [float(rep[name]) for rep in known]
    stated = [float(rep.get(f"{name}_plus_minus") or 0.0) for rep in known]
    # The median's standard error is 1.253 of the mean's (large samples of a normal spread).
    spread = 1.253 * statistics.stdev(values) / math.sqrt(len(values)) if len(values) > 1 else 0.0
    doubt = math.hypot(statistics.median(stated), Z_95 * spread)
    return round(statistics.median(values), 4), round(doubt, 4)


def _loss_doubt(reps: Sequence[Mapping[str, Any]], loss: float | None) -> float | None:
    """± of the speed loss, from that of two reps' speeds (per cent)."""
    if loss is None:
        return None
    shares = [
        rep["mean_concentric_speed_plus_minus"] / rep["mean_concentric_speed"]
        for rep in reps
        if rep.get("mean_concentric_speed") and rep.get("mean_concentric_speed_plus_minus")
    ]
    if not shares:
        return None
    doubt = 100.0 * math.sqrt(2.0) * statistics.median(shares) * (1.0 - loss / 100.0)
    return round(float(doubt), 4)


def _load_reps(
    reps: Sequence[Mapping[str, Any]], asked: Mapping[str, Any]
) -> tuple[float | None, float | None]:
    """Load on the hands summed over the counted reps, in body masses."""
    counted = [rep for rep in reps if rep["attempt"] == "counted"]
    if asked.get("added_load_kg") and asked.get("body_mass_kg") is None:
        return None, None  # the report leaves such a load out of its share
    if not counted or any(rep.get("load_fraction") is None for rep in counted):
        return None, None
    load = sum(rep["load_fraction"] for rep in counted)
    doubt = sum(rep.get("load_fraction_plus_minus") or 0.0 for rep in counted)
    return round(load, 4), round(doubt, 4)  # the reps share their error


def _faults(reps: Sequence[Mapping[str, Any]]) -> dict[str, FaultCount]:
    keys = {key for rep in reps for key in (*rep["faults"], *rep.get("borderline", ()))}
    return {
        key: FaultCount(
            sum(key in rep["faults"] for rep in reps),
            sum(key in rep.get("borderline", ()) and key not in rep["faults"] for rep in reps),
        )
        for key in sorted(keys)
    }


def _nearest_rung(
    variation: Mapping[str, Any], asked: Mapping[str, Any], rungs: Sequence[Any]
) -> str | None:
    """The key of the rung of the same kind whose hands are nearest in height; None without one."""
    if variation["surface"] is None or variation["support"] is None:
        return None
    kind = (variation["surface"], variation["support"], variation.get("arms") or "two")
    narrow = (asked.get("hands") or variation.get("hands")) in ("close", "diamond")
    alike = [rung for rung in rungs if (rung.surface, rung.support, rung.arms) == kind]
    alike = [rung for rung in alike if (rung.hands is not None) == narrow] or [
        rung for rung in alike if rung.hands is None
    ]
    if not alike:
        return None
    height = variation.get("surface_height_arm_lengths")
    if height is None:
        height = alike[0].height
    return str(min(alike, key=lambda rung: abs(rung.height - height)).key)


def _height_words(rung: str | None, rungs: Sequence[Any]) -> str | None:
    return next((str(one.words) for one in rungs if one.key == rung), None)
