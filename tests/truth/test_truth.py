"""The whole middle over saved pose tracks of rendered clips, against their exact truth.

The tracks in tests/data come from the landmark model on computer-rendered clips (see
sample_clips/README.md); the truth is the prescribed motion. The bars are the accuracy that
the README promises. `python -m tests.truth.bench` prints the same as a table.
"""

from __future__ import annotations

import dataclasses
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from formcheck.analysis import analyse, rejudge
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.limits import default_limits, with_values
from formcheck.pose.store import read_track
from formcheck.pose.track import PoseTrack
from tests.truth import bench, scoring, stress
from tests.truth.truth import read_truth

pytestmark = pytest.mark.slow

DATA = Path(__file__).parents[1] / "data"
SAMPLES = Path(__file__).parents[2] / "sample_clips"
SIDE_BARS = {
    "eccentric_s": 0.10,
    "concentric_s": 0.10,
    "bottom_pause_s": 0.10,
    "top_pause_s": 0.10,
    "elbow_bottom_deg": 4.0,
    "elbow_top_deg": 5.0,
    "hip_deviation_deg": 3.0,
    "inclination_deg": 3.0,
    "head_angle_deg": 8.0,
    "elbow_flare_deg": 4.0,
}
FRONT_BARS = {
    "eccentric_s": 0.15,
    "concentric_s": 0.15,
    "bottom_pause_s": 0.15,
    "elbow_flare_deg": 8.0,
    "hand_spacing_ratio": 0.12,
}


@pytest.fixture(scope="module")
def scores() -> bench.Scores:
    return bench.run(DATA, DATA)[0]


def mean_error(errors: pd.DataFrame, view: str, quantity: str) -> float:
    chosen = errors[(errors["view"] == view) & (errors["quantity"] == quantity)]
    assert len(chosen) >= 10, f"{quantity} was hardly ever measured from the {view}"
    return float((chosen["measured"] - chosen["truth"]).abs().mean())


def test_every_attempt_and_its_bottom_is_found_and_no_other(scores: bench.Scores) -> None:
    clips = scores.clips
    wrong = clips[(clips["attempts"] != clips["true"]) | (clips["bottoms"] != clips["true"])]
    assert wrong.empty, wrong.to_string()


# Tops that one picture cannot tell: a bent arm looks like a short one. Two sets of these clips read
# on the wrong side of the lockout now that no constant is set on them.
HARD_TOPS = {"soft_lockout_side", "flared_pair_side"}


def test_aborted_and_short_reps_are_told_apart(scores: bench.Scores) -> None:
    wrong = scores.clips["kinds_wrong"]
    assert wrong[~wrong.index.isin(HARD_TOPS)].sum() == 0, wrong.to_string()
    assert wrong.sum() <= 6, wrong.to_string()


def test_view_and_near_side_are_recognised(scores: bench.Scores) -> None:
    assert scores.clips["view_right"].all() and scores.clips["near_right"].all()


def test_support_and_surface_are_recognised_from_the_side(scores: bench.Scores) -> None:
    side = scores.clips[scores.clips.index.str.contains("side|portrait")]
    assert set(side["support"]) == {"right"} and set(side["surface"]) == {"right"}, side.to_string()


@pytest.mark.parametrize(("quantity", "bar"), SIDE_BARS.items())
def test_side_view_error_stays_below_its_bar(
    scores: bench.Scores, quantity: str, bar: float
) -> None:
    assert mean_error(scores.errors, "side", quantity) <= bar


@pytest.mark.parametrize(("quantity", "bar"), FRONT_BARS.items())
def test_front_view_error_stays_below_its_bar(
    scores: bench.Scores, quantity: str, bar: float
) -> None:
    assert mean_error(scores.errors, "front", quantity) <= bar


def test_stated_uncertainty_covers_the_errors_it_should(scores: bench.Scores) -> None:
    """Over all quantities 90 to 99 % of the errors lie inside the stated ±, and none far off."""
    stated = scores.errors.dropna(subset=["plus_minus"])
    covered = (stated["measured"] - stated["truth"]).abs() <= stated["plus_minus"]
    assert 0.90 <= covered.mean() <= 0.99
    for quantity, share in covered.groupby(stated["quantity"]).mean().items():
        assert share >= 0.80, f"{quantity}: only {share:.0%} inside the stated ±"


def test_faults_are_found_and_nobody_is_wrongly_accused(scores: bench.Scores) -> None:
    """Each set at its own tempo, so nearly all of form.

    The bars of firm finds were 0.90 while every ± was set on these same clips. A ± that holds on
    bodies never seen is up to twice as wide, and what lies inside it is borderline, not a fault.
    """
    overall = scoring.precision_recall(scores.outcomes).loc["all"]
    assert overall["precision"] >= 0.95
    assert overall["recall_marked"] >= 0.60
    assert overall["noticed"] >= 0.75


def test_held_to_one_tempo_three_in_four_faults_are_firm_and_none_is_false() -> None:
    """As a coach asks one tempo of all: every fault that is there, form and tempo, counts.

    Four in five were firm until the ± of a lowering seen from the front, which rests on few
    bodies, was widened for that; those it cost are borderline.
    """
    outcomes = bench.run(DATA, DATA, parse_tempo("2-1-X-1"))[0].outcomes
    overall = scoring.precision_recall(outcomes).loc["all"]
    assert overall["hit"] + overall["missed"] > 100
    assert overall["precision"] >= 0.95
    assert overall["recall"] >= 0.75
    assert overall["recall_marked"] >= 0.85
    assert overall["noticed"] >= 0.95


@pytest.mark.parametrize("clip", ["clean_side", "clean_front"])
def test_a_clean_set_carries_no_fault(scores: bench.Scores, clip: str) -> None:
    outcomes = scores.outcomes
    raised = outcomes[(outcomes["clip"] == clip) & (outcomes["verdict"] == "fault")]
    assert raised.empty, raised.to_string()


def test_two_clips_of_one_set_are_laid_over_each_other(scores: bench.Scores) -> None:
    assert len(scores.pairs) >= 1
    assert (scores.pairs["offset_error_s"].abs() <= 0.05).all()
    assert (scores.pairs["bottoms"] == scores.pairs["true"]).all()
    assert (scores.pairs["attempts"] == scores.pairs["true"]).all()


def test_load_agrees_with_the_same_model_on_the_exact_joints() -> None:
    errors = bench.run(SAMPLES, DATA)[0].errors
    load = errors[errors["quantity"].str.startswith("load_fraction")]
    assert len(load) >= 20
    assert ((load["measured"] - load["truth"]).abs() <= 0.03).all()
    top, bottom = (
        load[load["quantity"] == f"load_fraction_{end}"].set_index(["clip", "rep"])["measured"]
        for end in ("top", "bottom")
    )
    # level floor; the bands hold published static values with room (Suprak 2011, 69 % up and
    # 75 % down; Mier 2014, 65 to 67 % up and 70 to 75 % down)
    assert top.between(0.62, 0.74).all() and bottom.between(0.68, 0.79).all()
    assert (bottom > top).all()


def test_the_smaller_model_counts_as_well() -> None:
    clips = bench.run(DATA / "full", DATA / "full")[0].clips
    assert (clips["attempts"] == clips["true"]).all() and (clips["bottoms"] == clips["true"]).all()


def test_a_minute_is_judged_again_with_other_limits_within_50_ms() -> None:
    track = a_minute_of(read_track(DATA / "hip_sag_side.parquet"), start_s=1.0, end_s=22.0)
    measured = analyse([track])
    assert len(measured.reps) >= 15
    stricter = with_values(default_limits(), {"hip_sag": 5.0})
    took = []
    for _ in range(5):
        started = time.process_time()
        analysis = rejudge(measured, stricter)
        took.append(time.process_time() - started)
    assert min(took) < 0.050, f"{1000 * min(took):.0f} ms"
    assert len(analysis.faults) > len(measured.faults)


CHANGED = ("aborted_side", "too_fast_side", "incline_side", "oblique", "close_front")


@pytest.mark.parametrize("clip", CHANGED)
@pytest.mark.parametrize(
    "change",
    [
        "mirrored",
        "touch and go",
        "no pause at the top",
        "8 s of rest after rep 2",
        "clip starts in mid-rep",
        "clip ends in mid-rep",
        "lost 0.3 s every 4 s",
        "sides confused 0.6 s every 4 s",
        "camera in the hand, wandering",
        "camera turning by an arm",
        "camera coming nearer by a third",
        "walks in, and back to the camera",
    ],
)
def test_attempts_are_found_however_the_set_was_done_and_recorded(clip: str, change: str) -> None:
    truth, track = stress.changes(DATA)[change](
        clip, read_truth(DATA / f"{clip}.truth.json"), read_track(DATA / f"{clip}.parquet")
    )
    analysis = analyse([track])
    found = scoring.matched_results(analysis, truth)
    assert len(found) == len(truth.reps) == len(analysis.reps)
    for rep, result in found:
        assert (result.attempt == "aborted") == rep.aborted


def a_minute_of(track: PoseTrack, start_s: float, end_s: float) -> PoseTrack:
    """The stretch between the two times, over and over, until a minute is full."""
    step_s = float(np.median(np.diff(track.t_s)))
    stretch = np.flatnonzero((track.t_s >= start_s) & (track.t_s < end_s))
    rows = np.resize(stretch, int(60 / step_s))
    return dataclasses.replace(
        track,
        t_s=np.linspace(0.0, (len(rows) - 1) * step_s, len(rows)),
        xy_px=track.xy_px[rows],
        visibility=track.visibility[rows],
        world_m=None,
        duration_s=60.0,
        frames=int(60 * track.fps),
    )
