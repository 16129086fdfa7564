from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.pose.store import read_track
from formcheck.pose.track import PoseTrack
from formcheck.reps.early import early_set

TRACKS = Path(__file__).parents[1] / "data"


def first(name: str, seconds: float) -> PoseTrack:
    """The beginning of a saved track, as a search hands it on."""
    track = read_track(TRACKS / f"{name}.parquet")
    count = int(np.searchsorted(track.t_s, seconds, side="right"))
    return replace(
        track,
        t_s=track.t_s[:count],
        xy_px=track.xy_px[:count],
        visibility=track.visibility[:count],
        world_m=None,
    )


@pytest.mark.parametrize("name", ["hip_sag_side", "clean_front"])
def test_reps_come_one_after_the_other_as_the_track_grows(name: str) -> None:
    whole = read_track(TRACKS / f"{name}.parquet").duration_s
    looks = [early_set(first(name, share * whole)) for share in (0.0, 0.3, 0.6, 1.0)]
    counts = [len(one.reps) for one in looks]
    assert counts[0] == 0 and counts == sorted(counts)
    assert counts[3] == {"hip_sag_side": 6, "clean_front": 5}[name]
    assert looks[1].until_s < 0.31 * whole and looks[1].duration_s == whole
    assert all(end <= one.until_s for one in looks for _, end in one.reps)
    assert all(0 <= share <= 1 for _, share in looks[3].curve)


@pytest.mark.parametrize("name", ["hip_sag_side", "clean_front", "oblique"])
def test_the_first_rep_shows_as_soon_as_the_search_has_come_to_its_end(name: str) -> None:
    truth = json.loads((TRACKS / f"{name}.truth.json").read_text(encoding="utf-8"))
    assert len(early_set(first(name, truth["reps"][0]["end_s"])).reps) == 1


def test_a_clip_with_nobody_in_it_shows_no_rep() -> None:
    track = first("hip_sag_side", 5.0)
    gone = replace(track, xy_px=np.full_like(track.xy_px, np.nan))
    assert early_set(gone).seen == 0.0 and early_set(gone).reps == ()
