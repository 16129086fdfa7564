"""Sets of limits that ship, and telling which are in force."""

from __future__ import annotations

from pathlib import Path

import pytest

from formcheck.asked.standards import standards
from formcheck.faults.limit_sets import in_force, limit_sets, limits_text
from formcheck.faults.limits import default_limits, parse_limits, read_limits, with_values

TESTS = list(standards())


def test_there_are_sets_for_a_beginner_the_strict_and_each_test_standard() -> None:
    assert set(limit_sets()) == {"beginner", "strict", *TESTS}


@pytest.mark.parametrize("name", limit_sets())
def test_every_limit_of_a_set_says_why_and_who_says_so(name: str) -> None:
    one = limit_sets()[name]
    assert one.title and one.about and one.source
    defaults = default_limits()
    for key in one.changes:
        assert one.limits[key].reason != defaults[key].reason


@pytest.mark.parametrize("name", TESTS)
def test_a_test_standard_names_the_text_it_follows(name: str) -> None:
    """No published test gives an angle for lockout or for a straight body."""
    one = limit_sets()[name]
    assert one.source != "common practice"
    for key in ("soft_lockout", "hip_sag", "hip_pike"):
        assert "common practice" in one.limits[key].source
        assert key not in one.changes or one.source.split(",")[0][:8] in one.limits[key].source


def test_strict_is_stricter_and_beginner_milder_than_the_default_throughout() -> None:
    defaults = default_limits()
    for name, sign in (("strict", 1), ("beginner", -1)):
        for key, value in limit_sets()[name].changes.items():
            stricter = -1 if key == "soft_lockout" or key == "hip_pike" else 1
            assert sign * stricter * (defaults[key].value - value) > 0, (name, key)


def test_what_is_in_force_is_told_by_the_values() -> None:
    assert in_force(default_limits()).name == "default"
    for name, one in limit_sets().items():
        told = in_force(one.limits, standard=name).name
        assert told == (name if one.changes else "default")
    mine = in_force(with_values(default_limits(), {"hip_sag": 9.0}))
    assert mine.name == "own" and list(mine.changed) == ["hip_sag"]
    now, was = mine.changed["hip_sag"]
    assert (now.value, was.value) == (9.0, 12.0)


def test_a_set_is_read_by_its_name() -> None:
    assert read_limits(Path("strict"))["hip_sag"].value == limit_sets()["strict"].changes["hip_sag"]


def test_limits_written_out_read_back_the_same() -> None:
    mine = with_values(limit_sets()["strict"].limits, {"shallow": 101.5})
    again, problems = parse_limits(limits_text(mine))
    assert not problems and dict(again) == dict(mine)
