"""Small multiples: one quantity over the weeks each, all on one scale of time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from formcheck.log.change import Change, Followed, sentence, value_of, with_unit
from formcheck.log.entry import SetEntry
from formcheck.log.person import BodyMass

WIDTH, HEIGHT = 240.0, 92.0
_EDGE_X, _EDGE_Y = 6.0, 8.0  # room for a mark at the edge
_MOST_TICKS = 6


@dataclass(frozen=True)
class Mark:
    """One set: where it is drawn, and the same in words."""

    x: float
    y: float
    words: str
    latest: bool


@dataclass(frozen=True)
class Tick:
    """A date on the scale of time, at ``x``; ``label`` empty where there is no room for one."""

    x: float
    label: str


@dataclass(frozen=True)
class Multiple:
    """One drawing on a WIDTH × HEIGHT field. ``band`` the path around value ± of all sets,
    ``course`` that of the median slope, empty unless the change is real; ``high``, ``low`` what
    the top and bottom of the field are."""

    title: str
    latest: str
    verdict: str
    real: bool
    marks: tuple[Mark, ...]
    band: str
    course: str
    ticks: tuple[Tick, ...]
    high: str
    low: str


def multiples(
    entries: Sequence[SetEntry], found: Sequence[Change], mass_of: BodyMass
) -> list[Multiple]:
    """One for each change, over these sets in order of time."""
    scale = _Time([_moment(entry) for entry in entries])
    return [_multiple(change, entries, mass_of, scale) for change in found]


class _Time:
    """The scale of time that all drawings share."""

    def __init__(self, moments: Sequence[datetime]) -> None:
        self.first, self.last = moments[0], moments[-1]
        self.span_s = max((self.last - self.first).total_seconds(), 1.0)
        self.alone = self.first == self.last

    def x(self, moment: datetime) -> float:
        if self.alone:
            return WIDTH / 2
        share = (moment - self.first).total_seconds() / self.span_s
        return _EDGE_X + share * (WIDTH - 2 * _EDGE_X)

    def ticks(self) -> tuple[Tick, ...]:
        """First days of months; Mondays where there are few weeks."""
        zone = self.first.tzinfo
        days = [
            self.first.date() + timedelta(days=n)
            for n in range((self.last.date() - self.first.date()).days + 1)
        ]
        months = [day for day in days if day.day == 1]
        by_month = len(months) > 1
        chosen = months if by_month else [day for day in days if day.weekday() == 0]
        step = math.ceil(len(chosen) / _MOST_TICKS) if chosen else 1
        out = []
        for count, day in enumerate(chosen):
            x = self.x(datetime(day.year, day.month, day.day, 12, tzinfo=zone))
            room = 12 < x < WIDTH - 12 and count % step == 0
            out.append(Tick(x, _label(day, by_month) if room else ""))
        return tuple(out)


def _label(day: date, by_month: bool) -> str:
    if by_month:
        return f"{day:%b}" if day.month > 1 else f"{day.year}"
    return f"{day.day} {day:%b}"


def _multiple(
    change: Change, entries: Sequence[SetEntry], mass_of: BodyMass, scale: _Time
) -> Multiple:
    one = change.followed
    measured = [(entry, value_of(entry, one, mass_of(entry))) for entry in entries]
    known = [(entry, pair) for entry, pair in measured if pair is not None]
    low, high = _bounds(one, [pair for _, pair in known])

    def y(value: float) -> float:
        share = (min(max(value, low), high) - low) / (high - low)
        return HEIGHT - _EDGE_Y - share * (HEIGHT - 2 * _EDGE_Y)

    places = [(scale.x(_moment(entry)), *pair) for entry, pair in known]
    marks = tuple(
        Mark(x, y(value), _words(entry, one, value, doubt), entry is known[-1][0])
        for (entry, _), (x, value, doubt) in zip(known, places, strict=True)
    )
    return Multiple(
        title=one.words,
        latest=with_unit(one, known[-1][1][0]),
        verdict=_verdict(change),
        real=change.verdict == "real",
        marks=marks,
        band=_band([(x, y(v - d), y(v + d)) for x, v, d in places]),
        course=_course(change, scale, y) if change.verdict == "real" else "",
        ticks=scale.ticks(),
        high=with_unit(one, high),
        low=with_unit(one, low),
    )


def _bounds(followed: Followed, pairs: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The field holds every value, and as much of the ± as leaves the values to be seen."""
    values = [value for value, _ in pairs]
    spread = max(values) - min(values)
    doubt = sorted(doubt for _, doubt in pairs)[len(pairs) // 2]
    room = min(doubt, max(1.5 * spread, 0.5 * doubt)) + 0.1 * spread
    least = 10.0**-followed.digits
    low, high = min(values) - max(room, least), max(values) + max(room, least)
    if followed.name in ("clean", "load_reps") or followed.name.endswith("_s"):
        low = max(low, 0.0)
    return low, high


def _band(places: Sequence[tuple[float, float, float]]) -> str:
    if len(places) == 1:
        x, lower, upper = places[0]
        places = [(x - 4, lower, upper), (x + 4, lower, upper)]
    there = [f"{x:.1f} {upper:.1f}" for x, _, upper in places]
    back = [f"{x:.1f} {lower:.1f}" for x, lower, _ in reversed(places)]
    return f"M{'L'.join([*there, *back])}Z"


def _course(change: Change, scale: _Time, y) -> str:  # type: ignore[no-untyped-def]
    """The median slope through the median point (Sen 1968)."""
    points = change.points
    days = sorted(point.day.toordinal() for point in points)
    values = sorted(point.value for point in points)
    middle_day, middle = days[len(days) // 2], values[len(values) // 2]
    slope = (change.per_week or 0.0) / 7.0
    ends = []
    for day in (points[0].day, points[-1].day):
        at = datetime(day.year, day.month, day.day, 12, tzinfo=scale.first.tzinfo)
        x = min(max(scale.x(at), _EDGE_X), WIDTH - _EDGE_X)
        ends.append(f"{x:.1f} {y(middle + slope * (day.toordinal() - middle_day)):.1f}")
    return f"M{'L'.join(ends)}"


def _verdict(change: Change) -> str:
    said = sentence(change)
    if len(change.points) < 2:
        return "one day only"
    if change.verdict != "too few days":
        return f"{said}: {change.verdict}"
    beyond = "more than its error" if change.beyond_error else "within the error"
    return f"{said}: {beyond}, too few days for a trend"


def _words(entry: SetEntry, followed: Followed, value: float, doubt: float) -> str:
    return f"{_moment(entry):%Y-%m-%d}: {with_unit(followed, value)} ± {with_unit(followed, doubt)}"


def _moment(entry: SetEntry) -> datetime:
    return datetime.fromisoformat(entry.recorded_at).astimezone()
