"""What to train next: the ladder of variations and the step this set has earned."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np

from formcheck.asked.person import Person
from formcheck.asked.prescription import Arms, Prescription, Support, Surface
from formcheck.faults.catalogue import fault_kinds, keys_weighing
from formcheck.faults.hold import NOT_BROKEN, HoldVerdict
from formcheck.faults.rules import Fault
from formcheck.maths.quantity import Quantity
from formcheck.measures.hold import SupportHold
from formcheck.measures.plank import plank_load, worn_load_share
from formcheck.reps.find import rep_list
from formcheck.variation.recognise import Variation
from formcheck.variation.segments import arm_m

Direction = Literal["easier", "same", "harder"]

USUAL_STATURE_M = 1.74  # de Leva 1996's reference bodies; used, and said, when none was given

# On a wall: how far the feet move, in statures, for load changed by its whole self. The segment
# model with the hands 2.0 to 2.4 arm lengths up: 0.16 of stature for 0.62 of the middle load.
_WALL_STEP_PER_LOAD = 0.26
LEAST_HEIGHT = 0.12  # arm lengths (6 cm): a lower surface is not worth raising hands or feet on

CAUTIONS = (
    "Stop on pain in wrists, elbows, shoulders or back; pain is not tiredness.",
    "This is training advice from a video, not a medical judgement.",
    "After an injury or with a condition, a qualified professional decides what you train.",
)
RAISED_CAUTION = "Raise hands or feet only on supports that cannot slip, tip or roll."
SLOWLY_CAUTION = "Build up weighted and one-arm work slowly, over weeks."
RINGS_CAUTION = "Check the ring straps and their anchor before every set."


@dataclass(frozen=True)
class Rung:
    """One variation of the ladder.

    ``load_percent`` of body mass on both hands, ``working_arm_percent`` on the arm that bears
    more; ``height`` of the hands above the feet in arm lengths; ``lever`` what makes it heavier
    than the rung below. ``of_floor`` (load as a share of the floor's) and ``bent_arm_share``
    (of an archer's load) say where a load comes from that the straight body does not give.
    """

    key: str
    words: str
    surface: Surface
    support: Support
    height: float
    arms: Arms
    load_percent: float
    working_arm_percent: float
    lever: str
    hands: str | None = None
    of_floor: float | None = None
    bent_arm_share: float | None = None


@dataclass(frozen=True)
class NextStep:
    """``variation`` in words. ``load_change_percent`` of the load on the hands that the step
    asks for; ``surface_change_cm`` of the raised end named by ``surface_end`` (+ higher);
    ``added_load_change_kg`` the same change by weight, an alternative where both are given.
    None where the step does not change it or it cannot be computed.
    """

    direction: Direction
    variation: str
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    load_change_percent: float | None = None
    surface_end: Literal["hands", "feet"] | None = None
    surface_change_cm: float | None = None
    added_load_change_kg: float | None = None


@dataclass(frozen=True)
class SetRecord:
    """What the decision rests on. ``faults`` of all reps; ``not_judged`` keys of the whole set;
    ``load_fraction`` measured mean share of body mass on the hands; ``hold`` where the set was
    one, with its ``hold_verdict``."""

    attempts: int
    counted: int
    clean: int
    faults: Sequence[Fault]
    not_judged: Collection[str]
    first_breakdown_rep: int | None = None
    speed_loss_percent: float = math.nan
    load_fraction: Quantity | None = None
    hold: SupportHold | None = None
    hold_verdict: HoldVerdict = NOT_BROKEN


@dataclass(frozen=True)
class _Move:
    """The size of a step in one direction, and how to make it."""

    variation: str
    load_change_percent: float | None = None
    surface_end: Literal["hands", "feet"] | None = None
    surface_change_cm: float | None = None
    added_load_change_kg: float | None = None
    how: str | None = None


def next_step(
    record: SetRecord,
    variation: Variation,
    prescription: Prescription,
    person: Person | None = None,
) -> NextStep:
    """Decide easier, same or harder from one set, and by how much.

    Never harder on a set with a range or line fault, nor when range or line could not be judged.
    Without a target every rep has to be clean.
    """
    person = person or Person()
    direction, why = _decide(record, prescription)
    rung = nearest_rung(variation)
    if direction == "same" or rung is None:
        what = describe(variation, prescription)
        held = record.attempts == 0 and record.hold is not None
        move = _Move(f"hold at the top of the {what}" if held else what)
        if direction != "same":
            why = (*why, "Which variation this was does not show here, so the step has no size.")
    else:
        percent = _steps()["harder_percent" if direction == "harder" else "easier_percent"]
        change = percent if direction == "harder" else -percent
        move = _sized_step(change, rung, record, variation, prescription, person)
        carried = record.load_fraction
        if carried is not None and carried.known:
            why = (*why, f"The hands carried about {100 * carried.value:.0f} % of body mass.")
        why = (*why, move.how) if move.how else why
    return NextStep(
        direction,
        move.variation,
        why,
        _cautions(variation, prescription, move),
        move.load_change_percent,
        move.surface_end,
        move.surface_change_cm,
        move.added_load_change_kg,
    )


def ladder() -> tuple[Rung, ...]:
    """The variations in order, lightest first."""
    return tuple(Rung(**row) for row in _data()["rung"])


def nearest_rung(variation: Variation) -> Rung | None:
    """The rung a set was done on; None when support or surface are unknown."""
    if variation.surface is None or variation.support is None:
        return None
    narrow = variation.hands in ("close", "diamond")
    on = [
        rung
        for rung in ladder()
        if (rung.surface, rung.support) == (variation.surface, variation.support)
        and (narrow or rung.hands is None)
    ] or [rung for rung in ladder() if rung.support == variation.support]
    alike = [rung for rung in on if rung.arms == (variation.arms or "two")] or on
    height = variation.surface_height.value if variation.surface_height.known else alike[0].height
    return min(alike, key=lambda rung: (abs(rung.height - height), narrow == (rung.hands is None)))


def describe(variation: Variation, prescription: Prescription) -> str:
    """The variation in a few words."""
    words = {
        "wall": "push-up against a wall",
        "hands_raised": "push-up with the hands raised",
        "feet_raised": "push-up with the feet raised",
        "floor": "push-up on the floor",
        None: "push-up",
    }[variation.surface]
    if variation.arms in ("archer", "one"):
        words = words.replace("push-up", f"{variation.arms.replace('one', 'one-arm')} push-up")
    if variation.support == "knees":
        words += ", on the knees"
    if prescription.rings:
        words += ", in rings"
    if prescription.added_load_kg:
        words += f", {prescription.added_load_kg:g} kg added"
    return words


def _decide(record: SetRecord, prescription: Prescription) -> tuple[Direction, tuple[str, ...]]:
    if record.attempts == 0:
        return _decide_hold(record)
    kinds = fault_kinds()
    steps, target = _steps(), prescription.target_reps
    wanted = target or record.attempts
    asked = (
        f"{target} clean reps were asked for"
        if target
        else "no target was given, so every rep has to be clean"
    )
    score = f"{record.clean} of {record.attempts} reps clean; {asked}."
    heavy = [f for f in record.faults if kinds[f.key].too_heavy and f.verdict == "fault"]
    blocking = [
        f for f in record.faults if kinds[f.key].weighs != "attention" and f.verdict == "fault"
    ]
    if blocking:
        first = min(f.rep for f in blocking)
        broke = f"Rep {first} was the first to break down: {_named(blocking)}."
        owned = record.attempts - len({f.rep for f in blocking})  # a lost tempo is no lost strength
        if heavy and owned < steps["early_share"] * wanted:
            return "easier", (score, broke, "It broke down early: too heavy to be owned yet.")
        return "same", (
            score,
            broke,
            "Range and line come before load: own this one first, and end the set "
            f"before it breaks{f', after rep {first - 1}' if first > 2 else ''}.",
        )
    if record.clean < record.attempts and record.clean < wanted:
        return "same", (score, *_not_clean(record))
    if record.clean < wanted:
        if record.clean < steps["early_share"] * wanted:
            return "easier", (score, f"The set ended after rep {record.attempts}, all of it clean.")
        return "same", (score, "Add reps before load.")
    if what := _needed_unseen(record):
        return "same", (
            score,
            f"This view does not show {what}: film it, and if it holds, the next step is earned.",
        )
    near = [f for f in record.faults if f.verdict == "borderline"]
    close = {f.rep for f in near if f.key in keys_weighing("range")}
    sagging = {f.rep for f in near if f.key in keys_weighing("line")}
    if sagging or len(close) > steps["borderline_share"] * record.attempts:
        unclear, what = (sagging, "body line") if sagging else (close, "range")
        return "same", (
            score,
            f"But {rep_list(unclear)} came so close to the limit of the {what} that this view "
            "cannot clear them.",
        )
    if target is None and record.attempts < steps["least_reps"]:
        return "same", (score, "So few reps say little: do more of them first.")
    if _tired(record, prescription):
        return "same", (
            score,
            f"But pressing up slowed by {record.speed_loss_percent:.0f} % over the set, asked "
            "as fast as possible: near the end already.",
        )
    return "harder", (score, "Range and line held to the last rep.")


def _not_clean(record: SetRecord) -> tuple[str, ...]:
    """What kept reps from being clean where neither range nor line is accused."""
    said = []
    uncounted = record.attempts - record.counted
    if uncounted:
        said.append(
            f"{uncounted} did not count: the range was probably missed, or could not be judged."
        )
    unseen = _needed_unseen(record)
    if not uncounted and not unseen:
        said.append("Range and line held.")
    if unseen:
        said.append(f"This view does not show {unseen}.")
    others = [fault for fault in record.faults if fault.verdict == "fault"]
    if others:
        said.append(f"To clean up first: {_named(others)}.")
    return tuple(said)


def _decide_hold(record: SetRecord) -> tuple[Direction, tuple[str, ...]]:
    hold, broken, needed_s = record.hold, record.hold_verdict, _steps()["hold_s"]
    if hold is None:
        return "same", ("No rep was found, so there is nothing to step from.",)
    held = f"The position was held for {hold.held_s:.0f} s; {needed_s:.0f} s are taken as enough."
    if broken.broke_at_s is not None:
        kept_s = broken.broke_at_s - hold.start_s
        direction: Direction = "easier" if kept_s < needed_s / 2 else "same"
        return direction, (held, f"The line broke after {kept_s:.0f} s.")
    if not hold.line_deg.known:
        return "same", (held, "The body line does not show here: film from the side.")
    if broken.unclear_at_s is not None:
        kept_s = broken.unclear_at_s - hold.start_s
        near = "came so close to its limit that this view cannot clear it."
        return "same", (held, f"But after {kept_s:.0f} s the line {near}")
    return ("harder" if hold.held_s >= needed_s else "same"), (held, "The line held.")


def _sized_step(
    change_percent: float,
    rung: Rung,
    record: SetRecord,
    variation: Variation,
    prescription: Prescription,
    person: Person,
) -> _Move:
    harder = change_percent > 0
    kg = _kg_change(change_percent, rung, record, person)
    if prescription.added_load_kg and (harder or prescription.added_load_kg + (kg or 0) >= 0):
        share = _percent_of_body_mass(change_percent, rung, record)
        amount = f"{abs(kg):g} kg" if kg is not None else f"{abs(share):.0f} % of your body mass"
        return _Move(
            f"{rung.words}, about {amount} {'more' if harder else 'less'}",
            change_percent,
            added_load_change_kg=kg,
            how=_size(change_percent),
        )
    if rung.surface == "wall":
        step = "farther from" if harder else "nearer to"
        feet_cm = abs(change_percent) * _WALL_STEP_PER_LOAD * _stature_m(person)
        return _Move(
            f"against the wall, feet about {max(1, round(feet_cm))} cm {step} it",
            change_percent,
            how=_size(change_percent),
        )
    if rung.arms == "archer":
        return _neighbour(rung, harder)
    if harder and rung.arms == "one" and rung.surface == "floor":
        amount = f"{kg:g} kg" if kg is not None else "a few kilograms"
        return _Move(
            f"{rung.words}, about {amount} added",
            change_percent,
            added_load_change_kg=kg,
            how=_size(change_percent),
        )
    return _by_height(change_percent, kg, rung, variation, person)


def _by_height(
    change_percent: float,
    kg: float | None,
    rung: Rung,
    variation: Variation,
    person: Person,
) -> _Move:
    """A step by the height of hands or feet, found on the ladder's own load curve."""
    now = rung.height
    if rung.surface != "floor" and variation.surface_height.known:
        now = variation.surface_height.value
    load = rung.load_percent / 100 if rung.support == "knees" else _level_load(now)
    then = _height_of(load * (1 + change_percent / 100))
    highest, lowest = _data_heights()
    if then < lowest < now - 0.1:
        amount = _amount(change_percent, kg, load)
        return _Move(
            f"feet at the same height, about {amount} on the upper back",
            change_percent, added_load_change_kg=kg, how=_size(change_percent),
        )  # fmt: skip
    if then > highest or then < lowest:
        return _neighbour(rung, change_percent > 0)
    arm_cm = _arm_cm(person)
    of_body = (
        ""
        if person.metres_known
        else f" Centimetres are for a body of {USUAL_STATURE_M:.2f} m: give the stature for yours."
    )
    one = "one arm, " if rung.arms == "one" else ""
    how = _size(change_percent) + of_body
    if then >= LEAST_HEIGHT and now > 0:
        move_cm = round((then - now) * arm_cm)
        verb = "lower" if move_cm < 0 else "higher"
        return _Move(
            f"{one}hands raised, the surface about {abs(move_cm)} cm {verb}",
            change_percent, "hands", move_cm, how=how,
        )  # fmt: skip
    if then >= LEAST_HEIGHT:
        return _Move(
            f"{one}hands raised by about {round(then * arm_cm)} cm, on the toes",
            change_percent, "hands", round(then * arm_cm), how=how,
        )  # fmt: skip
    if then > -LEAST_HEIGHT or (now > 0 and then < 0) or (now < 0 and then > 0):
        reached = 100 * (_level_load(0.0) / load - 1)
        end: Literal["hands", "feet"] = "hands" if now > 0 else "feet"
        return _Move(
            f"{one}push-up on the floor", reached, end, -abs(round(now * arm_cm)),
            how=_size(reached) + of_body,
        )  # fmt: skip
    move_cm = round((min(now, 0.0) - then) * arm_cm)
    if now < 0:
        verb = "higher" if move_cm > 0 else "lower"
        words = f"feet raised, the surface about {abs(move_cm)} cm {verb}"
    else:
        words = f"feet raised by about {move_cm} cm"
    if change_percent > 0:
        other = _amount(change_percent, kg, load)
        words += f", or about {other} on the upper back"
    return _Move(words, change_percent, "feet", move_cm, kg if change_percent > 0 else None, how)


def _neighbour(rung: Rung, harder: bool) -> _Move:
    """The next rung up or down, where a step cannot be made by height."""
    rungs = ladder()
    place = rungs.index(rung) + (1 if harder else -1)
    if not 0 <= place < len(rungs):
        return _Move(rung.words)
    other = rungs[place]
    change = 100 * (other.working_arm_percent / rung.working_arm_percent - 1)
    return _Move(
        other.words,
        round(change),
        how=f"That is about {abs(change):.0f} % {'more' if change > 0 else 'less'} "
        f"on the working arm: {other.lever}."
        if abs(change) >= 1
        else f"The load stays: {other.lever}.",
    )


def _amount(change_percent: float, kg: float | None, load: float) -> str:
    """Weight on the upper back that changes the load on the hands so much, in words."""
    if kg is not None:
        return f"{kg:g} kg"
    return f"{change_percent * load / worn_load_share('back'):.0f} % of your body mass"


def _size(change_percent: float) -> str:
    more = "more" if change_percent > 0 else "less"
    return f"The step is about {abs(change_percent):.0f} % {more} load on the hands."


def _kg_change(
    change_percent: float, rung: Rung, record: SetRecord, person: Person
) -> float | None:
    """Kilograms to add, in half kilograms, so that the load on the hands changes so much."""
    if person.body_mass_kg is None:
        return None
    percent = _percent_of_body_mass(change_percent, rung, record)
    kg = percent / 100 * person.body_mass_kg
    return math.copysign(max(0.5, round(2 * abs(kg)) / 2), change_percent)


def _percent_of_body_mass(change_percent: float, rung: Rung, record: SetRecord) -> float:
    measured = record.load_fraction
    load = measured.value if measured and measured.known else rung.load_percent / 100
    return change_percent * load / worn_load_share("back")


def _tired(record: SetRecord, prescription: Prescription) -> bool:
    """Speed loss tells of tiredness only where every rep was meant to be as fast as possible."""
    fast = prescription.tempo is not None and prescription.tempo.concentric_s is None
    return fast and record.speed_loss_percent > float(_steps()["tired_speed_loss_percent"])


def _cautions(variation: Variation, prescription: Prescription, move: _Move) -> tuple[str, ...]:
    said = list(CAUTIONS)
    if variation.surface in ("hands_raised", "feet_raised") or "raised" in move.variation:
        said.append(RAISED_CAUTION)
    heavy = (
        prescription.added_load_kg or move.added_load_change_kg or "upper back" in move.variation
    )
    if heavy or variation.arms in ("archer", "one") or "one arm" in move.variation:
        said.append(SLOWLY_CAUTION)
    if prescription.rings:
        said.append(RINGS_CAUTION)
    return tuple(said)


def _needed_unseen(record: SetRecord) -> str:
    """What has to be seen before a step up and was not judged: ``the depth and the body line``."""
    unseen = (
        f"the {kind.judged.lower()}"
        for key, kind in fault_kinds().items()
        if kind.needed and key in record.not_judged
    )
    return " and ".join(dict.fromkeys(unseen))


def _named(faults: Sequence[Fault]) -> str:
    by_key: dict[str, set[int]] = {}
    for fault in faults:
        by_key.setdefault(fault.key, set()).add(fault.rep)
    return "; ".join(
        f"{fault_kinds()[key].name.lower()} ({rep_list(reps)})" for key, reps in by_key.items()
    )


def _stature_m(person: Person) -> float:
    return person.stature_m or USUAL_STATURE_M


def _arm_cm(person: Person) -> float:
    known = person if person.metres_known else Person(_stature_m(person), sex=person.sex)
    return arm_m(known).value * 100


@lru_cache
def _load_curve() -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Heights from high hands to high feet, and the load at each."""
    heights = np.linspace(1.6, -1.1, 28)
    return heights, np.array([plank_load(float(h), reach=None) for h in heights])


def _level_load(height: float) -> float:
    heights, loads = _load_curve()
    return float(np.interp(-height, -heights, loads))


def _height_of(load: float) -> float:
    heights, loads = _load_curve()
    if not loads[0] <= load <= loads[-1]:
        return math.copysign(math.inf, loads[0] - load)
    return float(np.interp(load, loads, heights))


def _data_heights() -> tuple[float, float]:
    heights, _ = _load_curve()
    return float(heights[0]), float(heights[-1])


def _steps() -> Mapping[str, float]:
    steps: Mapping[str, float] = _data()["steps"]
    return steps


@lru_cache
def _data() -> Mapping[str, Any]:
    return tomllib.loads(files("formcheck.advice").joinpath("ladder.toml").read_text("utf-8"))
