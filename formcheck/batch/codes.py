"""Codes in place of names: who is who stands in one file, kept apart from every result."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from formcheck.batch.roster import RosterError
from formcheck.errors import OutputError
from formcheck.files import read_small
from formcheck.locks import made_beside

_HEADINGS = ["code", "stands_for"]
_LARGEST_BYTES = 10_000_000
_NOBODY = "P00"  # clips of which nobody said whose they are


class Codes:
    """Codes given so far, and new ones as they are asked for.

    People are P01, P02 …, and the sets of P01 are P01/01, P01/02 …. A name keeps its code for as
    long as the key file is there.
    """

    def __init__(self, key: Path, out: Path) -> None:
        """Raises OutputError when the key would lie among the results, or cannot be read."""
        if key.resolve().is_relative_to(out.resolve()):
            raise OutputError(f"{key} lies inside {out}; keep who is who apart from the results.")
        self._key = key
        self._codes: dict[str, str] = {}  # name (of a person, or person's code + set) → code
        if not key.exists():
            return
        try:
            text = read_small(key, _LARGEST_BYTES).decode()
            lines = list(csv.reader(io.StringIO(text, newline="")))
        except (OSError, UnicodeDecodeError, csv.Error) as error:
            raise OutputError(f"{key} cannot be read as a list of codes ({error}).") from error
        if not lines or lines[0] != _HEADINGS or any(len(line) != 2 for line in lines):
            raise OutputError(f"{key} is no list of codes; give another name with --codes-key.")
        self._codes = {name: code for code, name in lines[1:]}

    def person(self, name: str | None, wanted: str | None = None) -> str:
        """The code of a person; ``wanted`` is what the roster says it should be."""
        if name is None:
            return _NOBODY
        if wanted is not None:
            owner = next((n for n, code in self._codes.items() if code == wanted), name)
            if owner != name:
                raise RosterError(f"code “{wanted}” stands for “{owner}” and “{name}”; give two.")
            self._codes[name] = wanted
        return self._codes.setdefault(name, self._free("P{:02d}"))

    def set(self, person: str, name: str) -> str:
        """The code of a set: that of its person and a number."""
        return self._codes.setdefault(f"{person}: {name}", self._free(f"{person}/{{:02d}}"))

    def write(self) -> None:
        """Save the key, readable by its owner only. Raises OutputError."""
        try:
            self._key.parent.mkdir(parents=True, exist_ok=True)
            with (
                made_beside(self._key, mode=0o600) as partial,
                partial.open("w", encoding="utf-8", newline="") as file,
            ):
                writer = csv.writer(file)
                writer.writerow(_HEADINGS)
                writer.writerows((code, name) for name, code in self._codes.items())
        except OSError as error:
            raise OutputError(
                f"{self._key} cannot be written ({error.strerror}); choose another place with "
                "--codes-key."
            ) from error

    def _free(self, form: str) -> str:
        taken = set(self._codes.values())
        number = 1
        while form.format(number) in taken:
            number += 1
        return form.format(number)
