"""Lengths and masses as people type them; inch, foot and pound are exact by definition."""

from __future__ import annotations

import pytest

from formcheck.asked.units import UnitsError, length_m, mass_kg


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("178", 1.78), ("178 cm", 1.78), ("1.78 m", 1.78), ("1,78m", 1.78), ("1780 mm", 1.78),
        ("70 in", 1.778), ("70in", 1.778), ("5 ft 10 in", 1.778), ("5ft10", 1.778),
        ("5'10\"", 1.778), ("5’10”", 1.778), ("6 ft", 1.8288), ("13 in", 0.3302),
    ],
)  # fmt: skip
def test_a_length_is_read_in_any_of_its_units(text: str, metres: float) -> None:
    assert length_m(text) == pytest.approx(metres)


@pytest.mark.parametrize(
    ("text", "kg"), [("82", 82.0), ("82.5kg", 82.5), ("180 lb", 81.6466), ("180lbs", 81.6466)]
)
def test_a_mass_is_read_in_any_of_its_units(text: str, kg: float) -> None:
    assert mass_kg(text) == pytest.approx(kg, abs=1e-4)


@pytest.mark.parametrize("text", ["", "tall", "178 kg", "-178", "5 10", "0", "1 m m", "cm"])
def test_what_is_no_length_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(UnitsError, match="write it like"):
        length_m(text)


def test_a_length_is_no_mass() -> None:
    with pytest.raises(UnitsError, match="82 kg"):
        mass_kg("178 cm")
