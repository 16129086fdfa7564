"""Lengths and masses as people type them: metric, or feet, inches and pounds."""

from __future__ import annotations

import re

# Exact by definition (international yard and pound, 1959).
_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, '"': 0.0254, "ft": 0.3048, "'": 0.3048}
_KILOGRAMS = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "lbs": 0.45359237}
_PART = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*([a-z'\"]*)")


class UnitsError(ValueError):
    """The text is no length or mass; the message says what one looks like."""


def length_m(text: str, bare: str = "cm") -> float:
    """``178``, ``178 cm``, ``1.78 m``, ``70 in``, ``5 ft 10 in``, ``5'10"`` in metres.

    A bare number is in ``bare``. Raises UnitsError.
    """
    return _sum(text, _METRES, bare, "178 cm, 1.78 m, 70 in or 5 ft 10 in")


def mass_kg(text: str) -> float:
    """``82``, ``82 kg``, ``180 lb`` in kilograms. Raises UnitsError."""
    return _sum(text, _KILOGRAMS, "kg", "82 kg or 180 lb")


def _sum(text: str, units: dict[str, float], bare: str, example: str) -> float:
    plain = text.strip().lower().replace("’", "'").replace("”", '"').replace("″", '"')
    total, at = 0.0, 0
    while at < len(plain):
        part = _PART.match(plain, at)
        unit = part.group(2) if part else ""
        if part is None or (unit and unit not in units) or (not unit and part.end() < len(plain)):
            break
        feet_before = at > 0 and plain.rstrip("0123456789., ").endswith(("ft", "'"))
        total += (
            float(part.group(1).replace(",", ".")) * units[unit or ("in" if feet_before else bare)]
        )
        at = part.end()
    if at < len(plain) or not plain or total <= 0:
        raise UnitsError(f"“{text}” is not understood: write it like {example}.")
    return total
