"""Whether something changed over weeks, or only its measuring error shows.

Two sets differ when they differ by more than the least significant change: 1.96 √2 standard
errors of one set (the repeatability coefficient of Bland & Altman 1999, Stat Methods Med Res
8:135-160). A course over days is told by the median of the slopes between all pairs of days,
with Kendall's interval (Sen 1968, J Am Stat Assoc 63:1379-1389): one odd day does not move it,
and it needs no word on how forms vary from day to day. As many quantities are looked at
together as the log follows, so that each is held to the level at which all of them together
cry wolf in 5 of 100 (Bonferroni).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist
from typing import Literal

import numpy as np

from formcheck.log.entry import Z_95, SetEntry, local_day
from formcheck.log.person import BodyMass
from formcheck.maths.arrays import FloatArray

FALSE_ALARMS = 0.05  # of logs without change, over all quantities together
LEAST_DAYS = 6  # fewer cannot settle a slope at that level, whatever they show
PLUS_MINUS = "\u00a0±\u00a0"  # never broken over two lines
MOST_DAYS = 400  # more are taken week by week: pairs grow with their square

Verdict = Literal["real", "within the error", "too few days"]


@dataclass(frozen=True)
class Followed:
    """A quantity the log follows: ``name`` in the entry, ``words``, ``unit`` as written behind a
    number, ``digits``, and what to call a change up and down."""

    name: str
    words: str
    unit: str
    digits: int
    up: str
    down: str


FOLLOWED: tuple[Followed, ...] = (
    Followed("clean", "Clean reps", "", 0, "more", "fewer"),
    Followed("elbow_bottom_deg", "Elbow at the bottom", "°", 0, "shallower", "deeper"),
    Followed("elbow_top_deg", "Elbow at the top", "°", 0, "straighter", "softer"),
    Followed("hip_deviation_deg", "Body line", "°", 0, "hips lower", "hips higher"),
    Followed("eccentric_s", "Lowering", "\u00a0s", 1, "slower", "quicker"),
    Followed("bottom_pause_s", "Bottom pause", "\u00a0s", 1, "longer", "shorter"),
    Followed("concentric_s", "Press", "\u00a0s", 1, "slower", "quicker"),
    Followed("top_pause_s", "Top pause", "\u00a0s", 1, "longer", "shorter"),
    Followed("speed_loss_percent", "Speed loss", "\u00a0%", 0, "slows more", "slows less"),
    Followed("load_reps", "Load × reps (body masses)", "", 1, "more", "less"),
)
LOAD_IN_KG = Followed("load_reps", "Load × reps", "\u00a0kg", 0, "more", "less")


@dataclass(frozen=True)
class Point:
    """One day (week) of one quantity: median of its sets, 95 % half-width, how many sets."""

    day: date
    value: float
    plus_minus: float
    sets: int = 1


@dataclass(frozen=True)
class Change:
    """What became of a quantity: ``change`` from the first day to the last along its course, with
    the half-width that it is held against. ``per_week`` the slope and ``low``, ``high`` its 95 %
    interval; None with fewer than ``LEAST_DAYS`` days, where the last day is set against the first.
    """

    followed: Followed
    points: tuple[Point, ...]
    change: float
    plus_minus: float
    verdict: Verdict
    per_week: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def beyond_error(self) -> bool:
        """Whether it is larger than what it is held against; no trend yet with too few days."""
        return abs(self.change) > self.plus_minus


def value_of(
    entry: SetEntry, followed: Followed, mass_kg: float | None = None
) -> tuple[float, float] | None:
    """Value of a set and its 95 % half-width; None where it was not measured."""
    value = getattr(entry, followed.name)
    if value is None:
        return None
    if followed.name == "clean":
        return float(value), float(entry.unclear)
    doubt = getattr(entry, f"{followed.name}_plus_minus") or 0.0
    if followed is LOAD_IN_KG:
        if mass_kg is None:
            return None
        return value * mass_kg, doubt * mass_kg
    return float(value), float(doubt)


def followed_in(entries: Sequence[SetEntry], mass_of: BodyMass) -> tuple[Followed, ...]:
    """What can be followed over these sets; load in kilograms where every body mass is known."""
    in_kg = bool(entries) and all(mass_of(one) is not None for one in entries)
    return tuple(
        LOAD_IN_KG if in_kg and one.name == LOAD_IN_KG.name else one
        for one in FOLLOWED
        if any(getattr(entry, one.name) is not None for entry in entries)
    )


def days_of(entries: Sequence[SetEntry], followed: Followed, mass_of: BodyMass) -> list[Point]:
    """One point a day: sets of a day share the camera's place and the body's day.

    One a week, on its Monday, where there are more than ``MOST_DAYS`` of them.
    """
    by_day: dict[date, list[tuple[float, float]]] = {}
    for entry in entries:
        measured = value_of(entry, followed, mass_of(entry))
        if measured is not None:
            by_day.setdefault(local_day(entry.recorded_at), []).append(measured)
    if len(by_day) > MOST_DAYS:
        by_week: dict[date, list[tuple[float, float]]] = {}
        for day, sets in by_day.items():
            by_week.setdefault(day - timedelta(days=day.weekday()), []).extend(sets)
        by_day = by_week
    return [
        Point(
            day,
            statistics.median(value for value, _ in sets),
            statistics.median(doubt for _, doubt in sets),
            len(sets),
        )
        for day, sets in sorted(by_day.items())
    ]


def changes(entries: Sequence[SetEntry], mass_of: BodyMass) -> list[Change]:
    """What became of every quantity over these sets, which are of one person and variation."""
    names = followed_in(entries, mass_of)
    return [change_of(one, days_of(entries, one, mass_of), len(names)) for one in names]


def change_of(followed: Followed, points: Sequence[Point], together: int = 1) -> Change:
    """Judge one course. ``together`` quantities are looked at, all to one false alarm rate."""
    level = 1.0 - FALSE_ALARMS / together
    if len(points) < LEAST_DAYS:
        return _last_against_first(followed, points, level)
    days = np.array([point.day.toordinal() for point in points], dtype=np.float64)
    values = np.array([point.value for point in points])
    span = float(days[-1] - days[0])
    slope, ((low, high), (usual_low, usual_high)) = median_slope(days, values, (level, 0.95))
    change = slope * span
    toward_none = (slope - low if slope > 0 else high - slope) * span
    least = least_significant_change([point.plus_minus for point in points])
    doubt = max(toward_none, least)
    return Change(
        followed,
        tuple(points),
        change,
        doubt,
        "real" if abs(change) > doubt else "within the error",
        7.0 * slope,
        7.0 * usual_low,
        7.0 * usual_high,
    )


def since(before: SetEntry, now: SetEntry, mass_of: BodyMass) -> list[Change]:
    """A set against an earlier one of the same variation."""
    names = followed_in([before, now], mass_of)
    level = 1.0 - FALSE_ALARMS / max(1, len(names))
    out = []
    for one in names:
        pair = [value_of(entry, one, mass_of(entry)) for entry in (before, now)]
        if pair[0] is None or pair[1] is None:
            continue
        days = [local_day(entry.recorded_at) for entry in (before, now)]
        points = [Point(day, *measured) for day, measured in zip(days, pair, strict=True)]  # type: ignore[misc]
        out.append(_pair(one, points, level))
    return out


def least_significant_change(plus_minus: Sequence[float], z: float = Z_95) -> float:
    """The least difference of two single values that is more than their error, given the 95 %
    half-widths of such values."""
    return z * math.sqrt(2.0) * statistics.median(plus_minus) / Z_95


def median_slope(
    x: FloatArray, y: FloatArray, levels: Sequence[float]
) -> tuple[float, list[tuple[float, float]]]:
    """Median slope of all pairs, and its interval at each of the confidence ``levels`` (Sen 1968).

    ``x`` (N,) increasing, no two alike; ``y`` (N,). As ``scipy.stats.theilslopes``, which a test
    holds it to; importing that takes longer than all of ``formcheck log trend``. An end beyond
    the outermost slope is infinite.
    """
    count = len(x)
    first, second = np.triu_indices(count, 1)
    slopes = np.sort((y[second] - y[first]) / (x[second] - x[first]))
    # Variance of Kendall's score where values repeat (Sen 1968, eq. 2.6, ties in y).
    _, repeats = np.unique(y, return_counts=True)
    ties = float(np.sum(repeats * (repeats - 1) * (2 * repeats + 5)))
    spread = math.sqrt(max(0.0, (count * (count - 1) * (2 * count + 5) - ties) / 18.0))
    intervals = []
    for level in levels:
        reach = NormalDist().inv_cdf(0.5 + level / 2) * spread
        low = round((len(slopes) - reach) / 2.0) - 1
        high = round((len(slopes) + reach) / 2.0)
        intervals.append(
            (
                float(slopes[low]) if low >= 0 else -math.inf,
                float(slopes[high]) if high < len(slopes) else math.inf,
            )
        )
    return float(np.median(slopes)), intervals


def with_unit(followed: Followed, value: float | None, more_digits: int = 0) -> str:
    """``82°``, ``1.8 s``; ``more_digits`` for a part of such a value, as in a slope."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:.{followed.digits + more_digits}f}"
    text = text.lstrip("-") if float(text) == 0 else text.replace("-", "−")
    return text + followed.unit


def sentence(change: Change) -> str:
    """``deeper by 6° ± 4°``, ``longer by 0.3 ± 0.1 s``; the unit once where it is a word."""
    one = change.followed
    amount = with_unit(one, abs(change.change))
    if math.isfinite(change.plus_minus):
        first = amount if len(one.unit) == 1 else amount.removesuffix(one.unit)
        amount = f"{first}{PLUS_MINUS}{with_unit(one, change.plus_minus)}"
    if float(f"{change.change:.{one.digits}f}") == 0:
        return f"unchanged, {amount}"
    return f"{one.up if change.change > 0 else one.down} by {amount}"


def _last_against_first(followed: Followed, points: Sequence[Point], level: float) -> Change:
    if len(points) < 2:
        return Change(followed, tuple(points), 0.0, math.inf, "too few days")
    pair = _pair(followed, (points[0], points[-1]), level)
    return Change(followed, tuple(points), pair.change, pair.plus_minus, "too few days")


def _pair(followed: Followed, points: Sequence[Point], level: float) -> Change:
    z = NormalDist().inv_cdf(0.5 + level / 2)
    change = points[1].value - points[0].value
    doubt = z * math.hypot(points[0].plus_minus, points[1].plus_minus) / Z_95
    if followed.name == "clean":
        doubt = max(doubt, 1.0)  # one rep more or less is a day's luck
    verdict: Verdict = "real" if abs(change) > doubt else "within the error"
    return Change(followed, tuple(points), change, doubt, verdict)
