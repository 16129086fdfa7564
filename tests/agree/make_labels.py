"""Make notebooks/labels.csv: what two made-up coaches say of the saved sets in tests/data.

Each sees the exact truth of every rep and holds limits of their own; near a limit their eye errs
(2 degrees, one standard deviation) and closer than 0.7 degrees they are unsure. The second labels
seven reps in ten.

    python -m tests.agree.make_labels
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

import formcheck
from formcheck.agree.labels import Label, Said
from tests.truth.scoring import match_reps
from tests.truth.truth import TruthRep, read_truth

ROOT = Path(__file__).parents[2]
TRACKS = ROOT / "tests/data"
# fault: truth value, side of the limit that is the fault
SEEN: Mapping[str, tuple[str, int]] = {
    "shallow": ("elbow_bottom_deg", 1),
    "soft_lockout": ("elbow_top_deg", -1),
    "hip_sag": ("hip_deviation_deg", 1),
    "elbow_flare": ("elbow_flare_deg", 1),
}
HOLDS: Mapping[str, Mapping[str, float]] = {
    "coach A": {"shallow": 92, "soft_lockout": 158, "hip_sag": 11, "elbow_flare": 54.5},
    "coach B": {"shallow": 95, "soft_lockout": 155, "hip_sag": 14, "elbow_flare": 60},
}
EYE_DEG, UNSURE_DEG, LABELLED = 2.0, 0.7, {"coach A": 1.0, "coach B": 0.7}


def labels() -> list[Label]:
    rng = np.random.default_rng(20260531)
    out = []
    for path in sorted(TRACKS.glob("*.parquet")):
        truth = read_truth(path.with_name(f"{path.stem}.truth.json"))
        found = formcheck.judge(path).table()
        matches = match_reps(found["bottom_s"].tolist(), truth.reps)
        for place, there in matches.items():
            for who in HOLDS:
                if rng.random() < LABELLED[who]:
                    out += of_rep(
                        path.stem, int(found["index"][there]), truth.reps[place], who, rng
                    )
    return out


def of_rep(
    name: str, index: int, true: TruthRep, who: str, rng: np.random.Generator
) -> list[Label]:
    out = []
    for fault, (value, side) in SEEN.items():
        beyond = side * (true.values[value] - HOLDS[who][fault]) + rng.normal(0, EYE_DEG)
        said: Said = "unsure" if abs(beyond) < UNSURE_DEG else "yes" if beyond > 0 else "no"
        out.append(Label(name, index, fault, said, who))
    ruled_out = {one.fault for one in out if one.verdict == "yes"} & {"shallow", "soft_lockout"}
    counts = not true.aborted and not ruled_out
    return [*out, Label(name, index, "counted", "yes" if counts else "no", who)]


if __name__ == "__main__":
    target = ROOT / "notebooks/labels.csv"
    formcheck.labels_table(labels()).to_csv(target, index=False, lineterminator="\n")
