"""Measures and faults that other installed packages bring along.

A package names a function under the entry point group ``formcheck``. It is called once, without
arguments, before the catalogue is first read, and registers what it brings with
``measures.values.add_value`` and ``faults.catalogue.add_fault``.
"""

from __future__ import annotations

from importlib.metadata import entry_points

from formcheck.errors import FormcheckError

GROUP = "formcheck"
_called: set[str] = set()


class OutsideError(FormcheckError):
    """What an installed package brings along cannot be used."""


def load_outside() -> None:
    """Let every installed package register what it brings; nothing happens the second time.

    Raises OutsideError, which names the package that fails.
    """
    if GROUP in _called:
        return
    _called.add(GROUP)  # first: what is called may ask for the catalogue itself
    for entry in entry_points(group=GROUP):
        try:
            entry.load()()
        except Exception as error:
            package = entry.dist.name if entry.dist is not None else entry.value
            raise OutsideError(
                f"the package {package} adds to formcheck and fails at it ({error}); mend it, or "
                f"uninstall it: pip uninstall {package}."
            ) from error
