"""How far the numbers hold when camera, pace or tracking change.

    python -m tests.truth.stress FOLDER --tracks DIR [--only NAME …] [--out tests/truth/latest]

Each row is the benchmark over all clips after one change (see refilm.py): attempts and bottoms
exact, wrong attempt kinds, mean absolute errors from the side, coverage, precision and recall.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from formcheck.faults.limits import default_limits
from formcheck.pose.store import read_track
from formcheck.pose.track import PoseTrack
from tests.truth import bench, refilm, scoring
from tests.truth.truth import TruthRep, TruthSet, read_truth

Change = Callable[[str, TruthSet, PoseTrack], tuple[TruthSet, PoseTrack]]

SHOWN = (
    "eccentric_s", "bottom_pause_s", "concentric_s", "elbow_bottom_deg", "elbow_top_deg",
    "hip_deviation_deg", "head_angle_deg", "inclination_deg",
)  # fmt: skip


def changes(folder: Path) -> dict[str, Change]:
    """Every change by its name."""

    def filmed(**how: float) -> Change:
        def change(name: str, truth: TruthSet, track: PoseTrack) -> tuple[TruthSet, PoseTrack]:
            camera = json.loads((folder / f"{name}.truth.json").read_text())["camera"]
            before = refilm.Camera(
                np.array(camera["eye"]), np.array(camera["target"]), camera["fov"], camera["roll"]
            )
            joints = refilm.read_joints(folder / f"{name}.truth.csv", track.t_s)
            return truth, refilm.refilmed(track, joints, before, before.moved(**how))

        return change

    def tracked(change: Callable[[PoseTrack], PoseTrack]) -> Change:
        return lambda name, truth, track: (truth, change(track))

    def paced(factor: float) -> Change:
        return lambda name, truth, track: (
            refilm.slowed_truth(truth, factor), refilm.slowed(track, factor),
        )  # fmt: skip

    def played(splices_of: Callable[[TruthSet], list[refilm.Splice]]) -> Change:
        def change(name: str, truth: TruthSet, track: PoseTrack) -> tuple[TruthSet, PoseTrack]:
            longer, done = refilm.spliced(track, splices_of(truth))
            return refilm.spliced_truth(truth, done), longer

        return change

    def shorter(from_s: Callable[[TruthSet], float], to_s: Callable[[TruthSet], float]) -> Change:
        return lambda name, truth, track: (
            refilm.cropped_truth(truth, from_s(truth), to_s(truth)),
            refilm.cropped(track, from_s(truth), to_s(truth)),
        )

    return {
        "as filmed": tracked(lambda track: track),
        "mirrored": lambda name, truth, track: (
            refilm.mirrored_truth(truth), refilm.mirrored(track),
        ),
        "yaw +10": filmed(yaw_deg=10),
        "yaw -10": filmed(yaw_deg=-10),
        "yaw +20": filmed(yaw_deg=20),
        "camera 1.5x nearer": filmed(nearer=1.5),
        "camera 2x farther": filmed(nearer=0.5),
        "camera 0.5 m higher": filmed(higher_m=0.5),
        "camera 0.4 m lower": filmed(higher_m=-0.4),
        "rolled 3": filmed(roll_deg=3),
        "camera in the hand, wandering": tracked(refilm.held_in_the_hand),
        "camera turning by an arm": tracked(
            lambda track: refilm.held_in_the_hand(track, turns=1.0)
        ),
        "camera coming nearer by a third": tracked(
            lambda track: refilm.held_in_the_hand(track, grows=1.33)
        ),
        "walks in, and back to the camera": lambda name, truth, track: (
            refilm.later_truth(truth, 6.0), refilm.walked_in_and_out(track, 6.0, 8.0),
        ),
        "15 Hz": tracked(lambda track: refilm.at_rate(track, 15)),
        "10 Hz": tracked(lambda track: refilm.at_rate(track, 10)),
        "twice as slow": paced(2.0),
        "1.5x as fast": paced(1 / 1.5),
        "2 s longer at the bottom": played(
            lambda truth: [refilm.Splice(_bottom_s(rep), 2.0) for rep in truth.reps]
        ),
        "touch and go": played(
            lambda truth: [
                refilm.Splice(_bottom_s(rep), min(0.0, 0.15 - rep.values["bottom_pause_s"]))
                for rep in truth.reps
            ]
        ),
        "no pause at the top": played(
            lambda truth: [
                refilm.Splice(_top_s(rep), min(0.0, 0.15 - rep.values["top_pause_s"]))
                for rep in truth.reps[:-1]
            ]
        ),
        "8 s of rest after rep 2": played(
            lambda truth: [refilm.Splice(_top_s(truth.reps[1]), 8.0)]
        ),
        "clip starts in mid-rep": shorter(
            lambda truth: _bottom_s(truth.reps[0]), lambda truth: truth.duration_s
        ),
        "clip ends in mid-rep": shorter(
            lambda truth: 0.0, lambda truth: _bottom_s(truth.reps[-1])
        ),
        "noise 1 % of trunk": tracked(lambda track: refilm.noisier(track, 0.01)),
        "noise 3 % of trunk": tracked(lambda track: refilm.noisier(track, 0.03)),
        "lost 0.3 s every 4 s": tracked(refilm.interrupted),
        "sides confused 0.6 s every 4 s": tracked(refilm.sides_confused),
    }  # fmt: skip


def _bottom_s(rep: TruthRep) -> float:
    return (rep.bottom_start_s + rep.bottom_end_s) / 2


def _top_s(rep: TruthRep) -> float:
    return rep.top_s + rep.values["top_pause_s"] / 2


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--only", nargs="*", help="some changes, by name")
    parser.add_argument("--out", type=Path, help="write stress.csv here")
    asked = parser.parse_args()
    limits = default_limits()
    values = bench.limit_values(limits)
    sets = {
        name: (read_truth(path), read_track(asked.tracks / f"{name}.parquet"))
        for path in sorted(asked.folder.glob("*.truth.json"))
        for name in [path.name.removesuffix(".truth.json")]
    }
    rows = []
    for label, change in changes(asked.folder).items():
        if asked.only and label not in asked.only:
            continue
        cases = []
        for name, (truth, track) in sets.items():
            truth, track = change(name, truth, track)
            # the tempo in a note is no longer that of a set played at another pace
            cases.append(bench.judge(truth, [track], limits, None))
        rows.append(row(label, cases, values))
    table = pd.DataFrame(rows).set_index("change")
    print(table.to_string(float_format=lambda v: f"{v:.2f}"))
    if asked.out:
        table.round(3).to_csv(asked.out / "stress.csv")


def row(label: str, cases: list[bench.Case], limits: dict[str, float]) -> dict[str, object]:
    clips = pd.DataFrame([bench.clip_row(case, limits) for case in cases])
    errors = pd.concat([scoring.value_errors(c.analysis, c.truth) for c in cases])
    side = errors[errors["view"] == "side"]
    outcomes = pd.concat(
        [scoring.fault_outcomes(c.analysis, c.truth, limits, c.tempo) for c in cases]
    )
    exact = (clips["attempts"] == clips["true"]) & (clips["bottoms"] == clips["true"])
    stated = side.dropna(subset=["plus_minus"])
    overall = scoring.precision_recall(outcomes).loc["all"]
    mean = scoring.agreement(side)["mae"]
    return {
        "change": label,
        "exact": f"{exact.sum()}/{len(clips)}",
        "views": f"{clips['view_right'].sum()}",
        "kinds": int(clips["kinds_wrong"].sum()),
        **{name.rsplit("_", 1)[0]: mean.get(name, np.nan) for name in SHOWN},
        "covered": float(
            ((stated["measured"] - stated["truth"]).abs() <= stated["plus_minus"]).mean()
        ),
        "prec": overall["precision"],
        "recall": overall["recall"],
        "false": int(overall["false_alarm"]),
        "lost": ", ".join(clips["clip"][~exact]),
    }


if __name__ == "__main__":
    main()
