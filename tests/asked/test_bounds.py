from __future__ import annotations

import math
from typing import Any

import pytest

from formcheck.asked.bounds import AskedError
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e308, -1.0, 0.49, "tall", True])
def test_a_body_nobody_has_is_refused(value: Any) -> None:
    with pytest.raises(AskedError, match=r"a stature must lie between 0\.5 and 2\.6 m"):
        Person(stature_m=value)


@pytest.mark.parametrize("value", [math.nan, math.inf, -0.1, 401.0, 10**400])
def test_a_load_nobody_wears_is_refused(value: Any) -> None:
    with pytest.raises(AskedError, match="an added load"):
        Prescription(added_load_kg=value)


@pytest.mark.parametrize(
    "asked", [{"target_reps": 0}, {"rep_range": (5, 10**9)}, {"reps_left": -1}, {"standard": "x"}]
)
def test_a_set_nobody_does_is_refused(asked: dict[str, Any]) -> None:
    with pytest.raises(AskedError):
        Prescription(**asked)


def test_what_is_not_told_and_what_people_are_is_taken() -> None:
    assert Person() == Person(None, None, None)
    assert Person(1.5, 42.0, "female").stature_m == 1.5
    assert Prescription(added_load_kg=20, target_reps=12, rep_range=(8, 15)).target_reps == 12
