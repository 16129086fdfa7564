"""Attempts that fail are seen as that, and nothing else is taken for one."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from formcheck.reps.failed import with_failed
from formcheck.reps.find import LEAST_BEND_DEG, Rep, find_reps
from tests.coached import SINKS_BACK, STALLS_HALF_WAY, STAYS_DOWN, Coached, Move, rep, reps
from tests.minimum_jerk import RATE_HZ

BoolArray = npt.NDArray[np.bool_]


def found(
    course: list[Move],
    lead_s: float = 1.5,
    in_position: BoolArray | None = None,
    ends_s: float | None = None,
) -> list[Rep]:
    done = Coached(course=course, lead_s=lead_s)
    t_s = np.arange(0.0, ends_s or done.duration_s(), 1 / RATE_HZ)
    elbow = done.elbow_deg(t_s)
    use = np.ones(len(t_s), dtype=bool) if in_position is None else in_position[: len(t_s)]
    whole = find_reps(t_s, elbow, use, RATE_HZ)
    return with_failed(whole, t_s, elbow, use, RATE_HZ, LEAST_BEND_DEG)


def failed(course: list[Move], **more: float) -> list[bool]:
    return [one.failed for one in found(course, **more)]  # type: ignore[arg-type]


@pytest.mark.parametrize("end", [STAYS_DOWN, SINKS_BACK, STALLS_HALF_WAY])
@pytest.mark.parametrize("before", [0, 1, 4])
def test_the_way_down_without_the_way_up_is_an_attempt_that_failed(
    end: list[Move], before: int
) -> None:
    assert failed(reps(before) + end) == [False] * before + [True]


def test_reps_pressed_up_have_not_failed() -> None:
    for course in (
        reps(5),
        reps(3, bottom_s=5.0),
        reps(2) + rep(up_s=5.0),
        reps(3, bottom_deg=120),
    ):
        assert not any(failed(course))


def test_a_last_press_that_stalls_and_goes_on_has_not_failed() -> None:
    grinds = [(1.5, 80.0), (0.3, 80.0), (0.5, 116.0), (0.6, 117.0), (1.2, 146.0), (1.0, 147.0),
              (0.6, 165.0)]  # fmt: skip
    assert not any(failed(reps(3) + grinds))


def test_a_failed_attempt_begins_where_it_leaves_the_top_and_stops_where_it_got_to() -> None:
    whole = Coached(course=reps(4))
    leaves_s = whole.duration_s() - 1.5
    last = found(reps(4) + SINKS_BACK)[-1]
    assert last.start_s == pytest.approx(leaves_s, abs=0.15)
    # 1.5 s down, 0.4 s held, 1.4 s up to 116 degrees, then back.
    assert last.top_s == pytest.approx(leaves_s + 3.3, abs=0.15)
    assert last.bottom_end_s == pytest.approx(leaves_s + 1.9, abs=0.25)
    assert last.last and last.index == 5


def test_sinking_back_in_two_waves_is_one_attempt() -> None:
    waves = [(1.5, 80.0), (0.4, 80.0), (1.2, 120.0), (0.5, 85.0), (0.5, 112.0), (0.8, 75.0),
             (3.0, 75.0)]  # fmt: skip
    assert failed(reps(3) + waves) == [False] * 3 + [True]


def test_who_stays_down_pressed_nothing() -> None:
    last = found(reps(2) + STAYS_DOWN)[-1]
    assert last.bottom_end_s == last.top_s == last.end_s
    assert last.bottom_start_s == pytest.approx(last.start_s + 1.3, abs=0.3)


def test_the_rep_before_ends_where_the_failed_one_begins() -> None:
    *_, before, last = found(reps(3) + STAYS_DOWN)
    assert before.end_s == pytest.approx(last.start_s) and not before.last


def test_a_clip_that_ends_in_the_middle_of_a_rep_accuses_nobody() -> None:
    bottom_s = Coached(course=reps(3)).duration_s() - 1.5 + 1.5
    for after_s in (-0.5, 0.2, 1.0):
        assert failed(reps(3) + STAYS_DOWN, ends_s=bottom_s + after_s) == [False] * 3


def test_settling_before_kneeling_up_is_no_attempt() -> None:
    """Elbows that give a little at the end of a set, or in a hold."""
    assert failed([*reps(3), (1.0, 140.0), (4.0, 140.0)]) == [False] * 3
    assert failed([(5.0, 170.0), (1.0, 140.0), (4.0, 140.0)]) == []


def test_getting_into_position_with_bent_arms_is_no_attempt() -> None:
    into = Coached(course=[(0.1, 120.0), (1.0, 80.0), (4.0, 80.0)], top_deg=125.0, lead_s=1.0)
    t_s = np.arange(0.0, into.duration_s(), 1 / RATE_HZ)
    everywhere = np.ones(len(t_s), dtype=bool)
    assert with_failed([], t_s, into.elbow_deg(t_s), everywhere, RATE_HZ, LEAST_BEND_DEG) == []


def test_a_body_lost_from_sight_on_its_way_down_has_not_failed() -> None:
    done = Coached(course=reps(4))
    t_s = np.arange(0.0, done.duration_s(), 1 / RATE_HZ)
    third = done.bottoms_s()[2]
    lost = (t_s > third - 0.2) & (t_s < third + 1.2)
    assert not any(one.failed for one in found(reps(4), in_position=~lost))


def test_hands_lifted_at_the_bottom_and_pressed_from_there_have_not_failed() -> None:
    done = Coached(course=reps(3, bottom_s=3.0))
    t_s = np.arange(0.0, done.duration_s(), 1 / RATE_HZ)
    second = done.bottoms_s()[1]
    lifted = (t_s > second + 0.8) & (t_s < second + 2.4)
    assert not any(one.failed for one in found(reps(3, bottom_s=3.0), in_position=~lifted))


def lying_down(bottom_deg: float, down_s: float, stays_s: float, lets_go: bool) -> list[Rep]:
    """Three reps and a way down; after ``stays_s`` the hands let go, or the clip goes on."""
    course = [*reps(3), (down_s, bottom_deg), (stays_s, bottom_deg)]
    done = Coached(course=course)
    gone_s = done.duration_s() - 1.5 if lets_go else np.inf
    t_s = np.arange(0.0, done.duration_s() + 3.0, 1 / RATE_HZ)
    return found(course, in_position=t_s < gone_s, ends_s=float(t_s[-1]))


def test_who_lets_the_hands_go_at_once_or_goes_lower_than_any_rep_lies_down_to_rest() -> None:
    for lies in (lying_down(80.0, 1.5, 0.9, True), lying_down(55.0, 1.5, 5.0, False)):
        assert [one.failed for one in lies] == [False] * 3
        assert [one.lies_down_after for one in lies] == [False, False, True]


def test_who_stays_down_on_the_hands_or_drops_has_failed() -> None:
    for fails in (lying_down(80.0, 1.5, 3.0, True), lying_down(60.0, 0.4, 5.0, False)):
        assert [one.failed for one in fails] == [False] * 3 + [True]
