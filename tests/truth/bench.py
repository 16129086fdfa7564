"""Run formcheck over clips with exact truth and print how true its numbers are.

    python -m tests.truth.bench FOLDER [--tracks DIR] [--out DIR] [--detail] [--tempo 2-1-X-1]

FOLDER holds `NAME.mp4`, `NAME.truth.json` and `NAME.truth.csv`. The pose is run on each clip;
with --tracks it is kept as `DIR/NAME.parquet` and no video is read where that is there already.
Clips of one set from two cameras are also judged as a pair. With --out the tables are written as
CSV and the Bland–Altman plots as PNG. How a fault is expected is told in `scoring.py`.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from formcheck.analysis import Analysis, analyse
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import Tempo, parse_tempo
from formcheck.faults.limits import Limits, default_limits
from formcheck.maths.quantity import Quantity
from formcheck.pose.store import read_track, write_track
from formcheck.pose.track import PoseTrack
from formcheck.reps.pairing import pair_looks
from formcheck.variation.recognise import hand_class, hand_limits
from tests.truth import scoring
from tests.truth.truth import TruthSet, exact_track, read_truth

PLOTTED = (
    "eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s", "elbow_bottom_deg",
    "elbow_top_deg", "hip_deviation_deg", "head_angle_deg", "elbow_flare_deg",
    "hand_spacing_ratio", "load_fraction", "inclination_deg",
)  # fmt: skip


VIEW_COLOURS = {"side": "#0072B2", "front": "#D55E00", "oblique": "#009E73"}  # Okabe and Ito
HAND_GREY = 0.08  # a true spacing this near to a class limit is not scored


@dataclass(frozen=True)
class Case:
    """One clip, or one pair of clips, with its truth and what formcheck made of it."""

    truth: TruthSet
    analysis: Analysis
    tempo: Tempo | None
    milliseconds: float


@dataclass(frozen=True)
class Scores:
    """The benchmark's tables."""

    clips: pd.DataFrame
    errors: pd.DataFrame
    outcomes: pd.DataFrame
    pairs: pd.DataFrame
    strangers: pd.DataFrame


def limit_values(limits: Limits) -> dict[str, float]:
    """The limits the scoring needs, by fault key."""
    return {key: limit.value for key, limit in limits.items()}


def judge(
    truth: TruthSet, tracks: Sequence[PoseTrack], limits: Limits, tempo: Tempo | None
) -> Case:
    started = time.perf_counter()
    analysis = analyse(tracks, Prescription(tempo=tempo), limits)
    return Case(truth, analysis, tempo, 1000 * (time.perf_counter() - started))


def clip_row(case: Case, limits: Mapping[str, float]) -> dict[str, object]:
    """Counts and recognitions of one clip, each against its truth."""
    truth, analysis = case.truth, case.analysis
    matched = scoring.matched_results(analysis, truth)
    kinds = [(scoring.expected_attempt(rep, limits), result.attempt) for rep, result in matched]
    view, variation = analysis.looks[0].view, analysis.variation
    return {
        "clip": truth.name,
        "attempts": len(analysis.reps),
        "true": len(truth.reps),
        "bottoms": len(matched),
        "kinds_wrong": sum(expected is not None and expected != got for expected, got in kinds),
        "view_right": view.kind == truth.view,
        "near_right": view.near_side == truth.near_side,
        "support": _verdict(variation.support, truth.support),
        "surface": _verdict(variation.surface, truth.surface),
        "hands": _hands_verdict(truth, variation.hands),
        "inclination_err_deg": variation.inclination_deg.value
        - sum(rep.values["inclination_deg"] for rep in truth.reps) / max(1, len(truth.reps)),
        "analysis_ms": case.milliseconds,
    }


def _hands_verdict(truth: TruthSet, got: str | None) -> str:
    """Against the class of the true spacing; `near` where that lies within 0.08 of a limit."""
    spacing = Quantity(float(np.mean([rep.values["hand_spacing_ratio"] for rep in truth.reps])))
    if any(abs(spacing.value - limit) <= HAND_GREY for limit in hand_limits().values()):
        return "near" if got else "-"
    return _verdict(got, hand_class(spacing) or "")


def _verdict(got: str | None, true: str) -> str:
    return "right" if got == true else "-" if got is None else f"WRONG ({got})"


def load_errors(case: Case, exact: Case) -> pd.DataFrame:
    """Load on the hands against the same segment model run on the exact joints."""
    truth = case.truth
    reference = {
        rep.index: result for rep, result in scoring.matched_results(exact.analysis, truth)
    }
    rows = []
    for rep, result in scoring.matched_results(case.analysis, truth):
        for name in ("load_fraction", "load_fraction_top", "load_fraction_bottom"):
            got = result.values.get(name)
            true = reference[rep.index].values.get(name) if rep.index in reference else None
            if got is not None and true is not None and got.known and true.known:
                rows.append(
                    (truth.name, truth.view, rep.index, name, true.value, got.value, got.plus_minus)
                )
    return pd.DataFrame(
        rows, columns=["clip", "view", "rep", "quantity", "truth", "measured", "plus_minus"]
    )


def pair_row(case: Case, other: TruthSet) -> tuple[dict[str, object], pd.DataFrame]:
    """Time offset and reps of a pair; its flare and hand spacing errors."""
    truth, analysis = case.truth, case.analysis
    true_offset = other.clip_start_in_set_s - truth.clip_start_in_set_s
    errors = scoring.value_errors(analysis, truth)
    mae = (errors["measured"] - errors["truth"]).abs().groupby(errors["quantity"]).mean()
    row: dict[str, object] = {
        "pair": f"{truth.name} + {other.name}",
        "offset_error_s": analysis.looks[1].offset_s - true_offset,
        "attempts": len(analysis.reps),
        "true": len(truth.reps),
        "bottoms": len(scoring.matched_results(analysis, truth)),
        "flare_mae_deg": mae.get("elbow_flare_deg", math.nan),
        "spacing_mae": mae.get("hand_spacing_ratio", math.nan),
    }
    return row, errors


def strangers_refused(cases: Sequence[Case]) -> pd.DataFrame:
    """Every side clip with every front clip of another set: is the pair refused?"""
    looks = [(case.truth, case.analysis.looks[0]) for case in cases]
    rows = [
        (side.name, front.name, not pair_looks(one, other).same_set)
        for side, one in looks
        for front, other in looks
        if (side.view, front.view) == ("side", "front") and side.set_id != front.set_id
    ]
    return pd.DataFrame(rows, columns=["side", "front", "refused"])


def run(
    folder: Path,
    tracks_folder: Path | None,
    tempo: Tempo | None = None,
    *,
    with_load: bool = True,
    change: Callable[[PoseTrack], PoseTrack] = lambda track: track,
) -> tuple[Scores, list[Case]]:
    """Judge every clip of the folder and score it.

    ``tempo`` is asked of every clip; without it the one its note states, if any. ``change`` is
    applied to each track first (to thin it, to take points away).
    """
    limits = default_limits()
    values = limit_values(limits)
    truths = {
        path.name.removesuffix(".truth.json"): read_truth(path)
        for path in sorted(folder.glob("*.truth.json"))
    }
    tracks = {name: change(_track(folder, name, tracks_folder)) for name in truths}
    cases = [
        judge(truth, [tracks[name]], limits, tempo or truth.tempo) for name, truth in truths.items()
    ]
    errors = [scoring.value_errors(case.analysis, case.truth) for case in cases]
    if with_load:
        for case in cases:
            track, csv = tracks[case.truth.name], folder / f"{case.truth.name}.truth.csv"
            if case.truth.view == "side" and csv.exists():
                exact = exact_track(case.truth, csv, track.width, track.height)
                errors.append(load_errors(case, judge(case.truth, [exact], limits, None)))
    pairs = [
        pair_row(judge(side, [tracks[side.name], tracks[front.name]], limits, tempo), front)[0]
        for side in truths.values()
        for front in truths.values()
        if side.set_id == front.set_id and (side.view, front.view) == ("side", "front")
    ]
    scores = Scores(
        clips=pd.DataFrame([clip_row(case, values) for case in cases]).set_index("clip"),
        errors=pd.concat(errors, ignore_index=True),
        outcomes=pd.concat(
            [scoring.fault_outcomes(c.analysis, c.truth, values, c.tempo) for c in cases],
            ignore_index=True,
        ),
        pairs=pd.DataFrame(pairs),
        strangers=strangers_refused(cases),
    )
    return scores, cases


def pose_of(clip: Path) -> PoseTrack:
    """The pose as `formcheck set` would find it."""
    # Saved tracks are scored without the pose library, on machines that lack it.
    from formcheck.clip.read import probe
    from formcheck.pose.landmarker import find_pose
    from formcheck.pose.model import find_model

    return find_pose(probe(clip), find_model(), processes=os.cpu_count() or 1)


def _track(folder: Path, name: str, saved: Path | None) -> PoseTrack:
    if saved is None:
        return pose_of(folder / f"{name}.mp4")
    path = saved / f"{name}.parquet"
    if not path.exists():
        saved.mkdir(parents=True, exist_ok=True)
        write_track(pose_of(folder / f"{name}.mp4"), path)
    return read_track(path)


def error_matrix(errors: pd.DataFrame) -> pd.DataFrame:
    """Per clip and quantity: bias / mean absolute error, as text."""
    errors = errors.assign(error=errors["measured"] - errors["truth"])
    grouped = errors.groupby(["clip", "quantity"])["error"]
    text = pd.DataFrame({"bias": grouped.mean(), "mae": grouped.agg(lambda e: e.abs().mean())})
    cells = text.apply(
        lambda row: (
            f"{row.bias:+.2f}/{row.mae:.2f}"
            if row.name[1].endswith(("_s", "_ratio")) or "load" in row.name[1]
            else f"{row.bias:+.1f}/{row.mae:.1f}"
        ),
        axis=1,
    )
    matrix = cells.unstack("quantity").fillna("")
    order = [name for name in errors["quantity"].unique() if name in matrix]
    return matrix[order].rename(columns=lambda name: name.replace("_deg", "").replace("_", " "))


def bland_altman(errors: pd.DataFrame, path: Path) -> None:
    """One panel a quantity: difference against mean of measured and true value."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    names = [name for name in PLOTTED if (errors["quantity"] == name).any()]
    columns = 4
    figure, axes = plt.subplots(
        math.ceil(len(names) / columns), columns, squeeze=False, layout="constrained",
        figsize=(3.6 * columns, 2.8 * math.ceil(len(names) / columns)),
    )  # fmt: skip
    for axis, name in zip(axes.flat, names, strict=False):
        mine = errors[errors["quantity"] == name]
        row = scoring.agreement(mine).loc[name]
        for view, group in mine.groupby("view"):
            difference = group["measured"] - group["truth"]
            middle = (group["measured"] + group["truth"]) / 2
            axis.plot(middle, difference, ".", color=VIEW_COLOURS[view], label=view, ms=5)
        axis.axhline(row["bias"], color="0.2", lw=1)
        for edge in ("loa_low", "loa_high"):
            axis.axhline(row[edge], color="0.2", lw=1, ls="--")
        axis.set_title(name, fontsize=9)
        axis.tick_params(labelsize=8)
    for axis in axes.flat[len(names) :]:
        axis.set_visible(False)
    dots = {
        label: dot
        for a in axes.flat
        for dot, label in zip(*a.get_legend_handles_labels(), strict=True)
    }
    figure.legend(dots.values(), dots.keys(), loc="outside upper right", ncols=3, frameon=False)
    figure.supxlabel("mean of measured and true value", fontsize=9)
    figure.supylabel("measured minus true", fontsize=9)
    figure.savefig(path, dpi=110)
    plt.close(figure)


def as_markdown(frame: pd.DataFrame, digits: int = 2) -> str:
    """A table with its index as first column; whole numbers without decimals, missing as –."""

    def cell(value: object) -> str:
        if not isinstance(value, float):
            return str(value)
        if math.isnan(value):
            return "–"
        return f"{value:.0f}" if value == round(value) and abs(value) > 1 else f"{value:.{digits}f}"

    table = frame.reset_index()
    rows = [[cell(value) for value in row] for row in table.itertuples(index=False)]
    head = [str(name) for name in table.columns]
    return "\n".join("| " + " | ".join(line) + " |" for line in (head, ["---"] * len(head), *rows))


def told(scores: Scores, cases: Sequence[Case]) -> dict[str, object]:
    """When, with which model and at which rate this was measured."""
    tracks = [case.analysis.looks[0].track for case in cases]
    rates = [1 / float(np.median(np.diff(track.t_s))) for track in tracks]
    return {
        "date": f"{date.today():%Y-%m-%d}",
        "model": ", ".join(sorted({track.model_name or "another tracker" for track in tracks})),
        "rate_hz": round(float(np.median(rates)), 1),
        "strangers": len(scores.strangers),
        "strangers_refused": int(scores.strangers["refused"].sum()),
    }


def write(scores: Scores, cases: Sequence[Case], out: Path, *, one_tempo: bool) -> None:
    """The tables that documents are made from (`tests.truth.readme`), and the plots.

    Where ``one_tempo`` was asked of all clips, that of the faults only.
    """
    out.mkdir(parents=True, exist_ok=True)
    faults = scoring.precision_recall(scores.outcomes).round(3)
    if one_tempo:
        faults.to_csv(out / "faults_at_one_tempo.csv")
        return
    faults.to_csv(out / "faults.csv")
    scores.clips.round(3).to_csv(out / "clips.csv")
    scores.pairs.round(3).to_csv(out / "pairs.csv", index=False)
    pooled = scores.errors.assign(view="all")
    both = pd.concat([scores.errors, pooled])
    scoring.agreement(both, ["view", "quantity"]).round(4).to_csv(out / "agreement.csv")
    text = json.dumps(told(scores, cases), indent=1)
    (out / "measured.json").write_text(text + "\n", encoding="utf-8")
    bland_altman(scores.errors, out / "bland_altman.png")


def show(scores: Scores, *, detail: bool) -> None:
    """Print the tables."""

    def table(title: str, frame: pd.DataFrame, digits: int = 2) -> None:
        print(f"\n{title}\n{frame.to_string(float_format=lambda v: f'{v:.{digits}f}', na_rep='-')}")

    with pd.option_context("display.width", 250):
        table("CLIPS (view, near side, support and surface against truth)", scores.clips, 1)
        for view, errors in scores.errors.groupby("view"):
            table(f"AGREEMENT, {view} view (measured - true)", scoring.agreement(errors))
        table("FAULTS (grey: true value too near the limit to score)",
              scoring.precision_recall(scores.outcomes))  # fmt: skip
        wrong = scores.outcomes[
            scores.outcomes["outcome"].isin(["missed", "false_alarm", "unknown"])
        ]
        if len(wrong):
            table("MISSED, FALSELY RAISED, OR RAISED WITHOUT TRUTH", wrong)
        if len(scores.pairs):
            table("PAIRS", scores.pairs, 3)
        if len(scores.strangers):
            refused = scores.strangers["refused"]
            print(f"clips of different sets refused as a pair: {refused.sum()} of {len(refused)}")
        if detail:
            table("BIAS / MEAN ABSOLUTE ERROR BY CLIP", error_matrix(scores.errors))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="clips with truth")
    parser.add_argument(
        "--tracks",
        type=Path,
        help="folder of saved pose tracks, NAME.parquet; missing ones are made",
    )
    parser.add_argument("--out", type=Path, help="write CSV tables and plots here")
    parser.add_argument("--tempo", type=parse_tempo, help="ask this tempo of every clip")
    parser.add_argument("--detail", action="store_true", help="errors by clip and quantity")
    asked = parser.parse_args()
    scores, cases = run(asked.folder, asked.tracks, asked.tempo)
    show(scores, detail=asked.detail)
    if asked.out:
        write(scores, cases, asked.out, one_tempo=asked.tempo is not None)
        print(f"\nwritten to {asked.out}")


if __name__ == "__main__":
    main()
