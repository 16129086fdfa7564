"""Where the head hangs, at the bottom of the rep."""

from __future__ import annotations

import numpy as np
import pytest

from formcheck.measures.head import HEAD_HIDDEN, HEAD_NEEDS_SIDE, head_angle
from formcheck.signals.view import View
from tests.measures.handmade import FRONT, OBLIQUE, REAR, REP, SIDE, T_S, drawn, through


def test_the_heads_angle_is_read_at_the_bottom() -> None:
    nods = through((3.0, 0.0), (3.3, 25.0), (3.7, 25.0), (4.2, 0.0))
    assert head_angle(drawn(head_deg=nods), REP, SIDE).value == pytest.approx(25.0)


def test_a_raised_head_is_negative() -> None:
    raised = np.full(len(T_S), -12.0)
    assert head_angle(drawn(head_deg=raised), REP, SIDE).value == pytest.approx(-12.0)


def test_a_track_without_ears_says_so() -> None:
    measured = head_angle(drawn(), REP, SIDE)
    assert not measured.known and measured.reason == HEAD_HIDDEN


@pytest.mark.parametrize("view", [FRONT, REAR])
def test_along_the_body_the_head_does_not_show(view: View) -> None:
    measured = head_angle(drawn(head_deg=np.zeros(len(T_S))), REP, view)
    assert measured.reason == HEAD_NEEDS_SIDE


def test_a_slanted_view_is_less_certain() -> None:
    level = drawn(head_deg=np.zeros(len(T_S)))
    assert head_angle(level, REP, OBLIQUE).plus_minus > head_angle(level, REP, SIDE).plus_minus
