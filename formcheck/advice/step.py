"""The next set: the exercise kept, and changed by a step that can be made with what is there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from formcheck.advice.decide import Decision, Reason, SetRecord, decide
from formcheck.advice.ladder import (
    Direction,
    Exercise,
    Rung,
    Way,
    exercise_of,
    height_of,
    heights,
    ladder,
    level_load,
    nearest_rung,
    steps,
    ways,
)
from formcheck.asked.person import Person
from formcheck.asked.prescription import Pain, Prescription
from formcheck.measures.plank import worn_load_share
from formcheck.variation.recognise import Variation
from formcheck.variation.segments import arm_m

USUAL_STATURE_M = 1.74  # de Leva 1996's reference bodies; used, and said, when none was given

# On a wall: how far the feet move, in statures, for load changed by its whole self. The segment
# model with the hands 2.0 to 2.4 arm lengths up: 0.16 of stature for 0.62 of the middle load.
_WALL_STEP_PER_LOAD = 0.26
LEAST_HEIGHT = 0.12  # arm lengths (6 cm): a lower surface is not worth raising hands or feet on

Kind = Literal[
    "same", "hands", "feet", "floor", "toes", "wall_feet", "weight", "vest_off", "turn_out", "way",
    "rung", "hold", "first_reps", "rest", "earlier",
]  # fmt: skip
Caution = Literal["pain", "not_medical", "professional", "supports", "slowly", "rings"]


@dataclass(frozen=True)
class Move:
    """What changes. ``kind``: the height of ``hands`` or ``feet``, from them to the ``floor``, from
    the knees to the ``toes``, the feet at a wall, the ``weight``, the ``vest_off``, rings turned
    out, a ``way`` or a ``rung`` of the ladder; nothing (``same``), only holding it (``hold``),
    ``first_reps`` of it, or ``rest``; or an ``earlier`` set that is ``named``.

    ``change_cm`` of the raised end (+ higher) or of the feet at the wall (+ farther from it);
    ``percent`` of the load on the hands; ``kg`` worn (+ more). None where it does not change.
    """

    kind: Kind
    percent: float | None = None
    change_cm: float | None = None
    kg: float | None = None
    body_percent: float | None = None  # the weight as a share of body mass, where that is unknown
    way: Way | None = None
    rung: Rung | None = None
    named: str | None = None


@dataclass(frozen=True)
class NextStep:
    """What to do next, in codes and numbers.

    ``exercise`` as it was done, ``move`` what changes, ``instead`` another way to make the same
    step, ``ways`` that need no equipment.
    """

    direction: Direction
    exercise: Exercise
    move: Move
    why: tuple[Reason, ...]
    cautions: tuple[Caution, ...]
    instead: Move | None = None
    ways: tuple[Way, ...] = field(default=())
    pain: Pain | None = None

    @property
    def load_change_percent(self) -> float | None:
        return self.move.percent

    @property
    def surface_end(self) -> Literal["hands", "feet"] | None:
        """The end whose height changes."""
        move = self.move
        if move.kind in ("hands", "feet"):
            return move.kind
        if move.kind == "toes":
            return "hands"
        if move.kind == "floor":
            return "hands" if self.exercise.height > 0 else "feet"
        return None

    @property
    def surface_change_cm(self) -> float | None:
        return self.move.change_cm if self.surface_end else None

    @property
    def added_load_change_kg(self) -> float | None:
        return self.move.kg if self.move.kg is not None or not self.instead else self.instead.kg


def next_step(
    record: SetRecord,
    variation: Variation,
    asked: Prescription,
    person: Person | None = None,
) -> NextStep:
    """Decide easier, same or harder from one set, and by how much."""
    person = person or Person()
    exercise = exercise_of(variation, asked)
    decision = decide(record, asked)
    why = decision.why
    move, instead = Move("same"), None
    other_ways: tuple[Way, ...] = ()
    if asked.pain is not None:
        move = Move("rest")
    elif record.attempts == 0 and record.hold is not None and decision.direction != "easier":
        move = Move("first_reps" if decision.direction == "harder" else "hold")
    elif decision.direction != "same":
        rung = nearest_rung(exercise)
        if rung is None:
            move, unsized = _unsized(decision.direction, exercise, person)
            why = (*why, *unsized)
        else:
            offered = ways(decision.direction, exercise, record.eccentric_s, record.bottom_pause_s)
            base = _base_load(record, rung)
            done = _Done(exercise, rung, base, person, offered)
            move, instead, sized = _sized(decision, done, record)
            why = (*why, *sized)
            other_ways = tuple(way for way in offered if way != move.way)
    return NextStep(
        decision.direction,
        exercise,
        move,
        why,
        _cautions(exercise, move, instead, asked),
        instead,
        other_ways,
        asked.pain,
    )


def _unsized(direction: Direction, exercise: Exercise, person: Person) -> tuple[Move, list[Reason]]:
    """A step from a push-up whose hands and feet stand on nothing that shows: easier the hands go
    up by as much as they would from the floor."""
    if direction == "harder":
        return Move("same"), [Reason("no_size", {"direction": direction})]
    if exercise.added_load_kg:
        return Move("vest_off", kg=-exercise.added_load_kg), [Reason("vest_first")]
    then = height_of(level_load(0.0) * (1 - steps()["easier_percent"] / 100))
    why = [Reason("no_size", {"direction": direction, "on_knees": exercise.support == "knees"})]
    if not person.metres_known:
        why.append(Reason("usual_stature", {"stature_m": USUAL_STATURE_M}))
    return Move("hands", change_cm=round(then * _arm_cm(person))), why


@dataclass(frozen=True)
class _Done:
    """What a step starts from: the exercise, its rung and ``base`` load, who did it, and the ways
    ``offered`` that are not gone already."""

    exercise: Exercise
    rung: Rung
    base: float
    person: Person
    offered: Sequence[Way]

    def by_way(self) -> Move:
        """The first of the ways; the same again where there is none."""
        return Move("way", way=self.offered[0]) if self.offered else Move("same")

    def by_weight(self, change: float) -> Move:
        """Weight on the upper back that changes the load on the hands so much."""
        body_percent = change * self.base / worn_load_share("back")
        if self.person.body_mass_kg is None:
            return Move("weight", change, body_percent=round(body_percent))
        kg = body_percent / 100 * self.person.body_mass_kg
        return Move("weight", change, kg=math.copysign(max(0.5, round(2 * abs(kg)) / 2), change))

    def without_weight(self) -> float | None:
        """How much less load (%) the hands bear once the weight is off; None without a mass."""
        if self.person.body_mass_kg is None:
            return None
        worn = self.exercise.added_load_kg / self.person.body_mass_kg * worn_load_share("back")
        return -100 * worn / self.base


def _sized(
    decision: Decision, done: _Done, record: SetRecord
) -> tuple[Move, Move | None, list[Reason]]:
    """The step, another way to make it, and what is to be said of its size.

    One physics: the load it starts from is the one that was measured, where it was, and the
    ladder's otherwise; a step by height changes it by the ladder's ratio, a step by weight by the
    same share of the same load.
    """
    figures, harder = steps(), decision.direction == "harder"
    percent = figures["bigger_percent" if decision.bigger else "harder_percent"]
    change = percent if harder else -figures["easier_percent"]
    move, instead = _move(change, done)
    person, why = done.person, []
    measured = record.load_fraction
    if measured is not None and measured.known:
        then = measured.value * (1 + (move.percent or 0) / 100)
        mass_kg = person.body_mass_kg
        why.append(
            Reason(
                "load",
                {"now": measured.value, "plus_minus": measured.plus_minus,
                 "then": then if move.percent else None, "body_mass_kg": mass_kg},
            )
        )  # fmt: skip
    if move.kind == "vest_off":
        why.append(Reason("vest_first"))
    if move.percent:
        why.append(Reason("size", {"percent": move.percent}))
    elif move.kind in ("turn_out", "way", "rung"):
        lever = move.rung.lever if move.rung else None
        why.append(Reason("load_stays", {"lever": lever}))
    if move.change_cm is not None and not person.metres_known:
        why.append(Reason("usual_stature", {"stature_m": USUAL_STATURE_M}))
    return move, instead, why


def _move(change: float, done: _Done) -> tuple[Move, Move | None]:
    exercise, rung = done.exercise, done.rung
    harder = change > 0
    if exercise.added_load_kg:
        if harder:
            return done.by_weight(change), None
        return Move("vest_off", done.without_weight(), kg=-exercise.added_load_kg), None
    if rung.surface == "wall":
        feet_cm = max(1.0, round(abs(change) * _WALL_STEP_PER_LOAD * _stature_m(done.person)))
        return Move("wall_feet", change, feet_cm if harder else -feet_cm), None
    if exercise.rings and not exercise.rings_turned_out and harder:
        return Move("turn_out"), None
    if exercise.support == "knees":
        return _from_the_knees(change, done), None
    return _by_height(change, done)


def _from_the_knees(change: float, done: _Done) -> Move:
    """On two arms up to the toes, hands raised; else the same with a way that adds no load, since
    one arm on the toes is a leap. Easier: a way down, or the hands raised on the knees."""
    exercise, rung, arm_cm = done.exercise, done.rung, _arm_cm(done.person)
    if change > 0 and exercise.arms in (None, "two"):
        then = height_of(rung.load * (1 + change / 100))
        return Move("toes", change, round(then * arm_cm))
    if change > 0:
        return done.by_way()
    # The share that the knees take off is taken to stay as the hands rise.
    factor = (rung.of_floor or 1.0) if rung.surface == "floor" else 1.0
    then = height_of(rung.load * (1 + change / 100) / factor)
    return Move("hands", change, round(then * arm_cm))


def _by_height(change: float, done: _Done) -> tuple[Move, Move | None]:
    """A step by the height of hands or feet, found on the ladder's own load curve."""
    exercise, rung = done.exercise, done.rung
    now = exercise.height if math.isfinite(exercise.height) else rung.height
    now = 0.0 if rung.surface == "floor" else now
    load = level_load(now)
    then = height_of(load * (1 + change / 100))
    highest, lowest = heights()
    weight = done.by_weight(change) if change > 0 and exercise.arms != "archer" else None
    if then < lowest or (exercise.arms == "one" and change > 0 and now <= 0):
        # Feet as high as they go; and one arm is not trained with the feet raised.
        move = weight or done.by_way()
        return move, _one_hand_up(exercise) if then < lowest else None
    if then > highest:
        return _neighbour(rung, exercise), None
    arm_cm = _arm_cm(done.person)
    if LEAST_HEIGHT > then > -LEAST_HEIGHT or (now > 0 > then) or (now < 0 < then):
        if now == 0:
            return (weight or done.by_way()), None
        reached = 100 * (level_load(0.0) / load - 1)
        return Move("floor", reached, -abs(round(now * arm_cm))), None
    if then > 0:
        return Move("hands", change, round((then - max(now, 0.0)) * arm_cm)), None
    return Move("feet", change, round((min(now, 0.0) - then) * arm_cm)), weight


def _one_hand_up(exercise: Exercise) -> Move | None:
    """From the highest feet, without a weight: hands at two heights, where the hands are free."""
    narrow = exercise.hands in ("close", "diamond")
    if exercise.arms not in (None, "two") or exercise.rings or narrow:
        return None
    return Move("rung", rung=next(rung for rung in ladder() if rung.uneven))


def _neighbour(rung: Rung, exercise: Exercise) -> Move:
    """The next rung down with as many arms, where a step cannot be made by height."""
    below = [other for other in ladder() if other.arms == rung.arms]
    place = below.index(rung) if rung in below else 0
    if place == 0:
        return Move("same")
    other = below[place - 1]
    return Move("rung", round(100 * (other.working_load / rung.working_load - 1)), rung=other)


def _base_load(record: SetRecord, rung: Rung) -> float:
    measured = record.load_fraction
    return measured.value if measured is not None and measured.known else rung.load


def _stature_m(person: Person) -> float:
    return person.stature_m or USUAL_STATURE_M


def _arm_cm(person: Person) -> float:
    known = person if person.metres_known else Person(USUAL_STATURE_M, sex=person.sex)
    return arm_m(known).value * 100


def _cautions(
    exercise: Exercise, move: Move, instead: Move | None, asked: Prescription
) -> tuple[Caution, ...]:
    """Once, where the advice is."""
    said: list[Caution] = ["pain", "not_medical", "professional"]
    if asked.pain is not None:
        return ("not_medical", "professional")
    raised = exercise.surface in ("hands_raised", "feet_raised") and move.kind != "floor"
    if raised or move.kind in ("hands", "feet", "toes"):
        said.append("supports")
    weighted = move.kind == "weight" or (instead is not None and instead.kind == "weight")
    if exercise.added_load_kg or weighted or exercise.arms in ("archer", "one"):
        said.append("slowly")
    if exercise.rings:
        said.append("rings")
    return tuple(said)
