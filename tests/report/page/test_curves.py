from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.report import theme
from formcheck.report.page.curves import chart, drawing, samples, series_of
from formcheck.report.page.page import page_html
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
    elbow, row = series[0], drawn.rows[0]
    assert row.key == "elbow_deg"
    points = np.array([float(n) for n in re.findall(r"-?\d+\.?\d*", row.line)]).reshape(-1, 2)
    t_s = drawn.t0_s + (points[:, 0] - drawn.x0) / (drawn.x1 - drawn.x0) * (drawn.t1_s - drawn.t0_s)
    heights = (points[:, 1] - row.bottom) / (row.top - row.bottom)
    shown = row.low + heights * (row.high - row.low)
    assert np.abs(shown - np.interp(t_s, elbow.t_s, elbow.values)).max() < 1.0
    assert t_s[0] >= drawn.t0_s and t_s[-1] <= drawn.t1_s


def test_what_a_rep_is_accused_of_stands_out_and_nothing_else_does(sagging: Analysis) -> None:
    drawn = chart(sagging, series_of(sagging), targets_of(sagging), 1080.0)
    assert drawn is not None
    hot = {row.key: row.hot for row in drawn.rows}
    assert hot.pop("body_line_deg").count("M") >= 1 and not any(hot.values())
    faulty = {f.rep for f in sagging.faults if f.key == "hip_sag" and f.verdict == "fault"}
    (line,) = [row for row in drawn.rows if row.key == "body_line_deg"]
    xs = np.array([float(n) for n in re.findall(r"[ML](\S+) ", line.hot)])
    t_s = drawn.t0_s + (xs - drawn.x0) / (drawn.x1 - drawn.x0) * (drawn.t1_s - drawn.t0_s)
    spans = [(r.rep.start_s, r.rep.end_s) for r in sagging.reps if r.rep.index in faulty]
    assert all(any(start <= t <= end for start, end in spans) for t in t_s)


def test_a_long_set_keeps_its_turns_and_a_bounded_number_of_points(sagging: Analysis) -> None:
    series = series_of(sagging)
    narrow = chart(sagging, series, targets_of(sagging), 100.0)
    assert narrow is not None
    row = narrow.rows[0]
    heights = np.array([float(n) for n in re.findall(r" (\S+?)(?=[ML]|$)", row.line)])
    assert len(heights) <= 2 * 100
    values = row.low + (row.bottom - heights) / (row.bottom - row.top) * (row.high - row.low)
    inside = (series[0].t_s >= narrow.t0_s) & (series[0].t_s <= narrow.t1_s)
    assert values.min() == pytest.approx(np.nanmin(series[0].values[inside]), abs=0.1)
    assert values.max() == pytest.approx(np.nanmax(series[0].values[inside]), abs=0.1)


def test_a_curve_is_broken_where_nothing_is_known(sagging: Analysis) -> None:
    (elbow, *_) = series_of(sagging)
    values = elbow.values.copy()
    values[200:230] = np.nan
    holed = replace(elbow, values=values)
    whole, broken = (chart(sagging, [one], targets_of(sagging), 1080.0) for one in (elbow, holed))
    assert whole is not None and broken is not None
    assert broken.rows[0].line.count("M") == whole.rows[0].line.count("M") + 1


def test_colours_are_left_to_the_page_which_has_others_in_the_dark(sagging: Analysis) -> None:
    page = page_html(sagging, None, "annotated.mp4")
    (wide, narrow) = re.findall(r'<div class="chart.*?</svg>', page, re.DOTALL)
    assert "#" not in wide + narrow and "style" not in wide + narrow


def test_a_drawing_on_its_own_is_whole(sagging: Analysis) -> None:
    drawn = chart(sagging, series_of(sagging), targets_of(sagging), 864.0)
    assert drawn is not None
    alone = ElementTree.fromstring(drawing(drawn).svg)
    names = {one.get("id") for one in alone.iter()}
    style = alone.findtext("{http://www.w3.org/2000/svg}style") or ""
    assert theme.INK in style
    assert set(re.findall(r"url\(#([\w-]+)\)", style)) <= names
    said = [one.text for one in alone.iter("{http://www.w3.org/2000/svg}text")]
    assert {"Elbow angle, °", "Tempo, 3-1-X-1 s asked", "time in the clip, s"} <= set(said)


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
