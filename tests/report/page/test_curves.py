from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.report import theme
from formcheck.report.page.curves import chart, samples, series_of
from formcheck.report.targets import targets_of
from tests.coached import Coached, reps
from tests.report.conftest import judged, nobody


def test_a_side_view_has_elbow_body_line_and_height(sagging: Analysis) -> None:
    assert [one.key for one in series_of(sagging)] == [
        "elbow_deg",
        "body_line_deg",
        "shoulder_height",
    ]


def test_a_front_view_has_no_curve_of_the_body_line() -> None:
    assert "body_line_deg" not in [one.key for one in series_of(judged("clean_front"))]


def test_the_body_line_drawn_is_the_one_that_was_judged(sagging: Analysis) -> None:
    (line,) = [one for one in series_of(sagging) if one.key == "body_line_deg"]
    for result in sagging.reps[2:]:
        during = (line.t_s >= result.rep.start_s) & (line.t_s <= result.rep.top_s)
        judged_deg = result.values["hip_deviation_deg"].value
        assert np.nanpercentile(line.values[during], 95) == pytest.approx(judged_deg, abs=0.3)


def test_a_second_view_is_drawn_on_the_first_ones_clock(sagging: Analysis) -> None:
    looks = (replace(sagging.looks[0], offset_s=2.5),)
    late = replace(sagging, measured=replace(sagging.measured, looks=looks))
    assert series_of(late)[0].t_s[0] - series_of(sagging)[0].t_s[0] == pytest.approx(2.5)


def test_the_stated_place_of_the_data_is_where_the_curve_runs(sagging: Analysis) -> None:
    series = series_of(sagging)
    drawn = chart(sagging, series, targets_of(sagging), 1080.0)
    assert drawn is not None
    elbow = series[0]
    key, low, high, y_low, y_high = drawn.rows[0]
    assert key == "elbow_deg"
    # The elbow's is the first curve in its colour; every point of it must lie on the data.
    stroke = "stroke: var(--line)"
    path = next(
        d for d, rest in re.findall(r'<path d="([^"]+)"([^>]*)', drawn.svg) if stroke in rest
    )
    points = np.array([float(n) for n in re.findall(r"-?\d+\.?\d*", path)]).reshape(-1, 2)
    t_s = drawn.t0_s + (points[:, 0] - drawn.x0) / (drawn.x1 - drawn.x0) * (drawn.t1_s - drawn.t0_s)
    shown = low + (points[:, 1] - y_low) / (y_high - y_low) * (high - low)
    assert np.abs(shown - np.interp(t_s, elbow.t_s, elbow.values)).max() < 1.5


def test_colours_that_the_page_changes_in_the_dark_are_left_to_it(sagging: Analysis) -> None:
    drawn = chart(sagging, series_of(sagging), targets_of(sagging), 1080.0)
    assert drawn is not None
    shown = re.sub(r"<defs>.*?</defs>", "", drawn.svg, flags=re.DOTALL)
    for colour in (theme.INK, theme.QUIET, theme.LINE.paper, theme.FAULT.paper):
        assert colour not in shown
    assert "fill: var(--ink)" in shown and "stroke: var(--fault)" in shown


def test_two_charts_on_one_page_share_no_ids(sagging: Analysis) -> None:
    series = series_of(sagging)
    ids = []
    for width in (344.0, 1080.0):
        drawn = chart(sagging, series, targets_of(sagging), width)
        assert drawn is not None
        found = re.findall(r' id="([^"]+)"', drawn.svg)
        assert all(f"#{name}" in drawn.svg for name in found)
        ids += found
    assert len(ids) == len(set(ids)) > 0


def test_a_set_without_reps_has_no_chart() -> None:
    empty = nobody()
    assert chart(empty, series_of(empty), targets_of(empty), 1080.0) is None


def test_the_elbow_of_a_rep_that_one_view_missed_is_drawn_from_the_other() -> None:
    """The front camera of this archer started late: its first rep is judged from the side."""
    done = Coached(course=reps(4), arms="archer", working=("left", "right"), hand_spacing=2.6)
    side, front = done.tracks("both")
    late = replace(front, xy_px=np.where((front.t_s < 3.0)[:, None, None], np.nan, front.xy_px))
    analysis = analyse([side, late])
    assert analysis.reps[0].values["elbow_bottom_deg"].view == "side"
    (elbow,) = [one for one in series_of(analysis) if one.key == "elbow_deg"]
    for result in analysis.reps:
        drawn = float(np.interp(result.rep.bottom_s, elbow.t_s, elbow.values))
        assert drawn == pytest.approx(result.values["elbow_bottom_deg"].value, abs=6.0)


def test_the_read_out_follows_the_curve(sagging: Analysis) -> None:
    series = series_of(sagging)
    given = samples(series, 2.0, 8.0)
    values = given["series"]["elbow_deg"]
    at = 30
    t_s = given["t0"] + at * given["step"]
    assert values[at] == pytest.approx(np.interp(t_s, series[0].t_s, series[0].values), abs=0.01)
