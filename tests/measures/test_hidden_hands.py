"""Where the hands are hidden nothing that hangs on them is told, and nobody is accused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.measures.hidden_hands import HANDS_HIDDEN
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX

DATA = Path(__file__).parents[1] / "data"
HANDS = [INDEX[f"{s}_{j}"] for s in ("left", "right") for j in ("wrist", "index", "pinky", "thumb")]


def behind_something(clip: str, chance: float) -> Analysis:
    """The set with its hands hidden: the model guesses them over the elbows, at this chance."""
    track = read_track(DATA / f"{clip}.parquet")
    xy, visibility = track.xy_px.copy(), track.visibility.copy()
    noise = np.random.default_rng(0).normal(0.0, 6.0, (len(xy), 2))
    for side in ("left", "right"):
        guess = 0.4 * track.xy(f"{side}_elbow") + 0.6 * track.xy(f"{side}_wrist") + noise
        for joint in ("wrist", "index", "pinky", "thumb"):
            xy[:, INDEX[f"{side}_{joint}"]] = guess
    visibility[:, HANDS] = chance
    return analyse([replace(track, xy_px=xy, visibility=visibility)])


@pytest.mark.parametrize("clip", ["clean_side", "clean_front"])
def test_guessed_hands_accuse_nobody_and_raise_no_surface(clip: str) -> None:
    judged = behind_something(clip, 0.3)
    assert judged.faults == ()
    assert judged.variation.surface is None
    for result in judged.reps:
        assert result.values["elbow_bottom_deg"].reason == HANDS_HIDDEN


def test_hands_that_are_not_seen_at_all_are_why_there_is_no_rep() -> None:
    (why,) = behind_something("clean_side", 0.05).not_judged
    assert (why.key, why.reason) == ("reps", HANDS_HIDDEN)
