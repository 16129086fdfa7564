"""Smoothing keeps what a push-up does and drops what landmarks do."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from scipy.interpolate import Akima1DInterpolator
from scipy.signal import butter, sosfiltfilt

from formcheck.maths.filtering import (
    CUTOFF_HZ,
    LONGEST_GAP_S,
    TWO_PASS_CORRECTION,
    low_pass,
    resample,
    running_quantile,
    without_outliers,
)
from tests.minimum_jerk import eased

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 30.0


def seconds(lasting_s: float, rate_hz: float = RATE_HZ) -> FloatArray:
    return np.arange(0.0, lasting_s, 1 / rate_hz)


def test_smoothing_does_not_delay() -> None:
    t_s = seconds(6)
    wave = np.sin(2 * np.pi * 0.5 * t_s)  # a rep in two seconds
    assert np.abs(low_pass(wave, RATE_HZ) - wave)[15:-15].max() < 0.01
    assert low_pass(wave, RATE_HZ)[::-1] == pytest.approx(low_pass(wave[::-1], RATE_HZ), abs=0.01)


@pytest.mark.parametrize("cutoff_hz", [1.0, 2.0, CUTOFF_HZ])
def test_half_the_power_is_left_at_the_cut_off_after_both_passes(cutoff_hz: float) -> None:
    """Winter, Biomechanics and Motor Control of Human Movement, 4th ed. 2009 (from memory): the
    design cut-off of a filter run forward and backward is divided by 0.802, (sqrt(2) - 1) ** 0.25,
    so that -3 dB falls where it is asked for."""
    assert pytest.approx(0.802, abs=5e-4) == TWO_PASS_CORRECTION
    rate_hz = 240.0  # well above the cut-off, so that only the passes matter
    t_s = seconds(24, rate_hz)
    wave = np.sin(2 * np.pi * cutoff_hz * t_s)
    middle = slice(len(t_s) // 4, 3 * len(t_s) // 4)
    smooth = low_pass(wave, rate_hz, cutoff_hz)
    left = np.std(smooth[middle]) / np.std(wave[middle])
    assert 20 * np.log10(left) == pytest.approx(-3.01, abs=0.1)
    lag = np.argmax(np.correlate(smooth[middle], wave[middle], "full")) - (len(wave[middle]) - 1)
    assert lag == 0, "zero phase"


@pytest.mark.parametrize(
    ("rate_hz", "cutoff_hz"), [(30.0, 2.0), (30.0, 3.5), (30.0, 6.0), (60.0, 6.0)]
)
def test_smoothing_is_that_of_scipy_s_filter_run_both_ways(
    rate_hz: float, cutoff_hz: float
) -> None:
    rng = np.random.default_rng(4)
    sections = butter(2, cutoff_hz / TWO_PASS_CORRECTION, fs=rate_hz, output="sos")
    for count in (16, 57, 719):
        curves = 120.0 + np.cumsum(rng.normal(size=(count, 3)), axis=0)
        away = np.abs(low_pass(curves, rate_hz, cutoff_hz) - sosfiltfilt(sections, curves, axis=0))
        assert away.max() < 0.15  # at the ends, which scipy continues a little otherwise
        assert count < 100 or away[30:-30].max() < 1e-4


def test_what_a_set_of_60_reps_a_minute_holds_passes_and_jitter_does_not() -> None:
    """6 Hz is the usual choice for human movement (Appl Sci 2025;15(4):2177); one rep a second
    is 1 Hz."""
    assert CUTOFF_HZ == 6.0
    t_s = seconds(10)
    for hz, least, most in [(1.0, 0.99, 1.01), (2.0, 0.97, 1.01), (12.0, 0.0, 0.06)]:
        wave = np.sin(2 * np.pi * hz * t_s)
        left = np.std(low_pass(wave, RATE_HZ)[60:-60]) / np.std(wave[60:-60])
        assert least <= left <= most


def test_a_level_or_a_drift_is_left_as_it_is() -> None:
    line = 90.0 + 2.0 * seconds(5)
    assert low_pass(line, RATE_HZ) == pytest.approx(line, abs=0.05)


def test_a_gap_stays_a_gap_and_spoils_nothing_beside_it() -> None:
    t_s = seconds(8)
    wave = 120 + 40 * np.cos(2 * np.pi * 0.4 * t_s)
    holed = wave.copy()
    holed[100:112] = np.nan
    smooth = low_pass(holed, RATE_HZ)
    assert np.isnan(smooth[100:112]).all() and np.isfinite(np.delete(smooth, range(100, 112))).all()
    assert np.nanmax(np.abs(smooth - wave)) < 1.5


def test_columns_are_smoothed_apart_and_an_empty_one_stays_empty() -> None:
    t_s = seconds(4)
    both = np.stack([np.sin(t_s), np.full(len(t_s), np.nan)], axis=1)
    smooth = low_pass(both, RATE_HZ)
    assert smooth[:, 0] == pytest.approx(low_pass(np.sin(t_s), RATE_HZ))
    assert np.isnan(smooth[:, 1]).all()


def test_too_few_samples_are_handed_back_as_they_are() -> None:
    few = np.array([170.0, 169.0, 120.0, 90.0])
    assert (low_pass(few, RATE_HZ) == few).all()


@pytest.mark.parametrize("pause_s", [0.0, 0.3])
def test_a_pause_of_three_tenths_survives_and_touch_and_go_gains_none(pause_s: float) -> None:
    t_s = seconds(5)
    elbow = 170 - 90 * (eased((t_s - 1) / 1.0) - eased((t_s - 2 - pause_s) / 0.7))
    still = np.abs(np.gradient(low_pass(elbow, RATE_HZ), t_s)) < 15.0
    bottom = still[(t_s > 1.5) & (t_s < 2.5 + pause_s)].sum() / RATE_HZ
    exactly = np.abs(np.gradient(elbow, t_s)) < 15.0
    without_filter = exactly[(t_s > 1.5) & (t_s < 2.5 + pause_s)].sum() / RATE_HZ
    assert bottom == pytest.approx(without_filter, abs=0.07)
    assert bottom > 0.3 if pause_s else bottom < 0.3


@pytest.mark.parametrize("frames", [1, 2, 3])
def test_a_landmark_that_jumps_away_for_some_frames_is_dropped_there_only(frames: int) -> None:
    rng = np.random.default_rng(1)
    place = np.stack([300 + rng.normal(0, 0.6, 200), 200 + rng.normal(0, 0.6, 200)], axis=1)
    place[77 : 77 + frames] += (80, -40)
    kept = without_outliers(np.arange(200) / RATE_HZ, place)
    assert np.isnan(kept[77 : 77 + frames]).all()
    assert np.isfinite(np.delete(kept, slice(77, 77 + frames), axis=0)).all()


@pytest.mark.parametrize("rate_hz", [15.0, 30.0])
def test_a_fast_smooth_movement_is_kept_whole(rate_hz: float) -> None:
    """100 px down and up in 0.6 s: the fastest rep."""
    t_s = seconds(4, rate_hz)
    height = 100 * (eased((t_s - 1) / 0.3) - eased((t_s - 1.3) / 0.3))
    jitter = np.random.default_rng(2).normal(0, 0.7, len(t_s))
    kept = without_outliers(t_s, (height + jitter)[:, None])
    deepest = np.argmax(height)
    assert np.isfinite(kept[deepest - 2 : deepest + 3]).all()


def test_a_movement_looked_at_at_uneven_times_is_kept_whole() -> None:
    """Slow, with a look every 0.2 s, then fast with one every 0.067 s."""
    t_s = np.concatenate([np.arange(0.0, 1.0, 0.2), np.arange(1.0, 1.7, 1 / 15), [1.8, 2.0, 2.2]])
    height = 100 * (eased((t_s - 1) / 0.3) - eased((t_s - 1.3) / 0.3))
    jitter = np.random.default_rng(2).normal(0, 0.7, len(t_s))
    assert np.isfinite(without_outliers(t_s, (height + jitter)[:, None])).all()


def test_unseen_samples_stay_unseen() -> None:
    values = np.ones((50, 1))
    values[10:20] = np.nan
    assert np.isnan(without_outliers(np.arange(50) / RATE_HZ, values)[10:20]).all()


def test_uneven_times_come_out_on_the_grid_at_the_right_moment() -> None:
    """A phone's frame times wander by a third of a frame and more."""
    rng = np.random.default_rng(3)
    t_s = np.sort(seconds(4) + rng.uniform(-0.01, 0.01, 120))
    grid_s = np.arange(0.2, 3.8, 1 / RATE_HZ)
    out = resample(t_s, np.sin(2 * np.pi * t_s)[:, None], grid_s)[:, 0]
    assert out == pytest.approx(np.sin(2 * np.pi * grid_s), abs=0.01)


def test_a_short_loss_is_bridged_and_a_long_one_is_not() -> None:
    t_s = seconds(6)
    grid_s = t_s[5:-5]
    for lost_s, bridged in [(LONGEST_GAP_S - 0.1, True), (LONGEST_GAP_S + 0.1, False)]:
        values = (100.0 + 5 * t_s)[:, None]
        lost = (t_s > 2.0) & (t_s < 2.0 + lost_s)
        values[lost] = np.nan
        out = resample(t_s, values, grid_s)[:, 0]
        there = (grid_s > 2.01) & (grid_s < 2.0 + lost_s - 0.02)
        assert np.isfinite(out[there]).all() == bridged
        assert np.isfinite(out[~((grid_s > 1.9) & (grid_s < 2.1 + lost_s))]).all()
        if bridged:
            assert out == pytest.approx(100 + 5 * grid_s, abs=0.1)


def test_between_uneven_times_it_is_akima_s_curve() -> None:
    """Akima, J ACM 1970;17:589-602, as scipy has it; its curve runs straight through a drift."""
    rng = np.random.default_rng(5)
    t_s = np.sort(rng.uniform(0.0, 2.0, 60))
    values = np.stack([np.sin(5 * t_s), rng.normal(size=60), 3.0 + 2.0 * t_s], axis=1)
    grid_s = np.linspace(-0.1, 2.1, 133)
    expected = Akima1DInterpolator(t_s, values, axis=0)(grid_s)
    assert resample(t_s, values, grid_s) == pytest.approx(expected, abs=1e-9, nan_ok=True)


def test_nothing_is_made_up_before_the_first_and_after_the_last_sight() -> None:
    t_s = np.linspace(1.0, 2.0, 31)
    out = resample(t_s, np.ones((31, 1)), np.array([0.5, 1.5, 2.5]))[:, 0]
    assert np.isnan(out[[0, 2]]).all() and out[1] == 1.0


def test_a_landmark_hardly_ever_seen_is_not_interpolated() -> None:
    t_s = seconds(1)
    values = np.full((len(t_s), 2), np.nan)
    values[:, 0] = 1.0
    values[[3, 9, 20, 28], 1] = 1.0
    out = resample(t_s, values, t_s)
    assert np.isfinite(out[:, 0]).all() and np.isnan(out[:, 1]).all()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_running_quantile_is_the_one_that_pandas_gives(share: float) -> None:
    rng = np.random.default_rng(3)
    curves = rng.normal(size=(200, 2))
    curves[rng.random(200) < 0.3] = np.nan
    curves[60:120] = np.nan
    table = pd.DataFrame(curves)
    before = table.rolling(30, min_periods=1).quantile(share).to_numpy()
    assert running_quantile(curves, share, 29, 0) == pytest.approx(before, nan_ok=True)
    around = table.rolling(31, center=True, min_periods=1).quantile(share).to_numpy()
    assert running_quantile(curves, share, 15, 15) == pytest.approx(around, nan_ok=True)
