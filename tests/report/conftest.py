"""Sets to report on: judged from saved pose tracks, so that no landmark model runs here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.clip.read import probe
from formcheck.clip.small import Drawn
from formcheck.pose.store import read_track
from formcheck.pose.track import PoseTrack
from formcheck.report.write import write_report

ROOT = Path(__file__).parents[2]
CLIPS = ROOT / "sample_clips"
TRACKS = ROOT / "tests" / "data"


def judged(*names: str, tempo: str | None = None) -> Analysis:
    """A saved set, judged against a tempo or none."""
    asked = Prescription(tempo=parse_tempo(tempo) if tempo else None)
    return analyse([read_track(TRACKS / f"{name}.parquet") for name in names], asked)


def nobody(frames: int = 90) -> Analysis:
    """A clip in which no one was seen."""
    unseen = np.full((frames, 33, 2), np.nan)
    track = PoseTrack(
        np.arange(frames) / 30.0, unseen, unseen[..., 0], None, 640, 360, 30.0, frames / 30.0,
        frames, "nobody.mp4",
    )  # fmt: skip
    return analyse([track])


def hold(seconds: float) -> Analysis:
    """The top of a set, held: one moment of it, frozen."""
    track = read_track(TRACKS / "hip_sag_side.parquet")
    frames = round(30 * seconds) + 1
    xy_px, seen = (np.repeat(a[30:31], frames, axis=0) for a in (track.xy_px, track.visibility))
    still = replace(
        track, t_s=np.arange(frames) / 30.0, xy_px=xy_px, visibility=seen, world_m=None,
        duration_s=seconds, frames=frames,
    )  # fmt: skip
    return analyse([still])


@dataclass(frozen=True)
class Written:
    """A report on disk and the set it tells of."""

    folder: Path
    analysis: Analysis


@pytest.fixture(scope="session")
def sagging() -> Analysis:
    """Six reps, hips sinking further with each; every rep too fast for the tempo asked."""
    return judged("hip_sag_side", tempo="3-1-X-1")


@pytest.fixture(scope="session")
def short_range() -> Analysis:
    """Six reps of which most do not reach depth."""
    return judged("partial_side")


@pytest.fixture(scope="session")
def broken_off() -> Analysis:
    """Five attempts, the fourth not finished."""
    return judged("aborted_side")


@pytest.fixture(scope="session")
def written(sagging: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Written:
    """The sagging set with its clip, a hostile note included."""
    folder = tmp_path_factory.mktemp("sagging")
    write_report(
        sagging, [Drawn(probe(CLIPS / "hip_sag_side.mp4"))], folder, xlsx=True,
        note="<script>document.title='note ran'</script>",
    )  # fmt: skip
    return Written(folder, sagging)
