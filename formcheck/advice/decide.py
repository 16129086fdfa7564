"""Easier, the same or harder, and why: as codes and numbers, in the order of their weight.

Double progression: build reps to a range, then take the step. Words are made in the report.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from formcheck.advice.ladder import Direction, steps
from formcheck.asked.prescription import Prescription
from formcheck.faults.catalogue import fault_kinds, keys_weighing
from formcheck.faults.counting import TestResult
from formcheck.faults.hold import NOT_BROKEN, HoldVerdict
from formcheck.faults.rules import Fault
from formcheck.maths.quantity import Quantity
from formcheck.measures.hold import SupportHold

Code = Literal[
    "pain", "negatives", "failed", "score", "test", "target_met", "range_met", "far_above",
    "one_rep", "few_reps", "build_reps", "rested", "short_of_target", "broke_down", "too_heavy",
    "end_earlier", "range_first",
    "other_faults", "not_counted", "go_lower", "faults_allowed", "unseen", "unclear", "drops",
    "none_left", "plenty_left", "slowed", "ground", "remedy", "hold", "hold_broke", "hold_unclear",
    "hold_unseen", "hold_earns_reps", "nothing", "no_size", "load", "size", "load_stays",
    "usual_stature", "vest_first", "way", "log",
]  # fmt: skip
STAYED_DOWN_PERCENT = 20.0  # pressed up by less, an attempt was not pressed
When = Literal["from the start", "late"]
FIRST_REPS = 2  # a fault that begins later is one of tiredness


@dataclass(frozen=True)
class Reason:
    """One reason: what it is, and the numbers that belong to it."""

    code: Code
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class SetRecord:
    """What the decision rests on. ``good`` of every attempt in order: counted and without a fault;
    ``unjudged`` reps that do not count only because their range or line was not seen; ``faults`` of
    all reps; ``not_judged`` keys of the whole set; ``gaps_s`` from each top to
    the next start; ``load_fraction`` measured mean share of body mass on the
    hands; ``eccentric_s`` and ``bottom_pause_s`` medians of the set; ``press_s`` of every rep
    pressed up, in order, and ``last_stuck`` whether the last of them slowed on its way; ``hold``
    where the set was one, with its ``hold_verdict``; ``test`` where one was asked for;
    ``bends_to_90`` whether every rep bends the elbows to 90 degrees, where something else was
    asked of its depth."""

    good: Sequence[bool]
    counted: int
    faults: Sequence[Fault]
    not_judged: Collection[str]
    speed_loss_percent: float = math.nan
    load_fraction: Quantity | None = None
    eccentric_s: float = math.nan
    bottom_pause_s: float = math.nan
    press_s: Sequence[float] = ()
    last_stuck: bool = False
    hold: SupportHold | None = None
    hold_verdict: HoldVerdict = NOT_BROKEN
    test: TestResult | None = None
    bends_to_90: bool = False
    unjudged: Sequence[int] = ()
    gaps_s: Sequence[float] = ()

    @property
    def attempts(self) -> int:
        return len(self.good)

    @property
    def clean(self) -> int:
        return sum(self.good)

    @property
    def unclear(self) -> int:
        """Good reps with a value too close to a limit."""
        near = {f.rep for f in self.faults if f.verdict == "borderline"}
        return sum(good and i in near for i, good in enumerate(self.good, start=1))

    @property
    def rests_s(self) -> dict[int, float]:
        """Rests that make two sets of one, by the rep before."""
        least_s = steps()["rest_s"]
        return {i: gap for i, gap in enumerate(self.gaps_s, start=1) if gap >= least_s}

    @property
    def failed(self) -> dict[int, float]:
        """Attempts that failed, and how far each was pressed up (%)."""
        return _failed(self.faults)


@dataclass(frozen=True)
class Decision:
    """``bigger`` a step of twice the usual size."""

    direction: Direction
    why: tuple[Reason, ...]
    bigger: bool = False


def decide(record: SetRecord, asked: Prescription) -> Decision:
    """Which way the next set goes.

    Never harder with pain, nor when range or line could not be judged, nor on reps short of what
    was asked.
    """
    if asked.pain is not None:
        return Decision("easier", (Reason("pain", {"where": asked.pain}),))
    if record.attempts == 0:
        return _of_hold(record)
    if only_lowered(record.faults, record.attempts, record.test):
        return Decision("same", (Reason("negatives", {"reps": record.attempts}),))
    said = _facts(record, asked)
    wanted, _ = reps_wanted(asked)
    if not _reached(record, asked):
        return _short(record, asked, wanted, said)
    return _met(record, asked, said)


def only_lowered(faults: Sequence[Fault], attempts: int, test: TestResult | None) -> bool:
    """Whether no rep of a set was pressed up at all: nobody fails so often, so it was meant. A
    named test asks for whole reps."""
    failed = _failed(faults)
    return (
        test is None
        and len(failed) == attempts >= steps()["least_reps"]
        and all(up < STAYED_DOWN_PERCENT for up in failed.values())
    )


def _failed(faults: Sequence[Fault]) -> dict[int, float]:
    return {f.rep: f.value for f in faults if (f.key, f.verdict) == ("failed", "fault")}


def _facts(record: SetRecord, asked: Prescription) -> list[Reason]:
    """What happened, the most important first."""
    said = [Reason("failed", {"rep": rep, "up_percent": up}) for rep, up in record.failed.items()]
    if record.test is not None:
        said.append(Reason("test", {"result": record.test}))
    said.append(
        Reason(
            "score",
            {
                "clean": record.clean,
                "unclear": record.unclear,
                "attempts": record.attempts,
                "target": asked.target_reps,
                "test": record.test is not None,
                "range": reps_wanted(asked),
                "reached": _reached(record, asked),
            },
        )
    )
    if not _reached(record, asked) and _reached(replace(record, gaps_s=()), asked):
        said.append(Reason("rested", {"rests_s": record.rests_s}))
    return said


def reps_wanted(asked: Prescription) -> tuple[int, int]:
    """How many reps make a set, and how many earn the step."""
    low, high = asked.rep_range or steps()["range_reps"]
    if asked.target_reps is not None:
        return asked.target_reps, asked.target_reps
    return low, high


def _allowed(record: SetRecord, asked: Prescription) -> int:
    """Reps that may have a fault: as told; else none in a test, one in ten in training."""
    if asked.allow_faulty is not None:
        return asked.allow_faulty
    if asked.standard is not None:
        return 0
    _, wanted = reps_wanted(asked)
    # To the nearest rep, a half to none: 1 of 6 to 15, 2 of 16 to 25.
    return math.ceil(float(steps()["faulty_share"]) * wanted - 0.5)


def _reached(record: SetRecord, asked: Prescription) -> bool:
    """Whether the reps that earn the step were done in one go; what comes after them counts no
    more. A named test says itself what rests it allows."""
    _, wanted = reps_wanted(asked)
    allowed, done, faulty = _allowed(record, asked), 0, 0
    for i, good in enumerate(record.good, start=1):
        if good:
            done += 1
        elif i not in record.failed:
            faulty += 1
        if faulty <= allowed and done + faulty >= wanted:
            return True
        if i in record.rests_s and record.test is None:
            done = faulty = 0
    return False


def _met(record: SetRecord, asked: Prescription, said: list[Reason]) -> Decision:
    """The reps are there: is there anything against the step?"""
    figures = steps()
    _, high = reps_wanted(asked)
    if asked.target_reps is not None:
        said.append(Reason("target_met", {"target": asked.target_reps, "unclear": record.unclear}))
    else:
        said.append(Reason("range_met", {"high": high, "unclear": record.unclear}))
    faulty = record.attempts - record.clean - len(record.failed)
    if faulty > 0:
        allowed = {
            "faults": _by_key(record, "fault"),
            "allowed": _allowed(record, asked) if faulty <= _allowed(record, asked) else None,
            "wanted": reps_wanted(asked)[1],
        }
        said.append(Reason("faults_allowed", allowed))
    if record.clean < figures["least_reps"]:
        return Decision("same", (*said, Reason("few_reps", {"least": figures["least_reps"]})))
    if unseen := _unseen(record):
        return Decision(
            "same", (*said, Reason("unseen", {"keys": unseen, "reached": True, "reps": ()}))
        )
    if unclear := _unclear(record):
        return Decision("same", (*said, unclear))
    if drops := _drops(record, asked):
        return Decision("same", (*said, drops))
    if asked.reps_left == 0:
        return Decision("same", (*said, Reason("none_left")))
    said += _tired(record, asked)
    plenty = asked.reps_left is not None and asked.reps_left >= figures["plenty_left"]
    far_above = record.clean >= figures["far_above_reps"]
    if plenty:
        said.append(Reason("plenty_left", {"left": asked.reps_left}))
    if far_above:
        said.append(Reason("far_above", {"clean": record.clean}))
    return Decision("harder", tuple(said), bigger=plenty or far_above)


def _short(record: SetRecord, asked: Prescription, wanted: int, said: list[Reason]) -> Decision:
    """The reps are not there: too heavy, faulty, or only too few?"""
    kinds, figures = fault_kinds(), steps()
    sure = [f for f in record.faults if f.verdict == "fault"]
    blocking = [f for f in sure if kinds[f.key].weighs != "attention" and f.key != "failed"]
    early = record.clean < figures["early_share"] * wanted
    if blocking or record.failed:
        first = min([f.rep for f in blocking] + list(record.failed))
        heavy = bool(record.failed) or any(
            kinds[f.key].too_heavy and not _only_high(record, f.key) for f in blocking
        )
        if blocking:
            broke = {
                "rep": first,
                "faults": _by_key(record, "fault", keys_weighing("range", "line")),
            }
            said.append(Reason("broke_down", broke))
        if any(_only_high(record, f.key) for f in blocking):
            said.append(Reason("go_lower", {"standard": asked.range_standard}))
        # What was lost of tempo or hand placing is no lost strength.
        kept = record.attempts - len({f.rep for f in blocking} | set(record.failed))
        if heavy and early and kept < figures["early_share"] * wanted:
            said += [Reason("too_heavy"), *_remedies(record)]
            return Decision("easier", tuple(said))
        # A lapse that was put right is no end; and a test goes on to its own.
        lasted = {f.rep for f in blocking} | set(record.failed)
        earlier = first > 2 and heavy and record.attempts in lasted and record.test is None
        if earlier:
            said.append(Reason("end_earlier", {"after": first - 1}))
        said += _remedies(record, end_said=earlier)
        return Decision("same", tuple(said))
    uncounted = record.attempts - record.counted
    missed = uncounted - len(record.unjudged)
    if missed and record.test is None:  # a test has said what it did not count
        said.append(Reason("not_counted", {"reps": missed, "line": asked.counts != "range"}))
    if unseen := _unseen(record):
        said.append(
            Reason("unseen", {"keys": unseen, "reached": False, "reps": _some(record, unseen)})
        )
    others = _by_key(record, "fault")
    if others:
        said += [Reason("other_faults", {"faults": others}), *_remedies(record)]
        return Decision("same", tuple(said))
    if unclear := _unclear(record):
        said.append(unclear)
    if drops := _drops(record, asked):
        said.append(drops)
    if 2 * missed > record.attempts and record.test is None:
        return Decision("same", (*said, Reason("range_first")))
    if asked.target_reps is not None:
        if early and not uncounted and (asked.reps_left or 0) == 0:
            said.append(Reason("short_of_target", {"done": record.clean, "target": wanted}))
            return Decision("easier", tuple(said))
        said.append(Reason("build_reps", {"low": wanted, "high": wanted}))
        return Decision("same", tuple(said))
    low, high = reps_wanted(asked)
    said.append(
        Reason("one_rep")
        if record.attempts == 1
        else Reason("build_reps", {"low": low, "high": high})
    )
    return Decision("same", (*said, *_tired(record, asked)))


def _only_high(record: SetRecord, key: str) -> bool:
    """Whether a rep is too shallow for what was asked alone: it bends as far as push-ups do, so
    going lower comes before less load."""
    return key == "shallow" and record.bends_to_90


def _remedies(record: SetRecord, end_said: bool = False) -> list[Reason]:
    """What to do about each fault, the costliest first: by fault, and by when it began.

    ``end_said`` where the advice says already after which rep to end the set.
    """
    kinds = fault_kinds()
    sure = _by_key(record, "fault")
    sure.pop("aborted", None)  # whose remedy is to end the set earlier
    sure = {key: reps for key, reps in sure.items() if not _only_high(record, key)}
    out = []
    # In the order of the page's “fix first”.
    for key in sorted(sure, key=lambda key: (-kinds[key].cost * len(sure[key]), -kinds[key].cost)):
        late = min(sure[key]) > FIRST_REPS and record.test is None  # a test goes on to its end
        when: When = "late" if late else "from the start"
        out.append(Reason("remedy", {"key": key, "when": when, "end_said": end_said}))
    return out[:2]


def _tired(record: SetRecord, asked: Prescription) -> list[Reason]:
    """Context, no verdict: how much slower the presses got, every one meant to be fast; and a last
    press that ground, which nobody does on purpose."""
    fast = asked.tempo is not None and asked.tempo.concentric_s is None
    out = []
    if fast and record.speed_loss_percent > steps()["slowed_percent"]:
        out.append(Reason("slowed", {"percent": record.speed_loss_percent}))
    full_effort = fast or record.last_stuck
    if full_effort and len(record.press_s) > 2 and record.press_s[-1] > 2 * min(record.press_s):
        out.append(
            Reason("ground", {"last_s": record.press_s[-1], "fastest_s": min(record.press_s)})
        )
    return out


def _drops(record: SetRecord, asked: Prescription) -> Reason | None:
    """A set lowered in free fall, no tempo being asked."""
    if asked.tempo is None and record.eccentric_s < steps()["drop_s"]:
        return Reason("drops", {"eccentric_s": record.eccentric_s})
    return None


def _unseen(record: SetRecord) -> tuple[str, ...]:
    """Faults that have to be seen before a step up and were not judged."""
    return tuple(
        key for key, kind in fault_kinds().items() if kind.needed and key in record.not_judged
    )


def _some(record: SetRecord, unseen: Collection[str]) -> Sequence[int]:
    """The reps whose range was not seen, where only they were not."""
    only_range = set(unseen) <= set(keys_weighing("range"))
    every = len(record.unjudged) == record.attempts
    return record.unjudged if only_range and not every else ()


def _unclear(record: SetRecord) -> Reason | None:
    """Range, line or flare that came so close to a limit that the set cannot be cleared."""
    near = [f for f in record.faults if f.verdict == "borderline"]
    for what, keys in (
        ("line", keys_weighing("line")),
        ("range", keys_weighing("range")),
        ("flare", {"elbow_flare"}),
    ):
        reps = {f.rep for f in near if f.key in keys}
        share = 0.0 if what == "line" else steps()["borderline_share"]
        if len(reps) > share * record.attempts:
            return Reason("unclear", {"what": what, "reps": sorted(reps)})
    return None


def _by_key(
    record: SetRecord, verdict: str, keys: Collection[str] | None = None
) -> dict[str, list[int]]:
    """Reps with each fault but that of having failed, which is said by itself."""
    out: dict[str, set[int]] = {}
    for fault in record.faults:
        if fault.verdict == verdict and fault.key != "failed" and (not keys or fault.key in keys):
            out.setdefault(fault.key, set()).add(fault.rep)
    return {key: sorted(reps) for key, reps in out.items()}


def _of_hold(record: SetRecord) -> Decision:
    hold, broken, needed_s = record.hold, record.hold_verdict, steps()["hold_s"]
    if hold is None:
        return Decision("same", (Reason("nothing"),))
    held = Reason("hold", {"held_s": hold.held_s, "needed_s": needed_s})
    if broken.broke_at_s is not None:
        kept_s = broken.broke_at_s - hold.start_s
        direction: Direction = "easier" if kept_s < needed_s / 2 else "same"
        return Decision(direction, (held, Reason("hold_broke", {"after_s": kept_s})))
    if not hold.line_deg.known:
        return Decision("same", (held, Reason("hold_unseen")))
    if broken.unclear_at_s is not None:
        kept_s = broken.unclear_at_s - hold.start_s
        return Decision("same", (held, Reason("hold_unclear", {"after_s": kept_s})))
    if hold.held_s < needed_s:
        return Decision("same", (held,))
    return Decision("harder", (held, Reason("hold_earns_reps")))
