"""How often the pose is looked for, and what all clips read: errors and coverage as they are now.

    python -m tests.truth.pace CLIPS... --tracks TRACKS --out tests/truth/latest

Scored with the calibration as it ships, on clips that are among those it was learned from: a fit
(bodies left out stand in `left_out.csv`). How often it is looked for: `formcheck/pose/pace.py`.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import pandas as pd

from formcheck.analysis import analyse
from formcheck.pose.model import POSE_RATE_HZ
from tests.truth import scoring
from tests.truth.calibrate import Case, read_cases

SHOWN = (
    "eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s", "elbow_bottom_deg",
    "elbow_top_deg", "hip_deviation_deg", "head_angle_deg", "elbow_flare_deg",
    "hand_spacing_ratio",
)  # fmt: skip


def scored(cases: list[Case]) -> tuple[pd.DataFrame, dict[str, float]]:
    """Errors by view and quantity, and how many looks and sets they rest on."""
    errors, looks, full, exact = [], 0, 0.0, 0
    for case in cases:
        analysis = analyse([case.track])
        errors.append(scoring.value_errors(analysis, case.truth))
        looks += len(case.track.t_s)
        full += POSE_RATE_HZ * case.track.duration_s
        whole = [rep for rep in case.truth.reps if rep.bottom_start_s >= 0]
        exact += len(analysis.reps) == len(whole)
    table = scoring.agreement(pd.concat(errors), ["view", "quantity"])
    table = table[table.index.get_level_values("quantity").isin(SHOWN)].sort_index()
    told = {"clips": len(cases), "attempts exact": exact, "share of looks": round(looks / full, 2)}
    return table[["n", "bias", "mae", "coverage", "mean_plus_minus"]], told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clips", type=Path, nargs="+")
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    asked = parser.parse_args()
    table, told = scored(read_cases(asked.clips, asked.tracks))
    table.round(3).to_csv(asked.out / "pace.csv")
    pd.DataFrame([told]).to_csv(asked.out / "pace_sets.csv", index=False)
    print(table.round(3).to_string(), told, sep="\n")


if __name__ == "__main__":
    main()
