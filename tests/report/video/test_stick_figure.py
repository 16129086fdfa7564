from __future__ import annotations

import numpy as np

from formcheck.analysis import Analysis
from formcheck.report import theme
from formcheck.report.video.canvas import rgb
from formcheck.report.video.stick_figure import stick_figure
from tests.report.conftest import nobody


def hot_px(picture: np.ndarray) -> int:
    """Pixels of nearly the colour that accuses."""
    return int((np.abs(picture.astype(int) - rgb(theme.FAULT.picture)).max(axis=2) < 24).sum())


def test_the_body_fills_the_picture_and_what_is_wrong_is_hot(sagging: Analysis) -> None:
    worst = max(sagging.reps, key=lambda one: one.values["hip_deviation_deg"].value)
    picture = stick_figure(sagging, worst.rep.bottom_s)
    assert picture is not None and picture.shape == (200, 320, 3)
    assert hot_px(picture) > 300
    drawn = np.argwhere(np.abs(picture.astype(int) - rgb(theme.BAND)).max(axis=2) > 24)
    assert np.ptp(drawn[:, 1]) > 0.6 * 320
    before = stick_figure(sagging, sagging.reps[0].rep.start_s)
    assert before is not None and hot_px(before) == 0


def test_where_nobody_is_seen_nothing_is_drawn() -> None:
    assert stick_figure(nobody(), 1.0) is None
