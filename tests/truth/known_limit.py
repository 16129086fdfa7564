"""Whether labels made with a known limit give that limit back, on clips with exact truth.

    python -m tests.truth.known_limit FOLDER... --tracks TRACKS [--out DIR] [--draws 60]

A coach who sees the truth and holds one limit labels every rep. Half of the sets are drawn again
and again, and the limit that this coach holds is suggested from what was measured on them. The
known limit is the one in force, or one drawn between usual truths (`drawn`): where too few reps
lie beyond the limit in force, a suggestion is refused, and that counts as none.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from formcheck.agree.compare import compare
from formcheck.agree.labels import Label
from formcheck.agree.measured import MeasuredSet, measured_set
from formcheck.agree.suggest import suggest
from formcheck.agree.sweep import SweepError, labelled
from formcheck.analysis import analyse
from formcheck.pose.store import read_track
from tests.truth.bench import as_markdown
from tests.truth.scoring import match_reps
from tests.truth.truth import read_truth

# fault: its value, whether the fault lies above the limit, and between which quantiles of the
# truths a limit is drawn
FAULTS: Mapping[str, tuple[str, bool, tuple[float, float]]] = {
    "shallow": ("elbow_bottom_deg", True, (0.55, 0.85)),
    "elbow_flare": ("elbow_flare_deg", True, (0.55, 0.85)),
    "hip_sag": ("hip_deviation_deg", True, (0.80, 0.93)),  # a limit of 1 is the least there is
    "soft_lockout": ("elbow_top_deg", False, (0.10, 0.35)),
}


@dataclass(frozen=True)
class Seen:
    """A measured set, and the truth of each finished rep: value by name, by the rep's index."""

    measured: MeasuredSet
    true: Mapping[int, Mapping[str, float]]


def seen_sets(folders: Sequence[Path], tracks: Path) -> list[Seen]:
    """Every clip with truth whose pose is known."""
    out = []
    for path in sorted(path for folder in folders for path in folder.glob("*.truth.json")):
        truth = read_truth(path)
        kept = tracks / f"{truth.name}.parquet"
        if not kept.is_file():
            continue
        found = measured_set(analyse([read_track(kept)]), truth.name)
        matches = match_reps([rep.bottom_s for rep in found.reps], truth.reps)
        true = {
            found.reps[there].index: truth.reps[place].values
            for place, there in matches.items()
            if not truth.reps[place].aborted
        }
        out.append(Seen(found, true))
    return out


def labels_of(sets: Sequence[Seen], fault: str, limit: float) -> list[Label]:
    """What somebody says who sees the truth and holds this limit."""
    value, above, _ = FAULTS[fault]
    return [
        Label(one.measured.name, rep, fault, "yes" if (true[value] > limit) == above else "no", "A")
        for one in sets
        for rep, true in one.true.items()
        if value in true
    ]


def row(sets: Sequence[Seen], fault: str, draws: int, drawn: bool) -> dict[str, object]:
    """How often a limit was suggested, how far off it was, and whether its interval held it."""
    value, _, between = FAULTS[fault]
    truths = [true[value] for one in sets for true in one.true.values() if value in true]
    rng = np.random.default_rng(1)
    off, half_widths, held = [], [], []
    for _ in range(draws):
        in_force = sets[0].measured.limits[fault].value
        limit = float(np.quantile(truths, rng.uniform(*between))) if drawn else in_force
        own = [sets[place] for place in rng.choice(len(sets), len(sets) // 2, replace=False)]
        measured = [one.measured for one in own]
        try:
            chosen = labelled(compare(labels_of(own, fault, limit), measured), measured, fault)
            found = suggest(chosen)
        except SweepError:
            continue
        if found.refused:
            continue
        off.append(found.coach.value - limit)
        half_widths.append(found.half_width)
        held.append(found.coach.low <= limit <= found.coach.high)
    return {
        "fault": fault,
        "known limit": "drawn" if drawn else "in force",
        "draws": draws,
        "suggested": len(off),
        "mean error": np.mean(np.abs(off)) if off else np.nan,
        "bias": np.mean(off) if off else np.nan,
        "measurement's own ±": np.mean(half_widths) if off else np.nan,
        "interval held it": np.mean(held) if off else np.nan,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+", metavar="FOLDER")
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--draws", type=int, default=60)
    asked = parser.parse_args()
    sets = seen_sets(asked.folders, asked.tracks)
    table = pd.DataFrame(
        [row(sets, fault, asked.draws, drawn) for fault in FAULTS for drawn in (False, True)]
    ).set_index("fault")
    table.insert(1, "sets", len(sets))
    print(as_markdown(table.round(2)))
    if asked.out is not None:
        table.round(2).to_csv(asked.out / "known_limit.csv")


if __name__ == "__main__":
    main()
