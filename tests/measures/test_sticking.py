"""Where a press slows on its way up, and that an even one slows nowhere."""

from __future__ import annotations

import numpy as np
import pytest

from formcheck.analysis import analyse
from formcheck.measures.sticking import DID_NOT_STICK, slowest
from tests.coached import SINKS_BACK, Coached, Move, rep, reps

# A press of 2 s that nearly stops where the elbow is at 115 degrees.
SLOWS: list[Move] = [
    (1.5, 80.0),
    (0.4, 80.0),
    (0.7, 113.0),
    (0.5, 117.0),
    (0.8, 170.0),
    (0.7, 170.0),
]


@pytest.mark.parametrize("view", ["side", "front"])
def test_a_press_that_slows_is_found_with_the_elbow_and_height_of_its_slowest_moment(
    view: str,
) -> None:
    analysis = analyse(Coached(course=reps(2) + SLOWS).tracks(view))
    even, slowed = analysis.reps[0].values, analysis.reps[2].values
    assert even["sticking_elbow_deg"].reason == DID_NOT_STICK
    stuck = slowed["sticking_elbow_deg"]
    assert stuck.value == pytest.approx(115.0, abs=5.0)
    assert abs(stuck.value - 115.0) <= stuck.plus_minus
    # By the law of cosines the shoulder is then some 55 % of the way up.
    assert slowed["sticking_height_percent"].value == pytest.approx(57.0, abs=9.0)


@pytest.mark.parametrize("view", ["side", "front"])
def test_an_even_press_does_not_stick_however_slow(view: str) -> None:
    analysis = analyse(Coached(course=reps(2) + rep(up_s=2.5)).tracks(view))
    for result in analysis.reps:
        assert not result.values["sticking_elbow_deg"].known


def test_a_press_that_fails_sticks_where_it_got_no_higher() -> None:
    analysis = analyse(Coached(course=reps(3) + SINKS_BACK).tracks("side"))
    last = analysis.reps[-1]
    assert last.attempt == "failed"
    assert last.values["sticking_elbow_deg"].value == pytest.approx(116.0, abs=5.0)
    assert last.values["pressed_up_percent"].value == pytest.approx(58.0, abs=9.0)
    assert not last.values["concentric_s"].known and not last.values["elbow_top_deg"].known


def test_noise_on_a_fast_press_is_no_sticking() -> None:
    u = np.linspace(0.0, 1.0, 31)
    speed = 30 * u**2 * (1 - u) ** 2
    wavers = speed + 0.05 * np.sin(40 * u)
    assert slowest(wavers, noise=0.05, edge=2) is None
    notch = speed * (1 - 0.8 * np.exp(-(((u - 0.5) / 0.11) ** 2)))
    assert slowest(notch, noise=0.05, edge=2) == pytest.approx(15, abs=1)
