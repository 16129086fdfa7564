"""Where the head hangs, at the bottom of the rep."""

from __future__ import annotations

import numpy as np
import pytest

from formcheck.measures.head import HEAD_HIDDEN, HEAD_NEEDS_SIDE, head_angle
from formcheck.signals.view import View
from tests.measures.handmade import FRONT, REAR, REP, T_S, drawn, look_at, through


@pytest.mark.usefixtures("exact_joints")
def test_the_heads_angle_is_read_at_the_bottom() -> None:
    nods = through((3.0, 0.0), (3.3, 25.0), (3.7, 25.0), (4.2, 0.0))
    assert head_angle(look_at(drawn(head_deg=nods)), REP).value == pytest.approx(25.0)


@pytest.mark.usefixtures("exact_joints")
def test_a_raised_head_is_negative() -> None:
    raised = np.full(len(T_S), -12.0)
    assert head_angle(look_at(drawn(head_deg=raised)), REP).value == pytest.approx(-12.0)


def test_a_track_without_ears_says_so() -> None:
    measured = head_angle(look_at(drawn()), REP)
    assert not measured.known and measured.reason == HEAD_HIDDEN


@pytest.mark.parametrize("view", [FRONT, REAR])
def test_along_the_body_the_head_does_not_show(view: View) -> None:
    measured = head_angle(look_at(drawn(head_deg=np.zeros(len(T_S))), view), REP)
    assert measured.reason == HEAD_NEEDS_SIDE


def test_the_head_is_known_as_well_as_the_fit_of_the_body_knows_it() -> None:
    sure, unsure = (
        drawn(head_deg=np.zeros(len(T_S)), head_sd_deg=np.full(len(T_S), sd)) for sd in (3.0, 6.0)
    )
    surer = head_angle(look_at(sure), REP).plus_minus
    assert head_angle(look_at(unsure), REP).plus_minus > surer > 0.0
