"""What may be asked or told: numbers that a body or a set can have."""

from __future__ import annotations

from formcheck.errors import FormcheckError


class AskedError(FormcheckError, ValueError):
    """What is asked of the set, or told of the person, makes no sense."""


def check_within(what: str, value: float | None, least: float, most: float, unit: str) -> None:
    """Raise AskedError unless ``value`` is None or a number from ``least`` to ``most``."""
    if value is None:
        return
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not least <= value <= most:  # nor is NaN between any two numbers
        raise AskedError(f"{what} must lie between {least:g} and {most:g} {unit}.")
