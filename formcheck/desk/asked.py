"""What a form of the page says of a set: kept as typed, checked once, turned into a job."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, cast, get_args

from formcheck.asked.prescription import (
    Arms,
    Counts,
    HandSpacing,
    Pain,
    Prescription,
    Support,
    Surface,
    WorkingArm,
)
from formcheck.asked.standards import RangeStandard, standards
from formcheck.asked.tempo import parse_tempo
from formcheck.batch.roster import Told
from formcheck.errors import FormcheckError
from formcheck.faults.limit_sets import limit_sets
from formcheck.log.person import person_name
from formcheck.plain import plain
from formcheck.pose.model import DEFAULT_MODEL, SHIPPED_MODELS

_MOST_REPS = 1000
_MOST_KG = 200.0
LONGEST_NOTE = 500


class AskedWrongError(FormcheckError):
    """A field of the form does not say what it should."""


@dataclass(frozen=True)
class Asked:
    """The fields as typed; empty where nothing was said."""

    person: str = ""
    tempo: str = ""
    target_reps: str = ""
    range_standard: str = "elbow-90"
    counts: str = "range"
    support: str = ""
    surface: str = ""
    arms: str = ""
    working_arm: str = ""
    hands: str = ""
    added_load_kg: str = ""
    limits: str = ""
    standard: str = ""
    model: str = ""
    reps_left: str = ""
    pain: str = ""
    note: str = ""

    @property
    def prescription(self) -> Prescription:
        """Raises FormcheckError where a field cannot be understood."""
        return Prescription(
            tempo=parse_tempo(self.tempo) if self.tempo else None,
            target_reps=_whole(self.target_reps, least=1),
            reps_left=_whole(self.reps_left, least=0),
            range_standard=cast("RangeStandard", _word(self.range_standard, RangeStandard)),
            counts=cast("Counts", _word(self.counts, Counts)),
            support=cast("Support | None", _word(self.support, Support)),
            surface=cast("Surface | None", _word(self.surface, Surface)),
            arms=cast("Arms | None", _word(self.arms, Arms)),
            working_arm=cast("WorkingArm | None", self._working_arm),
            hands=cast("HandSpacing | None", _word(self.hands, HandSpacing)),
            added_load_kg=_kg(self.added_load_kg),
            pain=cast("Pain | None", _word(self.pain, Pain)),
            standard=_one_of(self.standard, standards()),
        )

    @property
    def _working_arm(self) -> str | None:
        which = _word(self.working_arm, WorkingArm)
        if which and self.arms not in ("archer", "one"):
            raise AskedWrongError("choose archer or one arm where you say which arm worked.")
        return which

    @property
    def limit_values(self) -> dict[str, float]:
        """Limits that differ from the default ones. Raises FormcheckError."""
        name = _one_of(self.limits, limit_sets())
        return limit_sets()[name].changes if name else {}

    @property
    def model_asked(self) -> str:
        """The landmark model's name. Raises FormcheckError."""
        return _one_of(self.model, SHIPPED_MODELS) or DEFAULT_MODEL


# What a form says of the set that is asked for.
PRESCRIBED = tuple(
    one.name for one in fields(Asked) if one.name in Prescription.__dataclass_fields__
)
# What is the same from one set of a person to the next; the others are of the day.
REMEMBERED = tuple(
    one.name for one in fields(Asked) if one.name not in ("reps_left", "pain", "note")
)


def asked_from(said: Mapping[str, Any]) -> Asked:
    """The fields of a form, checked. Raises FormcheckError."""
    values = {}
    for one in fields(Asked):
        value = said.get(one.name, one.default)
        if not isinstance(value, str):
            raise AskedWrongError(f"“{one.name}” has to be a text.")
        values[one.name] = plain(value.strip())
    usual = {name: values[name] or getattr(Asked, name) for name in ("range_standard", "counts")}
    asked = Asked(**{**values, **usual})
    if person := said.get("person"):
        person_name(person)
    if len(asked.note) > LONGEST_NOTE:
        raise AskedWrongError(f"a remark has at most {LONGEST_NOTE} letters.")
    _ = asked.prescription, asked.limit_values, asked.model_asked
    return asked


def as_told(asked: Asked, told: Told) -> Asked:
    """The fields of a form with what a roster says of a clip over them."""
    said = {name: getattr(told.prescription, name) for name in PRESCRIBED}
    return replace(
        asked,
        person=plain(told.name or asked.person),
        note=plain(told.note or asked.note)[:LONGEST_NOTE],
        **{name: _text(value) for name, value in said.items()},
    )


def _text(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}" if value else ""
    return "" if value is None else str(value)


def _word(text: str, words: Any) -> str | None:
    return _one_of(text, get_args(words))


def _one_of(text: str, words: Collection[str]) -> str | None:
    if text and text not in words:
        raise AskedWrongError(f"“{text}” is none of {', '.join(words)}.")
    return text or None


def _whole(text: str, least: int) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and least <= int(text[:6]) <= _MOST_REPS):
        raise AskedWrongError(f"“{text}” is no number of reps: give {least} to {_MOST_REPS}.")
    return int(text)


def _kg(text: str) -> float:
    try:
        kg = float(text.replace(",", ".") or 0.0)
    except ValueError:
        kg = -1.0
    if not 0.0 <= kg <= _MOST_KG:
        raise AskedWrongError(f"“{text}” is no weight: give 0 to {_MOST_KG:g} kg.")
    return kg
