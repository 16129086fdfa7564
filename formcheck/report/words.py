"""How the report says things: names, numbers with their units, and how to film what was not seen.

Faults are named by their catalogue and values by their table; this adds what neither holds.
"""

from __future__ import annotations

import math
from typing import Literal

from formcheck.faults.catalogue import fault_kinds
from formcheck.faults.counting import TestResult
from formcheck.faults.limit_sets import DEFAULT, OWN, in_force
from formcheck.faults.limits import Limit, Limits
from formcheck.measures.values import rep_values
from formcheck.variation.recognise import Disagreement, Variation

FILM: dict[Literal["side", "front"], str] = {
    "side": "Film square from the side: camera level at shoulder height, 3 m or more away, whole "
    "body in the picture.",
    "front": "Film a second clip from the front: camera ahead of the head, between floor and waist "
    "height, both hands and elbows in the picture. Give both clips together.",
}
# What else can be left unjudged, by its key: name, and the view that would show it.
_OTHERS: dict[str, tuple[str, Literal["side", "front"] | None]] = {
    "surface": ("Support and surface", "side"),
    "protraction": ("Shoulder blades at the top", None),
    "tempo": ("Tempo", None),
    "arms": ("One arm or two", "front"),
    "trunk_rotation": ("Trunk rotation", None),
    "reps": ("Reps", None),
}

# What a push-up can be, by the value of its field in the variation.
VARIATIONS: dict[str, str] = {
    "toes": "on the toes",
    "knees": "on the knees",
    "floor": "hands on the floor",
    "hands_raised": "hands raised",
    "feet_raised": "feet raised",
    "wall": "against a wall",
    "diamond": "diamond hands",
    "close": "close hands",
    "normal": "hands at shoulder width",
    "wide": "wide hands",
    "two": "two arms",
    "archer": "archer",
    "one": "one arm",
}

TRUST = "Angles come from a camera: trust the ± more than the last digit."

ATTEMPTS: dict[str, str] = {
    "counted": "counted",
    "not_counted": "not counted",
    "aborted": fault_kinds()["aborted"].name.lower(),
    "failed": fault_kinds()["failed"].name.lower(),
}

VERDICTS: dict[str, str] = {"fault": "fault", "borderline": "too close to call"}
TOO_CLOSE = (
    "The value is beyond the limit, but by less than the measurement may err, so no fault is "
    "called. If depth or lockout was more likely missed than met, the rep does not count."
)

DIRECTIONS: dict[str, str] = {"easier": "Easier", "same": "Same again", "harder": "Harder"}

_UNITS: dict[str, tuple[str, int, float]] = {
    # unit in the report → how it is written behind the number, digits, and what it is times
    "deg": ("°", 0, 1.0),
    "s": (" s", 2, 1.0),
    "%": (" %", 0, 1.0),
    "% of the reps beside it": (" % of the reps beside it", 0, 1.0),
    "% of the way up": (" % of the way up", 0, 1.0),
    "share of body mass": (" % of body mass", 0, 100.0),
}


def variation_text(variation: Variation) -> str:
    """``on the toes, hands raised, wide hands``: what is known of the variation."""
    arms = None if variation.arms == "two" else variation.arms  # nobody says “two arms”
    parts = (variation.support, variation.surface, variation.hands, arms)
    return ", ".join(VARIATIONS[part] for part in parts if part)


def disagreement_text(found: Disagreement) -> str:
    """Where the user's word and the clip differ, and which of them counts."""
    sure = min(100 * found.sure, 99)
    return (
        f"You said {VARIATIONS[found.told]}; the clip looks like {VARIATIONS[found.seen]} "
        f"({sure:.0f} % sure). "
        + ("The width you gave is judged against." if found.about == "hands" else "Yours counts.")
    )


def score_text(test: TestResult) -> str:
    """How many reps of a named test count."""
    return {0: "none counts", 1: "1 counts"}.get(test.score, f"{test.score} count")


def phase_name(key: str) -> str:
    """``Lowering`` for ``eccentric``: the name of its time among the values of a rep."""
    return rep_values()[f"{key}_s"].label


def fault_name(key: str) -> str:
    """The name of a fault; one that left the catalogue is called by its key."""
    return fault_kinds()[key].name if key in fault_kinds() else key.replace("_", " ").capitalize()


def judged_name(key: str) -> str:
    """What is looked at under a key of ``not_judged``: ``Body line``, ``Tempo``."""
    if key in fault_kinds():
        return fault_kinds()[key].judged
    return rep_values()[key].label if key in rep_values() else _OTHERS[key][0]


def how_to_film(key: str) -> str:
    """How to film so that this can be judged; empty where filming is not what it lacks."""
    if key in fault_kinds():
        film = fault_kinds()[key].film
    else:
        film = rep_values()[key].film if key in rep_values() else _OTHERS[key][1]
    return FILM[film] if film else ""


def unit_name(unit: str) -> str:
    """The unit as it heads a column: ``°``, ``% of body mass``."""
    return _UNITS.get(unit, (unit, 2, 1.0))[0].strip()


def number(value: float, unit: str) -> str:
    """The number without its unit: ``104``, ``0.35``; a dash for what was not measured."""
    if not math.isfinite(value):
        return "–"
    _, digits, scale = _UNITS.get(unit, ("", 2, 1.0))
    text = f"{value * scale:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def with_unit(value: float | None, unit: str) -> str:
    """``104°``, ``0.35 s``; a dash for what was not measured."""
    if value is None or not math.isfinite(value):
        return "–"
    return number(value, unit) + _suffix(unit)


def plus_minus(value: float | None, uncertainty: float | None, unit: str) -> str:
    """``104° ± 5°``, ``1.29 ± 0.20 s``; without the half-width where there is none."""
    text = with_unit(value, unit)
    if uncertainty is None or not math.isfinite(uncertainty) or text == "–":
        return text
    if len(_suffix(unit)) > 1:
        text = text.removesuffix(_suffix(unit))  # say the unit once
    return f"{text} ± {with_unit(uncertainty, unit)}"


def limit_text(value: float, limit: float, unit: str) -> str:
    """``at most 90°``: the side of the limit that was left."""
    if not math.isfinite(limit):
        return "–"
    return f"{'at most' if value > limit else 'at least'} {with_unit(limit, unit)}"


def _suffix(unit: str) -> str:
    return _UNITS.get(unit, (f" {unit}", 2, 1.0))[0]


def _limit(limit: Limit) -> str:
    """The number of a limit as it was given, with its unit: no digit is rounded away."""
    number = "none" if math.isinf(limit.value) else f"{limit.value:g}{_suffix(limit.unit)}"
    return number.replace("-", "−")


def in_force_text(limits: Limits, standard: str | None) -> str:
    """Which limits were in force; empty for the default ones.

    ``strict``; ``your own: hips sag 8° instead of 12°``.
    """
    now = in_force(limits, standard)
    if now.name == DEFAULT:
        return ""
    if now.name != OWN:
        return now.title
    changed = ", ".join(
        f"{fault_name(key).lower()} {_limit(limit)} instead of {_limit(default)}"
        for key, (limit, default) in now.changed.items()
    )
    return f"{now.title}: {changed}"
