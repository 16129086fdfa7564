"""The exact truth that comes with a rendered clip: `NAME.truth.json` and `NAME.truth.csv`."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from formcheck.asked.tempo import Tempo, parse_tempo
from formcheck.pose.track import INDEX, LANDMARKS, PoseTrack

# Truth fields by the report contract's names. Phases are compared with the boundaries at 5 %
# of the peak joint speed, which is how formcheck defines them.
VALUE_FIELDS: Mapping[str, str] = {
    "eccentric_s": "eccentric_5pct_s",
    "bottom_pause_s": "bottom_pause_5pct_s",
    "concentric_s": "concentric_5pct_s",
    "top_pause_s": "top_pause_5pct_s",
    "elbow_bottom_deg": "elbow_bottom_deg",
    "elbow_top_deg": "elbow_top_deg",
    "hip_deviation_deg": "hip_deviation_deg",
    "head_angle_deg": "head_angle_deg",
    "elbow_flare_deg": "elbow_flare_deg",
    "elbow_flare_left_deg": "elbow_flare_left_deg",
    "elbow_flare_right_deg": "elbow_flare_right_deg",
    "hand_spacing_ratio": "hand_spacing_ratio",
    "inclination_deg": "inclination_top_deg",
}


@dataclass(frozen=True)
class TruthRep:
    """One attempt; seconds of the clip. ``values`` by the report contract's names."""

    index: int
    aborted: bool
    start_s: float
    bottom_start_s: float
    bottom_end_s: float
    top_s: float
    end_s: float
    values: Mapping[str, float]


@dataclass(frozen=True)
class TruthSet:
    """What one clip shows. ``view`` is side, front or oblique."""

    name: str
    view: str
    near_side: str | None
    set_id: str
    clip_start_in_set_s: float
    duration_s: float
    support: str
    surface: str
    note: str
    reps: tuple[TruthRep, ...]

    @property
    def tempo(self) -> Tempo | None:
        """The tempo that the note says the set was done at, if it says so."""
        stated = re.search(r"tempo (\S+)", self.note)
        return parse_tempo(stated.group(1)) if stated else None


def read_truth(path: Path) -> TruthSet:
    """Read a `NAME.truth.json`."""
    raw = json.loads(path.read_text())
    variation = raw["variation"]
    return TruthSet(
        name=path.name.removesuffix(".truth.json"),
        view=raw["view"].split("-")[0],
        near_side=raw["near_side"],
        set_id=raw["set_id"],
        clip_start_in_set_s=raw["clip_start_in_set_s"],
        duration_s=raw["duration_s"],
        support=variation["support"],
        surface=variation["surface"],
        note=raw.get("note", ""),
        reps=tuple(_rep(entry) for entry in raw["reps"]),
    )


def _rep(entry: Mapping[str, float | str]) -> TruthRep:
    values = {name: float(entry[field]) for name, field in VALUE_FIELDS.items() if field in entry}
    return TruthRep(
        index=int(entry["index"]),
        aborted=entry["attempt"] == "aborted",
        start_s=float(entry["start_5pct_s"]),
        bottom_start_s=float(entry["bottom_start_5pct_s"]),
        bottom_end_s=float(entry["bottom_end_5pct_s"]),
        top_s=float(entry["top_5pct_s"]),
        end_s=float(entry["end_s"]),
        values=values,
    )


def exact_track(truth: TruthSet, csv: Path, width: int, height: int) -> PoseTrack:
    """The exact joint centres of `NAME.truth.csv` as a pose track, every point fully visible.

    Points the truth does not know (hands, feet, mouth) are NaN, so what needs them is not
    measured.
    """
    table = pd.read_csv(csv)
    xy = np.full((len(table), len(LANDMARKS), 2), np.nan)
    for name, i in INDEX.items():
        if f"{name}_x" in table:
            xy[:, i] = table[[f"{name}_x", f"{name}_y"]]
    time_s = table["t"].to_numpy(float)
    return PoseTrack(
        t_s=time_s,
        xy_px=xy,
        visibility=np.where(np.isfinite(xy[..., 0]), 1.0, np.nan),
        world_m=None,
        width=width,
        height=height,
        fps=float(1 / np.median(np.diff(time_s))),
        duration_s=truth.duration_s,
        frames=len(table),
        source_name=f"{truth.name}.truth.csv",
    )
