"""``formcheck limits``: what faults are judged by."""

from __future__ import annotations

from formcheck.faults.limits import limits_text


def show_limits() -> None:
    """Print the limits file: each limit with its unit, reason and source.

    Save it, change the values you want, and give it to “formcheck set --limits FILE”; the
    values you leave out stay as they are.
    """
    print(limits_text(), end="")
