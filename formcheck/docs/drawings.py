"""The drawings of the documents, as SVG in the colours of the page around them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from formcheck.docs.rooms import MIDDLE, ROOMS

Point = tuple[float, float]
_BODY, _PHONE, _SEEN = "dg-body", "dg-phone", "dg-seen"
_STYLE = (
    "<style>.dg{max-width:100%;height:auto}.dg-wide{overflow-x:auto}.dg-wide .dg{max-width:none}"
    ".dg text{font:14px sans-serif;fill:currentColor}"
    ".dg .dg-body{stroke:currentColor;stroke-width:7;stroke-linecap:round;stroke-linejoin:round;"
    "fill:none}.dg .dg-phone{fill:#2f73a8;stroke:none}.dg .dg-seen{fill:#2f73a8;fill-opacity:.13;"
    "stroke:none}.dg .dg-thin{stroke:currentColor;stroke-width:1.5;fill:none}"
    ".dg .dg-in{fill:#2f73a8;fill-opacity:.16;stroke:#2f73a8;stroke-width:1.5}"
    ".dg .dg-edge{fill:none;stroke:currentColor;stroke-width:1.5}</style>"
)


def side() -> str:
    """Where the phone stands for a side view: seen from above, and from behind it."""
    above = _drawing(
        "Filming from the side, seen from above: the phone stands three metres or more away, "
        "square to the body.",
        380, 300,
        _text(20, 24, "From above"),
        _polygon(_SEEN, [(200, 262), (40, 60), (360, 60)]),
        _line(_BODY, [(80, 84), (250, 84)]),
        _line(_BODY, [(250, 66), (250, 102)]),
        _line(_BODY, [(250, 66), (285, 60)]),
        _line(_BODY, [(250, 102), (285, 108)]),
        _circle(_BODY, 276, 84, 8),
        _rectangle(_PHONE, 186, 258, 28, 9),
        _line("dg-thin", [(200, 250), (200, 112)]),
        _text(208, 190, "3 m or more"),
        _text(200, 284, "phone, square to the body", middle=True),
    )  # fmt: skip
    behind = _drawing(
        "The same from behind the phone, which stands at the height of the shoulders and sees the "
        "body from head to feet.",
        320, 300,
        _text(20, 24, "From behind the phone"),
        *_plank(40, 250, 1.0),
        _line("dg-thin", [(15, 250), (310, 250)]),
        _line("dg-thin", [(20, 180), (310, 180)], dashed=True),
        _text(40, 170, "height of the shoulders"),
        _text(20, 276, "head to feet in the picture, all the time"),
    )  # fmt: skip
    return above + behind


def front() -> str:
    """Where the phone stands for a front view: seen from above, and from the side."""
    above = _drawing(
        "Filming from the front, seen from above: the phone stands ahead of the head; both hands "
        "and both elbows are in the picture.",
        380, 300,
        _text(20, 24, "From above"),
        _polygon(_SEEN, [(330, 150), (150, 40), (150, 260)]),
        _line(_BODY, [(30, 150), (170, 150)]),
        _line(_BODY, [(170, 120), (170, 180)]),
        _line(_BODY, [(170, 120), (150, 96), (185, 84)]),
        _line(_BODY, [(170, 180), (150, 204), (185, 216)]),
        _circle(_BODY, 194, 150, 8),
        _rectangle(_PHONE, 326, 136, 9, 28),
        _text(236, 128, "1.5 to 3 m"),
        _line("dg-thin", [(210, 150), (322, 150)]),
    )  # fmt: skip
    beside = _drawing(
        "The same from the side: the phone stands between floor and waist height.",
        320, 300,
        _text(20, 24, "From the side"),
        *_plank(20, 250, 0.72),
        _line("dg-thin", [(15, 250), (310, 250)]),
        _polygon(_SEEN, [(270, 226), (110, 110), (110, 250)]),
        _rectangle(_PHONE, 268, 212, 9, 28),
        _line("dg-thin", [(288, 110), (288, 250)]),
        _text(150, 100, "floor to waist height"),
    )  # fmt: skip
    return above + beside


def flow() -> str:
    """The rooms in their order: what everything stands on, the data's way, and who starts it."""
    first, last = ROOMS.index("clip"), ROOMS.index("report")
    rows = [
        ("What all stand on", ROOMS[:first]),
        ("The way of the data", ROOMS[first : last + 1]),
        ("Who starts it", ROOMS[last + 1 :]),
    ]
    parts, top = [], 10.0
    for heading, rooms in rows:
        parts.append(_text(10, top + 16, heading))
        for n, room in enumerate(rooms):
            x, y = 10 + 138 * (n % 5), top + 30 + 62 * (n // 5)
            parts.append(_rectangle("dg-in" if room in MIDDLE else "dg-edge", x, y, 112, 38, 6))
            parts.append(_text(x + 56, y + 24, room, middle=True))
            if heading == rows[1][0] and n + 1 < len(rooms):
                if n % 5 < 4:
                    parts.append(_arrow([(x + 113, y + 19), (x + 136, y + 19)]))
                else:
                    turn = [(x + 56, y + 38), (x + 56, y + 50), (66, y + 50), (66, y + 60)]
                    parts.append(_arrow(turn))
        top += 48 + 62 * (1 + (len(rooms) - 1) // 5)
    drawn = _drawing(
        "The rooms of the package in their order. An import points to an earlier room or to its "
        "own. Filled rooms are pure functions; the others touch files, clocks or processes.",
        700, top, *parts,
    )  # fmt: skip
    return f'<div class="dg-wide">{drawn}</div>'


def _plank(left: float, floor: float, size: float) -> list[str]:
    """Somebody at the top of a push-up, seen from the side, head to the right."""

    def at(x: float, y: float) -> Point:
        return left + size * x, floor - size * y

    x, y = at(199, 86)
    return [
        _line(_BODY, [at(0, 4), at(8, 14), at(95, 42), at(180, 72)]),
        _line(_BODY, [at(180, 72), at(186, 36), at(184, 4), at(200, 4)]),
        _circle(_BODY, x, y, 9 * size),
    ]


def _drawing(says: str, width: float, height: float, *parts: str) -> str:
    return (
        f'<svg class="dg" role="img" aria-label="{escape(says)}" width="{width:g}" '
        f'height="{height:g}" viewBox="0 0 {width:g} {height:g}" '
        f'xmlns="http://www.w3.org/2000/svg">{_STYLE}{"".join(parts)}</svg>'
    )


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.5g},{y:.5g}" for x, y in points)


def _line(kind: str, points: Sequence[Point], dashed: bool = False) -> str:
    how = ' stroke-dasharray="5 5"' if dashed else ""
    return f'<polyline class="{kind}" points="{_points(points)}"{how}/>'


def _arrow(points: Sequence[Point]) -> str:
    (x, y), (before_x, _) = points[-1], points[-2]
    back = [(x - 6, y - 4), (x, y), (x - 6, y + 4)]
    if before_x == x:
        back = [(x - 4, y - 6), (x, y), (x + 4, y - 6)]
    return _line("dg-thin", points) + _line("dg-thin", back)


def _polygon(kind: str, points: Sequence[Point]) -> str:
    return f'<polygon class="{kind}" points="{_points(points)}"/>'


def _circle(kind: str, x: float, y: float, radius: float) -> str:
    return f'<circle class="{kind}" cx="{x:.5g}" cy="{y:.5g}" r="{radius:.4g}"/>'


def _rectangle(kind: str, x: float, y: float, wide: float, high: float, round_: float = 2) -> str:
    return (
        f'<rect class="{kind}" x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" '
        f'rx="{round_:g}"/>'
    )


def _text(x: float, y: float, says: str, middle: bool = False) -> str:
    how = ' text-anchor="middle"' if middle else ""
    return f'<text x="{x:g}" y="{y:g}"{how}>{escape(says)}</text>'
