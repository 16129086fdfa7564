"""Boundaries of one movement, found from the whole of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import betainc

from formcheck.reps.phases import BOUNDARY_SHARE, boundaries, first_guess, gone, smoothly_gone
from tests.minimum_jerk import RATE_HZ, SLOW_END, eased

FloatArray = npt.NDArray[np.float64]

REST_S = 0.7
LEFT_S = REST_S


def course(kind: str, lasts_s: float) -> Callable[[FloatArray], FloatArray]:
    """Share of the way (0 to 1) by time since the movement began."""
    u = np.linspace(0.0, 1.0, 4001)
    speed = {
        "smooth": u**2 * (1 - u) ** 2,
        "hasty start": u * (1 - u) ** 4,
        "hasty end": u**4 * (1 - u),
        "even pace": np.clip(np.minimum(u, 1 - u) * lasts_s / 0.3, 0, 1),
        "half sine": np.sin(np.pi * u),
        "two speeds": np.where(
            u < 0.4,
            0.78 / 0.4 * (u / 0.4 * (1 - u / 0.4)) ** 2,
            0.22 / 0.6 * ((u - 0.4) / 0.6 * (1 - u) / 0.6) ** 2,
        ),
        "sticking point": (u * (1 - u)) ** 1.5 * (1 - 0.7 * np.exp(-(((u - 0.5) / 0.15) ** 2))),
    }[kind]
    way = np.cumsum(speed)
    return lambda t_s: np.interp(t_s / lasts_s, u, way / way[-1])


def true_edges(kind: str, lasts_s: float) -> tuple[float, float]:
    t_s = np.linspace(0.0, lasts_s, 4001)
    speed = np.gradient(course(kind, lasts_s)(t_s), t_s)
    fast = t_s[speed >= BOUNDARY_SHARE * speed.max()]
    return LEFT_S + fast[0], LEFT_S + fast[-1]


def found(kind: str, lasts_s: float, noise_deg: float, seed: int = 0) -> tuple[float, float]:
    t_s = np.arange(0.0, lasts_s + 2 * REST_S, 1 / RATE_HZ)
    angle = 84.0 + 86.0 * course(kind, lasts_s)(t_s - LEFT_S)
    wobble = gaussian_filter1d(np.random.default_rng(seed).normal(size=len(t_s)), 1.3)
    curve = angle + noise_deg * wobble / wobble.std()
    return boundaries(t_s, curve, first_guess(t_s, gaussian_filter1d(curve, 2.0)))


def test_the_smooth_course_is_minimum_jerk() -> None:
    """Flash and Hogan, J Neurosci 1985;5:1688-1703; that it is I_u(3, 3) is algebra."""
    u = np.linspace(0, 1, 101)
    assert smoothly_gone(u) == pytest.approx(eased(u), abs=1e-12)
    assert smoothly_gone(u) == pytest.approx(betainc(3.0, 3.0, u), abs=1e-12)


@pytest.mark.parametrize("rise", [1.5, 2.0, 3.0, 6.0])
@pytest.mark.parametrize("fall", [1.5, 3.0, 6.0])
def test_other_courses_are_the_incomplete_beta_function(rise: float, fall: float) -> None:
    """To a share of a half-thousandth: a twentieth of a degree of a bend of 90."""
    u = np.linspace(0, 1, 777)
    way = gone(u[None], np.array([[rise]]), np.array([[fall]]))[0]
    assert way == pytest.approx(betainc(rise, fall, u), abs=5e-4)


@pytest.mark.parametrize("lasts_s", [0.4, 1.0, 1.6, 3.0])
def test_a_smooth_movement_is_bounded_where_its_speed_is_5_percent(lasts_s: float) -> None:
    begins, ends = found("smooth", lasts_s, noise_deg=0.0)
    assert begins == pytest.approx(LEFT_S + SLOW_END * lasts_s, abs=0.01)
    assert ends == pytest.approx(LEFT_S + (1 - SLOW_END) * lasts_s, abs=0.01)


@pytest.mark.parametrize(
    "kind", ["hasty start", "hasty end", "even pace", "half sine", "two speeds"]
)
@pytest.mark.parametrize("lasts_s", [0.8, 2.0])
def test_other_courses_are_bounded_where_theirs_is(kind: str, lasts_s: float) -> None:
    truth = true_edges(kind, lasts_s)
    assert found(kind, lasts_s, noise_deg=0.0) == pytest.approx(truth, abs=0.03 + 0.02 * lasts_s)


@pytest.mark.parametrize(
    "kind", ["smooth", "even pace", "half sine", "sticking point", "two speeds"]
)
def test_a_wobbling_curve_moves_the_boundaries_little(kind: str) -> None:
    """Wobble as landmarks leave it, 1.5 deg: the 5 % crossing itself would be lost in it."""
    truth = np.array(true_edges(kind, 1.6))
    errors = np.array([np.array(found(kind, 1.6, 1.5, seed)) - truth for seed in range(20)])
    assert np.sqrt(np.mean(errors**2)) < 0.12


def test_samples_that_were_not_seen_are_left_out() -> None:
    t_s = np.arange(0.0, 3.0, 1 / RATE_HZ)
    curve = 84.0 + 86.0 * course("smooth", 1.6)(t_s - LEFT_S)
    whole = boundaries(t_s, curve, (0.8, 2.2))
    curve[(t_s > 1.2) & (t_s < 1.6)] = np.nan
    assert boundaries(t_s, curve, (0.8, 2.2)) == pytest.approx(whole, abs=0.03)


def test_where_there_is_too_little_to_see_the_guess_stands() -> None:
    t_s = np.arange(5) / RATE_HZ
    assert boundaries(t_s, np.arange(5.0), (0.02, 0.1)) == (0.02, 0.1)


@pytest.mark.parametrize("flat", [170.0, np.nan])
def test_a_curve_that_does_not_move_gives_boundaries_within_it(flat: float) -> None:
    t_s = np.arange(60) / RATE_HZ
    begins, ends = boundaries(t_s, np.full(60, flat), (0.5, 1.5))
    assert t_s[0] <= begins <= ends <= t_s[-1]


@pytest.mark.parametrize("gives_first", [True, False])
def test_arms_that_give_a_little_and_then_stop_have_not_begun_yet(gives_first: bool) -> None:
    """From before the head arms that lock read as if they gave by 14 degrees, long before."""
    t_s = np.arange(0.0, 4.5, 1 / RATE_HZ)
    small_s, large_s = (1.0, 3.0) if gives_first else (3.4, 0.7)
    way = 0.16 * smoothly_gone(np.clip((t_s - small_s) / 0.5, 0.0, 1.0))
    way = way + 0.84 * smoothly_gone(np.clip((t_s - large_s) / 0.8, 0.0, 1.0))
    curve = 84.0 + 88.0 * way + np.random.default_rng(0).normal(scale=0.5, size=len(t_s))
    begins, ends = boundaries(t_s, curve, first_guess(t_s, curve))
    assert begins == pytest.approx(large_s + 0.06 * 0.8, abs=0.1)
    assert ends == pytest.approx(large_s + 0.94 * 0.8, abs=0.1)


@pytest.mark.parametrize("seed", range(6))
def test_a_jump_of_the_landmarks_is_no_second_movement(seed: int) -> None:
    t_s = np.arange(0.0, 2.0, 1 / RATE_HZ)
    way = smoothly_gone(np.clip((t_s - 0.5) / 0.6, 0.0, 1.0))
    curve = 84.0 + 45.0 * way + np.where(t_s > 1.3, 40.0, 0.0)
    curve += np.random.default_rng(seed).normal(scale=3.0, size=len(t_s))
    begins, ends = boundaries(t_s, curve, first_guess(t_s, curve))
    assert t_s[0] <= begins < ends <= t_s[-1] + 0.2
