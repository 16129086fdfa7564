"""The page of a person's weeks: whole in one file, and true to the log."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from formcheck.errors import OutputError
from formcheck.log.change import changes
from formcheck.log.entry import FaultCount, SetEntry
from formcheck.log.page.multiples import HEIGHT, WIDTH, multiples
from formcheck.log.page.page import LogPage, log_page, page_html, write_page
from tests.log.made_up import entry

NOW = datetime(2026, 4, 6, 12, tzinfo=UTC)


def no_mass(_: SetEntry) -> float | None:
    return None


def weeks(count: int = 12) -> list[SetEntry]:
    """Ever deeper on the floor, and a knee push-up after every third set."""
    draw = random.Random(2)
    out = []
    for n in range(count):
        out.append(entry(3.0 * n, elbow_bottom_deg=98.0 - 1.6 * n + draw.gauss(0, 1.5)))
        if n % 3 == 2:
            out.append(entry(3.0 * n + 1, variation="floor, on the knees", rung="knees",
                             elbow_bottom_deg=60.0, direction="harder"))  # fmt: skip
    return out


def page(sets: list[SetEntry], variation: str = "floor", now: datetime = NOW) -> LogPage:
    return log_page(sets, variation, no_mass, now)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_the_head_says_what_changed_for_sure_and_nothing_else() -> None:
    made = page(weeks())
    assert re.fullmatch(r"Deeper by \d\d° ± \d+°\.", plain(made.headline))
    assert made.rest == "All else is within its error."
    assert page(weeks(1)).headline == "Too few days to tell a trend yet."
    still = [entry(3.0 * n) for n in range(8)]
    assert page(still).headline == "No change yet that is larger than its error."


def test_variations_are_never_mixed() -> None:
    made = page(weeks())
    depth = next(one for one in made.multiples if one.title == "Elbow at the bottom")
    assert len(depth.marks) == 12
    assert not any("60°" in mark.words for mark in depth.marks)
    assert "12 sets" in made.scope


def test_every_set_is_one_mark_within_its_field_in_order_of_time() -> None:
    sets = [one for one in weeks() if one.variation == "floor"]
    for drawn in multiples(sets, changes(sets, no_mass), no_mass):
        xs = [mark.x for mark in drawn.marks]
        assert len(xs) == len(sets)
        assert xs == sorted(xs)
        assert all(0 <= mark.x <= WIDTH and 0 <= mark.y <= HEIGHT for mark in drawn.marks)
        assert [mark.latest for mark in drawn.marks] == [False] * (len(sets) - 1) + [True]


def test_higher_values_are_drawn_higher_and_a_line_only_through_what_is_real() -> None:
    drawn = {one.title: one for one in page(weeks()).multiples}
    marks = drawn["Elbow at the bottom"].marks
    assert marks[0].y < marks[-1].y  # from 98 degrees down to 80
    assert [title for title, one in drawn.items() if one.course] == ["Elbow at the bottom"]


def test_the_best_set_before_stands_beside_the_latest() -> None:
    sets = [entry(0, clean=4), entry(3, clean=8), entry(6, clean=6)]
    made = page(sets)
    assert (made.best_on, made.latest_on) == ("2026-03-05", "2026-03-08")
    assert (made.rows[0].best, made.rows[0].latest) == ("8 of 8", "6 of 8")
    assert page(sets[:1]).best_on == ""


def test_faults_are_shares_of_a_weeks_attempts_in_all_variations() -> None:
    sets = [
        entry(0, faults={"hip_sag": FaultCount(2, 0)}),
        entry(1, variation="wall", faults={"hip_sag": FaultCount(2, 0)}),
        entry(7, faults={"hip_sag": FaultCount(0, 1)}),
    ]
    (sag,) = page(sets).faults
    first, second = sag.cells
    assert first.side == pytest.approx((4 / 16) ** 0.5)
    assert (first.unclear, second.unclear) == (False, True)
    assert first.words == "week of 2 Mar: 4 of 16 reps"
    assert second.words == "week of 9 Mar: 0 of 8 reps, 1 unclear"


def test_the_ladder_says_where_one_stands_and_what_was_earned() -> None:
    made = page(weeks())
    standing = {rung.words: (rung.standing, rung.note) for rung in made.rungs if rung.standing}
    (floor,) = [value for words, value in standing.items() if "floor" in words]
    (knees,) = [value for words, value in standing.items() if "knees" in words]
    assert floor == ("done", "since 2026-03-02")
    assert knees == ("here", "step up earned 2026-03-18")  # the second set in a row at the top


def test_after_a_long_break_the_step_is_one_lower() -> None:
    made = page(weeks(), now=datetime(2026, 6, 1, tzinfo=UTC))
    assert made.step.startswith("One step easier than last time (floor)")
    assert "days since the last set" in made.why[0]


def test_the_page_loads_nothing_and_shows_names_as_text() -> None:
    hostile = [replace(one, person="<img src=x>", variation="floor\u202e") for one in weeks(7)]
    html = page_html(log_page(hostile, "floor\u202e", no_mass, NOW))
    assert "<img" not in html
    assert "\u202e" not in html
    assert not re.search(r"<(?:link|script|iframe|object|a)\b|url\(|@import", html)
    assert "default-src 'none'" in html


def test_the_page_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    write_page(page(weeks()), tmp_path / "ana.html")
    assert (tmp_path / "ana.html").read_text(encoding="utf-8").rstrip().endswith("</html>")
    with pytest.raises(OutputError, match="cannot be written"):
        write_page(page(weeks()), tmp_path / "no folder" / "ana.html")
    assert [file.name for file in tmp_path.iterdir()] == ["ana.html"]
