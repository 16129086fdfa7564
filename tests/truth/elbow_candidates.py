"""Which estimate of the elbow angle is nearest the truth in a side view?

    python -m tests.truth.elbow_candidates FOLDER --tracks DIR [--out DIR]

FOLDER holds `NAME.truth.json` and `NAME.truth.csv`, DIR the pose tracks `NAME.parquet`. At the
bottom and at the top of every rep that was not broken off, four candidates for the near elbow
are compared with the exact angle; tops whose elbows truly stay below 160 degrees ("soft top")
have columns of their own:

- projection: the angle in the picture
- lengths: each segment's hidden part from its length in the picture against its longest
- world: the landmark model's own metric landmarks
- formcheck: a body fitted to the whole set (`signals/body_fit.py`)
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from formcheck.maths.filtering import low_pass, resample
from formcheck.maths.geometry import joint_angle_deg, length
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.signals.curves import read_signals
from formcheck.signals.view import recognise_view
from tests.truth.truth import TruthSet, read_truth

FloatArray = npt.NDArray[np.float64]

JOINTS = ("shoulder", "elbow", "wrist")
CANDIDATES = ("projection", "lengths", "world", "formcheck")
ENDS = ("bottom", "top", "soft top")
_LONGEST = 97.0  # percentile that stands for the longest without chasing noise
_LOCKED_DEG = 160.0  # a top that truly stays below this is told apart
_AT_TOP_S = 0.3  # the top is read from reaching it until this long after


def candidates_deg(track: PoseTrack, near: str) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Times (M,) of an even grid and each candidate's elbow angle (M,) there."""
    signals = read_signals(track, recognise_view(track))
    shoulder, elbow, wrist = (
        _smoothed(track, track.xy(f"{near}_{joint}"), signals.t_s) for joint in JOINTS
    )
    out = {
        "projection": joint_angle_deg(shoulder, elbow, wrist),
        "lengths": _by_lengths(shoulder, elbow, wrist, signals.in_position),
        "world": np.full(len(signals.t_s), np.nan),
        "formcheck": signals.elbow_deg,
    }
    if track.world_m is not None:
        world = (track.world_m[:, INDEX[f"{near}_{joint}"]] for joint in JOINTS)
        out["world"] = joint_angle_deg(*(_smoothed(track, xyz, signals.t_s) for xyz in world))
    return signals.t_s, out


def _smoothed(track: PoseTrack, points: FloatArray, grid_s: FloatArray) -> FloatArray:
    return low_pass(resample(track.t_s, points, grid_s), 1 / float(grid_s[1] - grid_s[0]))


def _by_lengths(
    shoulder: FloatArray, elbow: FloatArray, wrist: FloatArray, use: npt.NDArray[np.bool_]
) -> FloatArray:
    """The naive way: what a segment lacks of its longest length points along the line of sight.

    The upper arm goes toward the camera and the forearm comes back by as much of its own.
    """

    def in_space(segment: FloatArray, sign: float) -> FloatArray:
        seen = length(segment)
        whole = np.nanpercentile(seen[use], _LONGEST)
        hidden = sign * np.sqrt(np.maximum(whole**2 - seen**2, 0.0))
        return np.concatenate([segment, hidden[:, None]], axis=1)

    upper, forearm = in_space(elbow - shoulder, 1.0), in_space(wrist - elbow, -1.0)
    return joint_angle_deg(-upper, np.zeros_like(upper), forearm)


def clip_errors(truth: TruthSet, exact: pd.DataFrame, track: PoseTrack) -> pd.DataFrame:
    """One row a rep, end and candidate: the error (deg) against the exact near elbow."""
    near = truth.near_side or "left"
    t_s, angles = candidates_deg(track, near)
    true = np.interp(t_s, exact["t"], exact[f"elbow_{near}_deg"])
    rows = []
    for rep in truth.reps:
        if rep.aborted:
            continue
        top = "top" if rep.values["elbow_top_deg"] >= _LOCKED_DEG else "soft top"
        ends = {
            "bottom": (rep.bottom_start_s, rep.bottom_end_s),
            top: (rep.top_s, min(rep.top_s + _AT_TOP_S, rep.end_s)),
        }
        for end, (from_s, to_s) in ends.items():
            there = (t_s >= from_s) & (t_s <= to_s)
            for name in CANDIDATES:
                error = (angles[name] - true)[there & np.isfinite(angles[name])]
                mean = float(error.mean()) if len(error) else np.nan
                rows.append((truth.name, rep.index, end, name, mean))
    return pd.DataFrame(rows, columns=["clip", "rep", "end", "candidate", "error_deg"])


def table(errors: pd.DataFrame) -> pd.DataFrame:
    """Mean absolute error and bias (deg) of each candidate at both ends, in the order of ENDS."""
    grouped = errors.groupby(["candidate", "end"])["error_deg"]
    found = pd.DataFrame({"MAE": grouped.apply(lambda e: e.abs().mean()), "bias": grouped.mean()})
    wide = found.unstack("end").reindex(CANDIDATES)
    wide.columns = [f"{end} {what}" for what, end in wide.columns]
    wanted = [f"{end} {what}" for end in ENDS for what in ("MAE", "bias")]
    return wide[[name for name in wanted if name in wide]].round(1)


def run(folder: Path, tracks: Path) -> pd.DataFrame:
    """Errors over all side clips of a folder that have a saved track."""
    out = []
    for path in sorted(folder.glob("*.truth.json")):
        truth, saved = read_truth(path), tracks / f"{path.name.removesuffix('.truth.json')}.parquet"
        if truth.view == "side" and saved.exists():
            exact = pd.read_csv(folder / f"{truth.name}.truth.csv")
            out.append(clip_errors(truth, exact, read_track(saved)))
    return pd.concat(out, ignore_index=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--out", type=Path, help="write elbow_candidates.csv here")
    args = parser.parse_args()
    errors = run(args.folder, args.tracks)
    print(
        f"{errors['clip'].nunique()} side clips, {len(errors) // (2 * len(CANDIDATES))} reps, deg"
    )
    print(table(errors).to_string())
    if args.out:
        table(errors).to_csv(args.out / "elbow_candidates.csv")


if __name__ == "__main__":
    main()
