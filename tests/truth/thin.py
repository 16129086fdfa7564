"""Make the small saved tracks of tests/data from full ones.

    python -m tests.truth.thin TRACKS CLIPS tests/data

Keeps the joints that a pose track needs and the points of head and feet, rounds to a tenth of
a pixel (the landmark model itself jitters by about 0.7) and a hundredth of visibility, drops
world coordinates, and keeps of `NAME.truth.json` what the tests read.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from formcheck.pose.track import REQUIRED
from tests.truth.truth import VALUE_FIELDS

KEPT = (
    *REQUIRED, "nose", "left_ear", "right_ear", "left_heel", "right_heel", "left_foot_index",
    "right_foot_index",
)  # fmt: skip
BOUNDARIES = (
    "index", "attempt", "start_5pct_s", "bottom_start_5pct_s", "bottom_end_5pct_s",
    "top_5pct_s", "end_s",
)  # fmt: skip
SET_FIELDS = (
    "schema", "clip", "width", "height", "fps", "duration_s", "view", "near_side", "set_id",
    "clip_start_in_set_s", "variation", "note",
)  # fmt: skip


def thin_track(source: Path, target: Path) -> None:
    table = pq.read_table(source)
    columns: dict[str, np.ndarray] = {"t_s": table["t_s"].to_numpy()}
    for name in KEPT:
        for suffix, digits in (("x", 1), ("y", 1), ("vis", 2)):
            column = f"{name}_{suffix}"
            columns[column] = np.round(table[column].to_numpy(), digits).astype(np.float32)
    thinned = pa.table(columns).replace_schema_metadata(table.schema.metadata)
    pq.write_table(thinned, target, compression="zstd", compression_level=19)


def thin_truth(source: Path, target: Path) -> None:
    raw = json.loads(source.read_text())
    kept = {field: raw[field] for field in SET_FIELDS}
    kept["reps"] = [
        {field: rep[field] for field in (*BOUNDARIES, *VALUE_FIELDS.values())}
        for rep in raw["reps"]
    ]
    target.write_text(json.dumps(kept, indent=None, separators=(",", ":")) + "\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("tracks", type=Path)
    parser.add_argument("clips", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--prefix", default="", help="put before every name, e.g. full_")
    parser.add_argument("--only", nargs="*", help="names; all by default")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    for source in sorted(asked.tracks.glob("*.parquet")):
        if asked.only and source.stem not in asked.only:
            continue
        name = asked.prefix + source.stem
        thin_track(source, asked.out / f"{name}.parquet")
        thin_truth(asked.clips / f"{source.stem}.truth.json", asked.out / f"{name}.truth.json")


if __name__ == "__main__":
    main()
