"""The advice in words: what comes out of ``formcheck.advice`` is codes and numbers.

Every sentence of the next step stands here, as a coach would say it to the trainee.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from formcheck.advice.decide import STAYED_DOWN_PERCENT
from formcheck.advice.ladder import Exercise
from formcheck.advice.step import Caution, Move, NextStep
from formcheck.asked.standards import RangeStandard
from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.counting import TestResult
from formcheck.report.words import score_text
from formcheck.reps.find import rep_list

CAUTIONS: Mapping[Caution, str] = {
    "pain": "Stop on pain in wrists, elbows, shoulders or back, and on dizziness or pressure in "
    "the chest.",
    "not_medical": "This is training advice from a video, not a medical judgement.",
    "professional": "After an injury or with a condition, a qualified professional decides what "
    "you train.",
    "supports": "Raise hands or feet only on supports that cannot slip, tip or roll.",
    "slowly": "Build up weighted and one-arm work slowly, over weeks.",
    "rings": "Check the ring straps and their anchor before every set.",
}
ALWAYS_CAUTIONS = tuple(CAUTIONS[one] for one in ("pain", "not_medical", "professional"))
_PAIN = {
    "wrist": "the wrist", "elbow": "the elbow", "shoulder": "the shoulder", "back": "the back",
    "other": "the place that hurts",
}  # fmt: skip
_ENDED = {
    "corrections": "the correction at rep {rep} ended the test",
    "time": "time was up at rep {rep}",
    "reps": "with rep {rep} the most reps of the test were reached",
    "rest": "a rest at the bottom of rep {rep} ended the test",
}
_WEIGHED = {"range": "range", "line": "body line", "flare": "elbow flare"}


def variation_words(step: NextStep) -> str:
    """What to do next, in a line."""
    exercise, move = step.exercise, step.move
    name = exercise_words(exercise)
    if move.kind == "rest":
        return f"rest {_PAIN[step.pain or 'other']}; see a professional before you train it again"
    if move.kind == "hold":
        return f"hold at the top of the {name}"
    if move.kind == "first_reps":
        return f"first reps of the {name}: sets of 3 to 5"
    said = _moved(move, exercise, name)
    if step.instead is not None:
        said += f"; or {_moved(step.instead, exercise, name, alone=False)}"
    return said


def exercise_words(exercise: Exercise) -> str:
    """The exercise in a few words: ``diamond push-up on the floor, in rings``."""
    where = {
        "wall": "against a wall",
        "hands_raised": "with the hands raised",
        "feet_raised": "with the feet raised",
        "floor": "on the floor",
        None: "",
    }[exercise.surface]
    name = f"{_kind(exercise)} {where}".strip()
    if exercise.support == "knees":
        name = f"{_kind(exercise)} on the knees"
        name += ", hands raised" if exercise.surface == "hands_raised" else ""
    return name + _extras(exercise)


def why_words(step: NextStep) -> tuple[str, ...]:
    """The reasons, a sentence each."""
    said = [_SENTENCES[reason.code](reason.data) for reason in step.why]
    if step.ways and step.direction != "same":
        said.append("Without equipment: " + ", or ".join(way.words for way in step.ways[:2]) + ".")
    return tuple(sentence for sentence in said if sentence)


def caution_words(step: NextStep) -> tuple[str, ...]:
    """What to mind."""
    return tuple(CAUTIONS[caution] for caution in step.cautions)


def _kind(exercise: Exercise) -> str:
    if exercise.arms in ("archer", "one"):
        return {"archer": "archer push-up", "one": "one-arm push-up"}[exercise.arms]
    hands = {"diamond": "diamond push-up", "close": "close push-up", "wide": "wide push-up"}
    return hands.get(exercise.hands or "", "push-up")


def _extras(exercise: Exercise) -> str:
    said = ""
    if exercise.rings:
        said += ", in rings" + (" turned out at the top" if exercise.rings_turned_out else "")
    if exercise.added_load_kg:
        said += f", {exercise.added_load_kg:g} kg added"
    return said


def _moved(move: Move, exercise: Exercise, name: str, alone: bool = True) -> str:
    """The exercise with what changes of it; without its name where another change named it."""
    kind = _kind(exercise) + (", in rings" if exercise.rings else "")
    if move.kind == "weight":
        more = "more" if exercise.added_load_kg else "on the upper back"
        size = f"{abs(move.kg):g} kg" if move.kg is not None else None
        if move.kg is not None and exercise.added_load_kg:
            then = vars(exercise) | {"added_load_kg": exercise.added_load_kg + move.kg}
            return f"{exercise_words(Exercise(**then))} ({size} more)"
        size = size or f"{abs(move.body_percent or 0):g} % of your body mass"
        return f"{name}, about {size} {more}" if alone else f"about {size} {more}"
    if move.kind == "vest_off":
        bare = exercise_words(Exercise(**{**vars(exercise), "added_load_kg": 0.0}))
        return f"{bare}, without the {exercise.added_load_kg:g} kg"
    if move.kind == "turn_out":
        return f"{name}, rings turned out at the top"
    if move.kind == "way" and move.way is not None:
        return f"{name}: {move.way.words}"
    if move.kind == "earlier" and move.named is not None:
        return move.named
    if move.kind == "rung" and move.rung is not None:
        return move.rung.words
    cm = round(move.change_cm or 0)
    if move.kind == "wall_feet":
        return f"{name}, feet about {abs(cm)} cm {'farther from' if cm > 0 else 'nearer to'} it"
    if move.kind == "toes":
        return f"{kind} on the toes, hands raised by about {cm} cm"
    if move.kind == "floor":
        return f"{kind} on the floor"
    if move.kind in ("hands", "feet"):
        knees = " on the knees" if exercise.support == "knees" else ""
        # Where it does not show what they stood on, they are set against this time, too.
        raised = exercise.surface in (f"{move.kind}_raised", None)
        how = f"raised by about {cm} cm"
        if raised:
            how = f"about {abs(cm)} cm {'higher' if cm > 0 else 'lower'} than this time"
        return f"{kind}{knees}, {move.kind} {how}"
    return name


def _score(data: Mapping[str, Any]) -> str:
    unclear, attempts, target = data["unclear"], data["attempts"], data["target"]
    clean = data["clean"] - unclear  # as the headline counts them
    done = f"{clean} of {attempts} reps clean"
    if attempts == 1:
        done = "One rep, clean" if clean else "One rep" if unclear else "No clean rep"
    if unclear:
        done += f", {unclear} too close to call" if attempts > 1 else ", too close to call"
    if target:
        return f"{done}; {target} asked."
    if data["test"] or data["reached"]:
        return f"{done}."
    low, high = data["range"]
    return f"{done}; the aim is {low} to {high} before the next step."


def _pain(data: Mapping[str, Any]) -> str:
    where = "" if data["where"] == "other" else f" in {_PAIN[data['where']]}"
    return f"Pain was reported{where}: that comes before any count."


def _rested(data: Mapping[str, Any]) -> str:
    rests_s = data["rests_s"]
    longest, after = f"{max(rests_s.values()):.0f} s", rep_list(sorted(rests_s))
    made = f"A rest of {longest} after {after} makes two sets"
    if len(rests_s) > 1:
        made = f"Rests of up to {longest} after {after} make {len(rests_s) + 1} sets"
    return f"{made} of it: what counts is one of them."


def _failed(data: Mapping[str, Any]) -> str:
    up = data["up_percent"]
    if up < STAYED_DOWN_PERCENT:
        return f"Rep {data['rep']} failed: it went down and stayed down."
    return f"Rep {data['rep']} failed: the press stopped {up:.0f} % of the way up."


def _test(data: Mapping[str, Any]) -> str:
    result: TestResult = data["result"]
    said = f"{_capital(result.standard.name)}: {score_text(result)}"
    if result.ended_by is not None:
        said += f"; {_ENDED[result.ended_by].format(rep=result.ended_at_rep)}"
    return said + "."


def _broke_down(data: Mapping[str, Any]) -> str:
    faults = data["faults"]
    # What only this rep has needs no list of reps.
    alone = all(list(reps) == [data["rep"]] for reps in faults.values())
    named = "; ".join(fault_kinds()[key].name.lower() for key in faults)
    what = named if alone else _named(faults)
    return f"Rep {data['rep']} was the first to break down: {what}."


def _named(faults: Mapping[str, Sequence[int]]) -> str:
    kinds = fault_kinds()
    return "; ".join(
        f"{kinds[key].name.lower()} ({rep_list(reps)})" for key, reps in faults.items()
    )


def _faults_allowed(data: Mapping[str, Any]) -> str:
    named = _named(data["faults"])
    if data["allowed"] is None:
        return f"What came after them does not stand in the way: {named}."
    return (
        f"{data['allowed']} of {data['wanted']} may have a fault, so this does not stand in the "
        f"way: {named}."
    )


def _remedy(data: Mapping[str, Any]) -> str:
    kind = fault_kinds()[data["key"]]
    drill = kind.remedy(data["when"] == "late", data["end_said"])
    return f"Against “{kind.name.lower()}”: {drill[:1].lower()}{drill[1:]}"


def _unseen(data: Mapping[str, Any]) -> str:
    kinds = fault_kinds()
    what = " and ".join(dict.fromkeys(f"the {kinds[key].judged.lower()}" for key in data["keys"]))
    if data["reps"]:
        return f"This view does not show {what} of {rep_list(data['reps'])}: film them too."
    then = "film it, and if it is good, take the next step" if data["reached"] else "film it too"
    return f"This view does not show {what}: {then}."


def _load(data: Mapping[str, Any]) -> str:
    mass = data["body_mass_kg"]
    now, plus_minus, then = data["now"], data["plus_minus"], data["then"]

    def share(value: float) -> str:
        return f"{100 * value:.0f} %"

    of_mass = f" ({now * mass:.0f} ± {plus_minus * mass:.0f} kg)" if mass else ""
    said = f"The hands carried about {share(now)} ± {share(plus_minus)} of body mass{of_mass}"
    if then is not None:
        after = f" ({then * mass:.0f} kg)" if mass else ""
        said += f"; next time about {share(then)}{after}"
    return said + "."


def _no_size(data: Mapping[str, Any]) -> str:
    hidden = "This view does not show what the hands and feet stand on"
    if data["direction"] == "harder":
        return f"{hidden}: film from the side before you make it harder."
    knees = "" if data["on_knees"] else " If that is still too hard, go on the knees."
    return f"{hidden}; film from the side to have the step measured.{knees}"


def _depth_asked(standard: RangeStandard) -> str:
    return fault_kinds()["shallow"].criterion(standard).asked


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _doubt(data: Mapping[str, Any]) -> str:
    return "; what is too close to call counts for you" if data["unclear"] else ""


def _size(data: Mapping[str, Any]) -> str:
    percent = data["percent"]
    way = "more" if percent > 0 else "less"
    return f"The step is about {abs(percent):.0f} % {way} load on the hands."


def _plain(text: str) -> Any:
    return lambda data: text.format(**data)


_SENTENCES: Mapping[str, Any] = {
    "log": lambda data: data["says"],
    "pain": _pain,
    "negatives": _plain(
        "All {reps} reps were lowered and none was pressed up, as in negatives: lower for 3 to 5 "
        "seconds in each, and once that stays even, try whole reps. If they were meant to be "
        "pressed up, raise the hands."
    ),
    "failed": _failed,
    "score": _score,
    "test": _test,
    "target_met": lambda data: f"The target of {data['target']} is met{_doubt(data)}.",
    "range_met": lambda data: f"{data['high']} good reps earn the next step{_doubt(data)}.",
    "far_above": _plain("{clean} clean reps: the load is far too small, so the step is a big one."),
    "one_rep": _plain("One rep says little: do a whole set."),
    "few_reps": _plain("Too few reps for a step: build up the reps first."),
    "build_reps": lambda data: (
        f"Add reps before load, until {data['high']} are clean."
        if data["low"] == data["high"]
        else f"Add reps before load: one or two a session, from {data['low']} up to {data['high']}."
    ),
    "range_first": _plain("Full range in every rep comes before more reps."),
    "rested": _rested,
    "short_of_target": _plain("The set ended after {done} clean reps, less than half of {target}."),
    "broke_down": _broke_down,
    "too_heavy": _plain("It broke down early: make it lighter and build it up again."),
    "end_earlier": _plain("End the set while it is still good, after rep {after}."),
    "other_faults": lambda data: f"Clean this up first: {_named(data['faults'])}.",
    "faults_allowed": lambda data: _faults_allowed(data) if data["faults"] else "",
    "not_counted": lambda data: (
        f"{data['reps']} {'rep' if data['reps'] == 1 else 'reps'} did not count: the "
        f"{'range or the line' if data['line'] else 'range'} was probably missed."
    ),
    "go_lower": lambda data: (
        f"The elbows bend to 90° and more, but what was asked is {_depth_asked(data['standard'])}: "
        "go all the way down before anything is made lighter."
    ),
    "unseen": _unseen,
    "unclear": lambda data: (
        f"{_capital(rep_list(data['reps']))} came so close to the limit of the "
        f"{_WEIGHED[data['what']]} that the measurement cannot tell."
    ),
    "drops": _plain(
        "The way down took only {eccentric_s:.1f} s: that is a drop. Control comes first: lower "
        "for two seconds in every rep."
    ),
    "none_left": _plain("It took all you had: do it again with a rep or two in reserve."),
    "plenty_left": _plain("{left} reps were left, so the step may be bigger."),
    "slowed": _plain("The press slowed by {percent:.0f} % from the fastest rep to the last."),
    "ground": _plain(
        "The last press took {last_s:.1f} s, the fastest {fastest_s:.1f} s: that was the end of "
        "the set."
    ),
    "remedy": _remedy,
    "hold": _plain(
        "Held for {held_s:.0f} s; {needed_s:.0f} s with an unbroken line are enough to go on to "
        "reps."
    ),
    "hold_broke": _plain(
        "The body line was lost after {after_s:.0f} s: end the hold there, and build up from it."
    ),
    "hold_unclear": _plain(
        "After {after_s:.0f} s the line came so close to its limit that the measurement cannot "
        "tell."
    ),
    "hold_unseen": _plain("The body line does not show here: film from the side."),
    "hold_earns_reps": _plain("The line held: that earns reps of the same push-up."),
    "nothing": _plain("No rep was found, so there is nothing to build on."),
    "no_size": _no_size,
    "load": _load,
    "size": _size,
    "load_stays": lambda data: "The load stays" + (f": {data['lever']}." if data["lever"] else "."),
    "usual_stature": _plain(
        "Centimetres are for a body of {stature_m:.2f} m: give the stature for yours."
    ),
    "vest_first": _plain("The added weight comes off first; the push-up stays."),
    "way": _plain("{words}."),
}
