"""Text from outside, made fit to be shown: one place for names, remarks and stored words.

File names, metadata and keys of files people hand on may hold signs that move a terminal's
cursor, hide or turn their neighbours, or that no encoding can write. Whatever shows such a text
takes it from here.
"""

from __future__ import annotations

import unicodedata

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
