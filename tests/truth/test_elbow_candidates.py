"""The comparison of elbow estimates reads what it says it reads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from formcheck.pose.store import read_track
from tests.pinhole import Camera, PushUpSet
from tests.truth.elbow_candidates import candidates_deg, clip_errors, run, table
from tests.truth.truth import read_truth

ROOT = Path(__file__).parents[2]


def test_every_candidate_but_the_models_own_is_right_on_an_arm_in_the_picture_plane() -> None:
    done = PushUpSet(flare_deg=0.0, bottoms_deg=(80.0, 95.0))
    track = done.film(Camera(yaw_deg=0.0, height=0.7, aim=(-1.2, 0.5)), noise_px=0.3)
    t_s, angles = candidates_deg(track, "left")
    for name in ("projection", "lengths", "formcheck"):
        seen = np.interp(done.bottoms_s(), t_s, angles[name])
        assert seen == pytest.approx((80.0, 95.0), abs=9.0), name
    assert np.isnan(angles["world"]).all(), "a track without world landmarks has none"


def test_at_the_bottom_the_weighed_estimate_is_far_nearer_than_the_picture() -> None:
    errors = run(ROOT / "sample_clips", ROOT / "tests" / "data")
    assert errors["clip"].nunique() == 2, "side views only"
    found = table(errors)["bottom MAE"]
    assert found["projection"] > 20.0 and found["formcheck"] < 5.0


def test_an_attempt_that_was_broken_off_is_left_out() -> None:
    truth = read_truth(ROOT / "tests" / "data" / "aborted_side.truth.json")
    exact = pd.DataFrame({"t": [0.0, 60.0], "elbow_right_deg": [90.0, 90.0]})
    errors = clip_errors(truth, exact, read_track(ROOT / "tests" / "data" / "aborted_side.parquet"))
    assert set(errors["rep"]) == {rep.index for rep in truth.reps if not rep.aborted}
