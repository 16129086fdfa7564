"""Sets of people in a made-up club, the Harbour Street Movers: nobody filmed them."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from formcheck.log.entry import ClipRef, FaultCount, SetEntry
from formcheck.pose.store import read_track, write_track
from formcheck.pose.track import PoseTrack

FIRST = datetime(2026, 3, 2, 17, 30, tzinfo=UTC)


def entry(day: float = 0.0, **values: Any) -> SetEntry:
    """A clean set on the floor, ``day`` days after the first."""
    made = SetEntry(
        person="ana",
        recorded_at=(FIRST + timedelta(days=day)).strftime("%Y-%m-%dT%H:%M:%SZ"),
        recorded_from="clip",
        folder=f"/sets/{day}",
        variation="floor",
        direction="same",
        attempts=8,
        counted=8,
        clean=7,
        unclear=1,
        rung="floor",
        next_variation="push-up on the floor",
        tempo="2-1-X-1",
        target_reps=10,
        elbow_bottom_deg=82.0,
        elbow_bottom_deg_plus_minus=5.0,
        elbow_top_deg=172.0,
        elbow_top_deg_plus_minus=5.0,
        hip_deviation_deg=3.0,
        hip_deviation_deg_plus_minus=3.0,
        eccentric_s=1.8,
        eccentric_s_plus_minus=0.2,
        bottom_pause_s=1.1,
        bottom_pause_s_plus_minus=0.1,
        concentric_s=0.6,
        concentric_s_plus_minus=0.1,
        top_pause_s=1.1,
        top_pause_s_plus_minus=0.2,
        speed_loss_percent=12.0,
        speed_loss_percent_plus_minus=20.0,
        load_reps=5.6,
        load_reps_plus_minus=0.3,
        clips=(ClipRef(f"clip of {values.get('person', 'ana')} {day}", "set.mp4", "side"),),
        faults={"hip_sag": FaultCount(1, 1)},
    )
    return replace(made, **values)


def report(**values: Any) -> dict[str, Any]:
    """What the log reads of a report: two reps on the floor, filmed from the side."""
    rep = {
        "index": 1, "attempt": "counted", "start_s": 1.0, "bottom_s": 2.0, "top_s": 3.0,
        "end_s": 4.0, "eccentric_s": 1.0, "bottom_pause_s": 0.5, "concentric_s": 0.6,
        "top_pause_s": 0.8, "elbow_bottom_deg": 80.0, "elbow_bottom_deg_plus_minus": 5.0,
        "elbow_top_deg": 170.0, "hip_deviation_deg": 4.0, "elbow_flare_deg": None,
        "hand_spacing_ratio": None, "symmetry_deg": None, "mean_concentric_speed": 0.6,
        "mean_concentric_speed_plus_minus": 0.06, "load_fraction": 0.7,
        "load_fraction_plus_minus": 0.04, "faults": [], "borderline": [],
    }  # fmt: skip
    made: dict[str, Any] = {
        "schema": "formcheck.report/1",
        "clips": [
            {
                "file": "set.mp4", "sha256": "a" * 64, "view": "side", "near_side": "left",
                "duration_s": 20.0, "fps": 30.0, "width": 1280, "height": 720, "frames": 600,
                "frames_with_pose": 600,
            }
        ],
        "prescription": {
            "tempo": "2-1-X-1", "range_standard": "elbow-90", "hands": None, "added_load_kg": 0.0,
        },
        "variation": {
            "support": "toes", "surface": "floor", "inclination_deg": 16.0, "hands": None,
            "arms": "two",
        },
        "reps": [rep, {**rep, "index": 2, "start_s": 5.0, "bottom_s": 6.0, "top_s": 7.0,
                       "end_s": 8.0, "elbow_bottom_deg": 84.0, "borderline": ["hip_sag"]}],
        "faults": [],
        "not_judged": [],
        "set": {
            "attempts": 2, "counted": 2, "clean": 2, "time_under_tension_s": 6.0,
            "pace_per_min": 15.0, "speed_loss_percent": 10.0, "first_breakdown_rep": None,
        },
        "next_step": {"direction": "same", "variation": "push-up on the floor", "why": [],
                      "cautions": []},
    }  # fmt: skip
    return {**made, **values}


def write_report(folder: Path, sha256: str = "a" * 64, **values: Any) -> Path:
    """A report's folder as a set leaves it."""
    made = report(**values)
    made["clips"][0]["sha256"] = sha256
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "report.json").write_text(json.dumps(made), encoding="utf-8")
    return folder


def moments_of(track: PoseTrack, order: np.ndarray) -> PoseTrack:
    """The track's moments in another order, as filmed one after the other."""
    return replace(
        track,
        t_s=np.arange(len(order)) / 15.0,
        xy_px=track.xy_px[order],
        visibility=track.visibility[order],
        world_m=None if track.world_m is None else track.world_m[order],
        duration_s=len(order) / 15.0,
        source_sha256=None,
    )


def write_hold(path: Path) -> Path:
    """Clean Side before the first rep, forth and back: ten seconds on straight arms."""
    track = read_track(Path(__file__).parents[1] / "data" / "clean_side.parquet")
    before = np.flatnonzero((track.t_s > 3.4) & (track.t_s < 6.0))
    write_track(moments_of(track, np.r_[before, before[::-1], before, before[::-1]]), path)
    return path
