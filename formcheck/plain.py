"""Text from outside, made fit to be shown: one place for names, remarks and stored words.

File names, metadata and keys of files people hand on may hold signs that move a terminal's
cursor, hide or turn their neighbours, or that no encoding can write. Whatever shows such a text
takes it from here.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

# Control, format, surrogate, private and unassigned signs; and what ends a line.
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
_LONGEST = 2000  # characters of one text


def plain(text: str, longest: int = _LONGEST) -> str:
    """One line, with signs that cannot be seen written out, like ⟨U+202E⟩, and not too long."""
    shown = "".join(
        f"⟨U+{ord(sign):04X}⟩" if unicodedata.category(sign) in _HIDDEN else sign
        for sign in text[: longest + 1]
    )
    return shown if len(text) <= longest else shown[: longest - 1] + "…"


def meant(word: str, among: Iterable[str]) -> str:
    """`` You may mean X.``, to be put behind a sentence; empty where nothing is like the word.

    >>> meant("kneees", ["toes", "knees"])
    ' You may mean “knees”.'
    """
    from difflib import get_close_matches  # slow to import

    words = list(among)
    begun = [one for one in words if len(word) > 1 and one.startswith(word.lower())]
    near = begun[:1] or get_close_matches(word.lower(), words, n=1, cutoff=0.5)
    return f" You may mean “{near[0]}”." if near else ""
