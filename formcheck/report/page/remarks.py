"""What a coach writes beside reps, put into the page that is written already."""

from __future__ import annotations

from collections.abc import Mapping

from markupsafe import escape

from formcheck.plain import plain

_FIRST, _LAST = "<!-- remarks -->", "<!-- end of remarks -->"


def with_remarks(page: str, remarks: Mapping[int, str]) -> str:
    """The page with these remarks, by rep, in place of those that were in it.

    They are shown as text, whatever they contain. A page without a place for them stays as it is.
    """
    before, first, rest = page.partition(_FIRST)
    _, last, after = rest.partition(_LAST)
    return f"{before}{_FIRST}{_section(remarks)}{_LAST}{after}" if first and last else page


def _section(remarks: Mapping[int, str]) -> str:
    if not remarks:
        return ""
    items = "".join(
        f"<li><h3>Rep {rep}</h3><p>{escape(plain(remarks[rep]))}</p></li>"
        for rep in sorted(remarks)
    )
    return (
        '<section aria-labelledby="h-remarks"><h2 id="h-remarks">Remarks</h2>'
        f'<ul class="unjudged">{items}</ul></section>'
    )
