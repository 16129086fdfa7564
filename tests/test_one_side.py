"""A track of one side of the body only, as some trackers and annotated data sets give."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.analysis import analyse
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack
from tests.truth.truth import read_truth

DATA = Path(__file__).parent / "data"
SIDE_VIEWS = sorted(path.stem for path in DATA.glob("*_side.parquet"))
OTHER = {
    name: name.replace("left", "right") if "left" in name else name.replace("right", "left")
    for name in LANDMARKS
}
FRONT_VIEWS = sorted(path.stem for path in DATA.glob("*_front.parquet"))


def without(track: PoseTrack, side: str, but_every: int = 0) -> PoseTrack:
    """One side blanked, but in one picture of ``but_every``; who tracks it gives no visibility."""
    xy = track.xy_px.copy()
    gone = np.ones(len(xy), dtype=bool)
    if but_every:
        gone[::but_every] = False
    for i, name in enumerate(LANDMARKS):
        if side in name:
            xy[gone, i] = np.nan
    visibility = np.where(np.isfinite(xy[..., 0]), 1.0, np.nan)
    return replace(track, xy_px=xy, visibility=visibility, world_m=None)


def with_near_side_called(side: str, clip: str) -> PoseTrack:
    """The clip's well seen side alone, called left or right, whichever way the body faces."""
    track = read_track(DATA / f"{clip}.parquet")
    if read_truth(DATA / f"{clip}.truth.json").near_side != side:
        order = [INDEX[OTHER.get(name, name)] for name in LANDMARKS]
        track = replace(track, xy_px=track.xy_px[:, order])
    return without(track, "left" if side == "right" else "right")


@pytest.mark.parametrize("seen", ["left", "right"])
@pytest.mark.parametrize("clip", SIDE_VIEWS)
def test_the_near_side_is_the_one_that_faces_the_camera_by_whichever_name_it_goes(
    clip: str, seen: str
) -> None:
    truth = read_truth(DATA / f"{clip}.truth.json")
    track = with_near_side_called(seen, clip)
    judged = analyse([track])
    assert (judged.looks[0].view.kind, judged.looks[0].view.near_side) == ("side", truth.near_side)
    assert track.frames_with_pose == len(track.t_s)
    assert len(judged.reps) == len(truth.reps)


@pytest.mark.parametrize("gone", ["left", "right"])
@pytest.mark.parametrize("clip", SIDE_VIEWS)
def test_a_side_seen_now_and_then_changes_nothing(clip: str, gone: str) -> None:
    track = read_track(DATA / f"{clip}.parquet")
    alone, spliced = analyse([without(track, gone)]), analyse([without(track, gone, but_every=7)])
    assert len(alone.reps) == len(read_truth(DATA / f"{clip}.truth.json").reps)
    assert spliced.looks[0].view == alone.looks[0].view
    assert [rep.rep.bottom_s for rep in spliced.reps] == pytest.approx(
        [rep.rep.bottom_s for rep in alone.reps], abs=0.05
    )


@pytest.mark.parametrize("gone", ["left", "right"])
@pytest.mark.parametrize("clip", FRONT_VIEWS)
def test_half_a_front_view_accuses_nobody(clip: str, gone: str) -> None:
    judged = analyse([without(read_track(DATA / f"{clip}.parquet"), gone)])
    assert judged.faults == ()
