"""Error against cost of the landmark models and pose rates: which one should be the default?

    python -m tests.truth.model_trade CLIPS OUT [--model full heavy …] [--tracks full=DIR …]

For each model the pose is run at the pace that 30 looks a second ask for on every clip that has a
truth (or saved tracks are read, and the cost is timed on one clip), thinned to each pose rate, and
judged. Written to OUT: `model_trade.csv` and `model_trade.png`. Error is the mean absolute error
over side views; cost is CPU time of decoding and inference for a second of clip.

Thinning a track of more looks is a little kinder than running the model on fewer frames,
because in video mode each frame is searched where the last one found the person.
"""

from __future__ import annotations

import argparse
import time
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from formcheck.clip.read import probe
from formcheck.maths.geometry import joint_angle_deg
from formcheck.pose.landmarker import find_pose
from formcheck.pose.model import find_model
from formcheck.pose.store import write_track
from formcheck.pose.track import PoseTrack
from tests.truth import bench, scoring
from tests.truth.refilm import at_rate
from tests.truth.truth import exact_track, read_truth

RATES_HZ = (30.0, 15.0, 10.0)
SHOWN = ("elbow_bottom_deg", "elbow_top_deg", "hip_deviation_deg", "eccentric_s", "concentric_s")


def projected_elbow_error_deg(track: PoseTrack, exact: PoseTrack, near: str) -> float:
    """Mean absolute error of the near elbow's image angle: the model's own, before we touch it."""
    joints = [f"{near}_{joint}" for joint in ("shoulder", "elbow", "wrist")]
    rows = np.searchsorted(exact.t_s, track.t_s - 1e-3)
    found = joint_angle_deg(*(track.xy(name) for name in joints))
    true = joint_angle_deg(*(exact.xy(name)[rows] for name in joints))
    return float(np.nanmean(np.abs(found - true)))


def make_tracks(model: str, clips: list[Path], folder: Path) -> float:
    """Pose of every frame of the clips; returns CPU milliseconds a frame, decoding included."""
    folder.mkdir(parents=True, exist_ok=True)
    cpu_s, frames = 0.0, 0
    for clip in clips:
        started = time.process_time()
        track = find_pose(probe(clip), find_model(model), rate_hz=RATES_HZ[0])
        cpu_s, frames = cpu_s + time.process_time() - started, frames + len(track.t_s)
        write_track(track, folder / f"{clip.stem}.parquet")
    return 1000 * cpu_s / frames


def trade(name: str, cost_ms: float, clips: Path, tracks: Path) -> list[dict[str, object]]:
    """One row a pose rate."""
    rows: list[dict[str, object]] = []
    for rate_hz in RATES_HZ:
        scores, cases = bench.run(
            clips, tracks, with_load=False, change=partial(at_rate, rate_hz=rate_hz)
        )
        side = scores.errors[scores.errors["view"] == "side"]
        found = scoring.agreement(side)["mae"]
        overall = scoring.precision_recall(scores.outcomes).loc["all"]
        projected = []
        for case in cases:
            track = case.analysis.looks[0].track
            exact = exact_track(
                case.truth, clips / f"{case.truth.name}.truth.csv", track.width, track.height
            )
            if case.truth.view == "side" and case.truth.near_side:
                projected.append(projected_elbow_error_deg(track, exact, case.truth.near_side))
        rows.append(
            {
                "model": name,
                "rate_hz": rate_hz,
                "ms_per_frame": cost_ms,
                "cpu_s_per_clip_s": cost_ms * rate_hz / 1000,
                "clips_exact": int(
                    ((scores.clips["attempts"] == scores.clips["true"])
                     & (scores.clips["bottoms"] == scores.clips["true"])).sum()
                ),
                "projected_elbow_deg": float(np.mean(projected)),
                **{quantity: found.get(quantity, np.nan) for quantity in SHOWN},
                "precision": overall["precision"],
                "recall": overall["recall"],
            }
        )  # fmt: skip
    return rows


def draw(table: pd.DataFrame, path: Path) -> None:
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    panels = (
        ("elbow_bottom_deg", "elbow at the bottom, °"), ("elbow_top_deg", "elbow at the top, °"),
        ("hip_deviation_deg", "body line, °"), ("eccentric_s", "lowering, s"),
    )  # fmt: skip
    figure, axes = plt.subplots(1, 4, figsize=(13, 3.2), layout="constrained")
    for axis, (quantity, title) in zip(axes, panels, strict=True):
        for model, rows in table.groupby("model", sort=False):
            axis.plot(rows["cpu_s_per_clip_s"], rows[quantity], "o-", label=model)
            for row in rows.itertuples():
                axis.annotate(
                    f"{row.rate_hz:.0f} Hz", (row.cpu_s_per_clip_s, getattr(row, quantity)),
                    fontsize=7, xytext=(3, 4), textcoords="offset points",
                )  # fmt: skip
        axis.set_xscale("log")
        axis.set_xticks([0.2, 0.5, 1, 2], ["0.2", "0.5", "1", "2"])
        axis.tick_params(axis="x", which="minor", labelbottom=False)
        axis.margins(x=0.15, y=0.1)
        axis.set_ylim(bottom=0)
        axis.set_title(title, fontsize=9)
        axis.tick_params(labelsize=8)
    axes[0].legend(fontsize=8, frameon=False)
    figure.supxlabel("CPU seconds for a second of clip", fontsize=9)
    figure.supylabel("mean absolute error", fontsize=9)
    figure.savefig(path, dpi=120)


def named(text: str) -> tuple[str, Path]:
    name, _, path = text.partition("=")
    return name, Path(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clips", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--model", nargs="+", default=["full", "heavy"], help="names or bundles")
    parser.add_argument("--tracks", type=named, action="append", default=[], metavar="NAME=DIR")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    saved = dict(asked.tracks)
    clips = [
        path.with_name(f"{read_truth(path).name}.mp4")
        for path in sorted(asked.clips.glob("*.truth.json"))
    ]
    rows: list[dict[str, object]] = []
    for model in asked.model:
        name = Path(model).stem.removeprefix("pose_")
        if name in saved:
            cost_ms = make_tracks(model, clips[:1], asked.out / f"timed_{name}")
            folder = saved[name]
        else:
            folder = asked.out / f"tracks_{name}"
            cost_ms = make_tracks(model, clips, folder)
        rows += trade(name, cost_ms, asked.clips, folder)
    table = pd.DataFrame(rows)
    table.round(3).to_csv(asked.out / "model_trade.csv", index=False)
    draw(table, asked.out / "model_trade.png")
    print(table.round(3).to_string(index=False))


if __name__ == "__main__":
    main()
