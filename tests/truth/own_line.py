"""How true the body line is once the person's own straight line is known from another clip.

    python -m tests.truth.own_line HOLDS SETS [--tracks DIR] [--model heavy]

HOLDS are clips `hNN.mp4` of checked holds, or their poses `hNN.parquet`; SETS clips `dNN.mp4` of
the same bodies with their truth beside them; `--tracks` holds the poses of SETS found before.
Prints the error of the body line, its stated ± and the share of errors inside it, without the hold
and with it; what the same body's line differs by between its two clips; and how far apart holds of
different bodies read, which is all that knowing the body could take off.
"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path

import numpy as np

from formcheck.analysis import Analysis
from formcheck.asked.person import HipOffset, Person
from formcheck.errors import FormcheckError
from formcheck.judged import judge
from formcheck.log.calibrate import calibrated


def errors(analysis: Analysis, truth: list[dict[str, float]]) -> list[tuple[float, float]]:
    """Error and ± (deg) of each rep whose bottom the truth has too."""
    out = []
    for result in analysis.reps:
        value = result.values["hip_deviation_deg"]
        at = result.rep.bottom_s
        true = [one for one in truth if one["start_s"] < at < one["top_s"]]
        if value.known and true:
            out.append((value.value - true[0]["hip_deviation_deg"], value.plus_minus))
    return out


def main() -> None:
    parser = ArgumentParser()
    parser.add_argument("holds", type=Path)
    parser.add_argument("sets", type=Path)
    parser.add_argument("--tracks", type=Path)
    parser.add_argument("--model", default="heavy")
    asked = parser.parse_args()
    rows: dict[str, list[tuple[float, float]]] = {"without": [], "with": []}
    again = []
    readings = []
    for hold in sorted([*asked.holds.glob("h*.mp4"), *asked.holds.glob("h*.parquet")]):
        name = f"d{hold.stem[1:]}"
        clip = asked.sets / f"{name}.mp4"
        saved = asked.tracks / f"{name}.parquet" if asked.tracks else clip
        truth = json.loads(clip.with_suffix(".truth.json").read_text(encoding="utf-8"))
        try:
            found = calibrated(hold, None, asked.model)
        except FormcheckError as error:
            print(f"{hold.stem}: {error}", file=sys.stderr)
            continue
        own = Person(hip_offset=HipOffset(found.hold.share, found.hold.plus_minus))
        got = {}
        for way, person in (("without", Person()), ("with", own)):
            got[way] = errors(judge(saved, person=person).analysis, truth["reps"])
            rows[way] += got[way]
        if got["with"]:
            means = [float(np.mean([e for e, _ in got[way]])) for way in ("without", "with")]
            again.append(means[1])
            readings.append(found.reading_deg)
            print(
                f"{name} {truth['view']:14} {truth['variation']['support']:5} hold read "
                f"{found.reading_deg:+.1f}  mean error {means[0]:+.1f} -> {means[1]:+.1f}"
            )
    for way, pairs in rows.items():
        off, doubt = np.array(pairs).T
        print(
            f"{way:8} {len(pairs)} reps: mean error {np.abs(off).mean():.2f} deg, "
            f"± {doubt.mean():.2f} deg, {100 * np.mean(np.abs(off) <= doubt):.0f} % inside"
        )
    print(f"between two clips of one body: {np.std(again):.2f} deg (1 sd) over {len(again)} bodies")
    print(f"between holds of different bodies: {np.std(readings):.2f} deg (1 sd)")


if __name__ == "__main__":
    main()
