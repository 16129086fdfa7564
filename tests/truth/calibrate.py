"""Set every constant that comes from data, from clips with exact truth.

    python -m tests.truth.calibrate CLIPS... --tracks DIR [--write] [--out DIR]

CLIPS are folders that hold `NAME.truth.json` and `NAME.truth.csv`, DIR the saved pose tracks
`NAME.parquet` of all of them. Two things are learned: where landmarks lie beside their joints
and how much that differs (from every frame), and how far each value errs (from every rep). With
--write they replace `formcheck/signals/calibration.toml`.

Nothing is scored on a body that it was learned from: bodies are dealt into folds, clips of one
body into one. A fold's values rest on landmarks learned from the others, and their biases and
half-widths on the values of the others. The printed table is that of the left-out bodies.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.stats import norm
from scipy.stats import t as student

from formcheck.analysis import Analysis, analyse
from formcheck.maths.arrays import FloatArray
from formcheck.pose.sides import with_steady_sides
from formcheck.pose.store import read_track
from formcheck.pose.track import PoseTrack
from formcheck.signals import calibration
from formcheck.signals.body_model import JOINTS, LANDMARKS, SIDES
from formcheck.signals.calibration import KNEELING, MIDDLE_BEND, USUAL_MISFIT, Calibration, Doubt
from tests.truth import scoring
from tests.truth.truth import TruthSet, read_truth

WRITTEN = Path(__file__).parents[2] / "formcheck" / "signals" / "calibration.toml"
FOLDS = 6
CLASSES = ("near", "far", "front", KNEELING)
KNEELING_JOINTS = ("knee", "ankle")
# The far leg hides behind the near one, and is confused with it: not to be trusted at all.
UNTRUSTED = {("far", "knee"), ("far", "ankle")}
UNTRUSTED_SD = 1.0
CALIBRATED = (
    "elbow_bottom_deg", "elbow_top_deg", "hip_deviation_deg", "head_angle_deg", "elbow_flare_deg",
    "elbow_flare_left_deg", "elbow_flare_right_deg", "hand_spacing_ratio",
    "upper_arm_bottom_deg", "eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s",
)  # fmt: skip
COVERED = 0.95
OTHER = {"left": "right", "right": "left"}
# How a landmark is seen, joint, and what is known of it there.
Landmarks = dict[str, dict[str, dict[str, Any]]]
LEAST_BODIES = 6  # fewer bodies tell no half-width of their own
_EVERY = 3  # frames of a clip that are looked at: one in three
_SHRINK = 0.001
_UNLIKE = 4.0  # times the usual distance from which a clip is left out of the means
# Share of the way down that parts the moments of a set, and the least bend (of 90 degrees) of one.
_MOMENT_EDGES, _LEAST_BEND = (0.04, 0.20, 0.45, 0.70, 0.88), 0.25
# Correlations of offsets are taken this much nearer to none, explained by so many factors, and
# never wholly (chosen among a few on bodies left out).
_TOWARD_NONE, _FACTORS, _MOST_SHARED = 0.3, 12, 0.95
_ONE_SD = 0.683  # of a bell-shaped error lies within one sd


@dataclass(frozen=True)
class Case:
    """One clip: its truth, its track, and which body it shows."""

    truth: TruthSet
    track: PoseTrack
    csv: Path
    raw: Mapping[str, Any]

    @property
    def body(self) -> str:
        """Bodies are told apart by their measures."""
        return f"{self.raw['stature_m']:.4f}/{self.raw['upper_arm_m']:.4f}"


def read_cases(folders: Sequence[Path], tracks: Path) -> list[Case]:
    found = []
    for folder in folders:
        for path in sorted(folder.glob("*.truth.json")):
            name = path.name.removesuffix(".truth.json")
            csv = path.with_name(f"{name}.truth.csv")
            track = tracks / f"{name}.parquet"
            if csv.exists() and track.exists():
                raw = json.loads(path.read_text())
                found.append(Case(read_truth(path), with_steady_sides(read_track(track)), csv, raw))
    return found


def folds(cases: Sequence[Case], count: int = FOLDS) -> Iterator[tuple[list[Case], list[Case]]]:
    """(learned from, scored on), by body; each body is scored once."""
    bodies = sorted({case.body for case in cases})
    np.random.default_rng(0).shuffle(bodies)
    for number in range(count):
        out = set(bodies[number::count])
        yield (
            [case for case in cases if case.body not in out],
            [case for case in cases if case.body in out],
        )


# --- where landmarks lie ----------------------------------------------------------------------


def landmark_rows(case: Case) -> pd.DataFrame:
    """How far each landmark lies from its joint in the picture, arm lengths, frame by frame.

    Columns ``dx``, ``dy``; ``x0`` … ``y2`` how much each of the joint's own three axes shows along
    them; ``bend`` of the elbow in 90 degrees.
    """
    raw, table = case.raw, pd.read_csv(case.csv)
    table = table[table["plank"] == 1].iloc[::_EVERY]
    camera = raw["camera"]
    eye, target = np.array(camera["eye"]), np.array(camera["target"])
    forward = _unit(target - eye)
    level = _unit(np.cross(forward, [0.0, 0.0, 1.0]))
    plumb = np.cross(forward, level)
    focal = raw["height"] / 2 / np.tan(np.radians(camera["fov"] / 2))
    arm = raw["upper_arm_m"] + raw["forearm_m"]

    def place(name: str) -> FloatArray:
        return np.asarray(table[[f"{name}_{axis}" for axis in "XYZ"]], dtype=float)

    middle = {j: (place(f"left_{j}") + place(f"right_{j}")) / 2 for j in ("shoulder", "hip")}
    head = _unit(middle["shoulder"] - middle["hip"])
    belly = np.cross(head, [0.0, 1.0, 0.0])
    belly *= np.sign(-belly[:, 2:])
    ahead, up = (
        np.broadcast_to([1.0, 0.0, 0.0], head.shape),
        np.broadcast_to([0.0, 0.0, 1.0], head.shape),
    )
    both = (
        180.0 - table[["elbow_left_deg", "elbow_right_deg"]].to_numpy(float).mean(axis=1)
    ) / 90.0
    frames = []
    for side, out in zip(SIDES, (1.0, -1.0), strict=True):
        at = {joint: place(f"{side}_{joint}") for joint in JOINTS}
        outward = np.broadcast_to([0.0, out, 0.0], head.shape)
        line = _unit(at["wrist"] - at["shoulder"])
        beside = at["elbow"] - at["shoulder"]
        offset = _unit(beside - np.sum(beside * line, axis=1, keepdims=True) * line)
        thigh, shank = _unit(at["knee"] - at["hip"]), _unit(at["ankle"] - at["knee"])
        axes = {
            "shoulder": (head, outward, belly),
            "hip": (head, outward, belly),
            "ear": (head, outward, belly),
            "elbow": (-line, offset, np.cross(line, offset) * out),
            "wrist": (ahead, outward, up),
            "knee": (thigh, outward, _square(thigh)),
            "ankle": (shank, outward, _square(shank)),
        }
        near = case.truth.near_side
        seen_as = "front" if near is None else "near" if near == side else "far"
        on_knees = case.truth.support == "knees" and seen_as == "near"
        for joint in JOINTS:
            seen = case.track.xy(f"{side}_{joint}")
            known = np.isfinite(seen[:, 0])
            if known.sum() < 5:
                continue
            px = focal / ((at[joint] - eye) @ forward) * arm
            true = table[[f"{side}_{joint}_x", f"{side}_{joint}_y"]].to_numpy(float)
            read = np.stack(
                [np.interp(table["t"], case.track.t_s[known], seen[known, k]) for k in (0, 1)],
                axis=1,
            )
            away = (read - true) / px[:, None]
            own = np.stack(axes[joint], axis=1)
            columns = {f"x{i}": own[:, i] @ level for i in range(3)}
            columns |= {f"y{i}": own[:, i] @ plumb for i in range(3)}
            frames.append(
                pd.DataFrame(
                    {
                        "clip": case.truth.name,
                        "body": case.body,
                        "seen": KNEELING if on_knees and joint in KNEELING_JOINTS else seen_as,
                        "joint": joint,
                        "side": side,
                        "t": table["t"].to_numpy(float),
                        "both": both,
                        "bend": (180.0 - table[f"elbow_{side}_deg"].to_numpy(float)) / 90.0,
                        "dx": away[:, 0],
                        "dy": away[:, 1],
                        **columns,
                    }
                )
            )
    return pd.concat(frames, ignore_index=True)


def learn_landmarks(rows: pd.DataFrame) -> Landmarks:
    """Mean offsets and their spreads, by how a landmark is seen and by joint."""
    out: dict[str, dict[str, dict[str, Any]]] = {seen: {} for seen in CLASSES}
    for (seen, joint), mine in rows.groupby(["seen", "joint"]):
        axes = np.vstack([mine[[f"{k}{i}" for i in range(3)]].to_numpy(float) for k in ("x", "y")])
        away = np.concatenate([mine["dx"], mine["dy"]])
        bend = np.concatenate([mine["bend"], mine["bend"]])
        every = np.hstack([axes, axes * bend[:, None]])
        clip = np.concatenate([mine["clip"], mine["clip"]])
        # A clip on which the tracker took one limb for another says nothing about this one.
        usual = np.ones(len(away), dtype=bool)
        for _ in range(4):
            # What no camera shows (an offset along the line of sight) stays zero.
            kept = every[usual]
            normal = kept.T @ kept + _SHRINK * len(kept) * np.eye(6)
            offset = np.linalg.solve(normal, kept.T @ away[usual])
            left = np.abs(away - every @ offset)
            middle = pd.Series(left).groupby(clip).transform("median").to_numpy()
            usual = middle <= _UNLIKE * max(float(np.median(middle)), 1e-6)
        if (seen, joint) in UNTRUSTED:
            offset[:] = 0.0
        rest = (away - every @ offset).reshape(2, -1)
        by_clip = pd.DataFrame({"clip": mine["clip"].to_numpy(), "x": rest[0], "y": rest[1]})
        means, spreads = by_clip.groupby("clip").mean(), by_clip.groupby("clip").std()
        own = float(np.quantile(np.abs(means.to_numpy()), _ONE_SD))
        moving = float(np.quantile(spreads.to_numpy(), _ONE_SD))
        if (seen, joint) in UNTRUSTED:
            own = moving = UNTRUSTED_SD
        out[str(seen)][str(joint)] = {
            "straight": offset[:3].tolist(),
            "bending": offset[3:].tolist(),
            "own_sd": own,
            "moving_sd": moving,
            "bodies": int(mine["body"].nunique()),
        }
    return out


def learn_spreads(rows: pd.DataFrame, landmarks: Landmarks) -> dict[str, dict[str, dict[str, Any]]]:
    """How what offsets leave over goes together in one body, seen from the front and otherwise.

    ``between`` bodies: of the means of all landmarks in the picture and their changes with the
    bend; ``within`` a set: of what is left at one moment. Each as sds and common factors.
    """
    left = [
        mine.assign(**_left_over(mine, landmarks[str(seen)][str(joint)]))
        for (seen, joint), mine in rows.groupby(["seen", "joint"])
    ]
    every = pd.concat(left)
    out: dict[str, dict[str, dict[str, Any]]] = {}
    for kind in ("side", "front"):
        mine = every[(every["seen"] == "front") == (kind == "front")]
        moments = [found for _, clip in mine.groupby("clip") for found in _moments(clip, kind)]
        own, rest = [], []
        for bend, values in moments:
            line = np.stack([np.ones(len(bend)), bend - MIDDLE_BEND], axis=1)
            fit = np.linalg.lstsq(line, values, rcond=None)[0]
            own.append(fit.reshape(-1))
            rest.append((values - line @ fit) * np.sqrt(len(bend) / max(len(bend) - 2, 1)))
        hidden = [
            2 * LANDMARKS.index(f"right_{joint}") + k
            for seen, joint in UNTRUSTED
            for k in (0, 1)
            if kind == "side"
        ]
        size = 2 * len(LANDMARKS)
        out[kind] = {
            "between": _common(np.array(own), [*hidden, *(size + k for k in hidden)]),
            "within": _common(np.concatenate(rest), hidden),
        }
    return out


def _left_over(rows: pd.DataFrame, entry: Mapping[str, Any]) -> dict[str, FloatArray]:
    """What the mean offset of one landmark leaves over in the picture, ``rx`` and ``ry``."""
    bend = rows["bend"].to_numpy(float)[:, None]
    offset = np.array(entry["straight"]) + bend * np.array(entry["bending"])
    return {
        f"r{k}": rows[f"d{k}"].to_numpy(float)
        - np.sum(rows[[f"{k}{i}" for i in range(3)]].to_numpy(float) * offset, axis=1)
        for k in ("x", "y")
    }


def _moments(clip: pd.DataFrame, kind: str) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Bends (K,), in 90 degrees, and what is left over (K, 28) at moments of one clip.

    As the fit sees them: the near side left. From the front the mirror image as well.
    """
    if kind == "front":
        ways = [
            ({"left": "left", "right": "right"}, 1.0),
            ({"left": "right", "right": "left"}, -1.0),
        ]
    else:
        near = str(clip.loc[clip["seen"] == "near", "side"].iloc[0])
        ways = [({near: "left", OTHER[near]: "right"}, -1.0 if near == "right" else 1.0)]
    for sides, mirror in ways:
        named = clip.assign(
            name=clip["side"].map(sides) + "_" + clip["joint"], rx=mirror * clip["rx"]
        )
        wide = named.pivot_table(index="t", columns="name", values=["rx", "ry"])
        bend = named.groupby("t")["both"].first().to_numpy(float)
        values = np.zeros((len(bend), 2 * len(LANDMARKS)))
        for i, name in enumerate(LANDMARKS):
            for k, column in enumerate(("rx", "ry")):
                if (column, name) in wide:
                    values[:, 2 * i + k] = wide[column, name]
        least, most = np.percentile(bend, [2.0, 98.0])
        if most - least < _LEAST_BEND:
            continue
        place = np.digitize((bend - least) / (most - least), _MOMENT_EDGES)
        parts = [place == i for i in range(len(_MOMENT_EDGES) + 1) if (place == i).sum() >= 3]
        yield (
            np.array([bend[now].mean() for now in parts]),
            np.nan_to_num([np.nanmedian(values[now], axis=0) for now in parts]),
        )


def _common(samples: FloatArray, hidden: Sequence[int]) -> dict[str, Any]:
    """Sds (D,) of ``samples`` (N, D) and loadings (D, F) of the factors they have in common.

    Few bodies tell no covariance of so many landmarks: correlations are shrunk toward none, and
    what few factors do not explain is each one's own (principal factors). ``hidden`` are known
    not to be seen.
    """
    sd = np.maximum(np.quantile(np.abs(samples), _ONE_SD, axis=0), 1e-3)
    usual = np.clip(samples / sd, -3.0, 3.0)
    size = np.linalg.norm(usual, axis=1, keepdims=True)
    usual *= np.minimum(1.0, 1.5 * np.sqrt(len(sd)) / np.maximum(size, 1e-9))
    together = usual.T @ usual / len(usual)
    spread = np.sqrt(np.diag(together))
    together *= (1.0 - _TOWARD_NONE) / np.outer(spread, spread)
    together[hidden] = together[:, hidden] = 0.0
    shared = np.full(len(sd), 0.6)
    for _ in range(30):
        np.fill_diagonal(together, shared)
        size, way = np.linalg.eigh(together)
        factors = way[:, -_FACTORS:] * np.sqrt(np.maximum(size[-_FACTORS:], 0.0))
        shared = np.minimum(np.sum(factors**2, axis=1), _MOST_SHARED)
    explained = np.sqrt(np.maximum(np.sum(factors**2, axis=1, keepdims=True), 1e-9))
    factors *= np.minimum(1.0, np.sqrt(_MOST_SHARED) / explained)
    factors[hidden], sd[hidden] = 0.0, UNTRUSTED_SD
    return {"sd": sd.tolist(), "factors": factors.tolist()}


# --- how far values err -----------------------------------------------------------------------


def value_rows(case: Case, analysis: Analysis) -> pd.DataFrame:
    """One row a rep and quantity: value, truth, and what its half-width may depend on."""
    rows = []
    look = analysis.looks[0]
    frames = pd.read_csv(case.csv)
    for rep, result in scoring.matched_results(analysis, case.truth):
        frame_s = case.truth.duration_s / len(frames)  # a bottom may be shorter than that
        bottom_s = rep.bottom_start_s - frame_s / 2, rep.bottom_end_s + frame_s / 2
        at_bottom = frames[frames["t"].between(*bottom_s)]
        true_values = {**rep.values, "upper_arm_bottom_deg": _upper_arm_deg(at_bottom)}
        for name, true in true_values.items():
            quantity = result.values.get(name)
            if quantity is None or not quantity.known:
                continue
            rows.append(
                {
                    "clip": case.truth.name,
                    "body": case.body,
                    "view": look.view.kind,
                    "rep": rep.index,
                    "quantity": name,
                    "truth": true,
                    "measured": quantity.value,
                    "plus_minus": quantity.plus_minus,
                    "misfit": look.signals.misfit,
                    "noise": look.signals.noise,
                }
            )
    return pd.DataFrame(rows)


def _upper_arm_deg(frames: pd.DataFrame) -> float:
    """How far the upper arms point down from the shoulders, mean of both, in these frames."""
    both = []
    for side in SIDES:
        ends = (
            frames[[f"{side}_{j}_{k}" for k in "XYZ"]].to_numpy() for j in ("elbow", "shoulder")
        )
        upper = -np.subtract(*ends)
        both.append(np.degrees(np.arcsin(upper[:, 2] / np.linalg.norm(upper, axis=1))))
    return float(np.median(np.mean(both, axis=0)))


def learn_doubt(rows: pd.DataFrame) -> Doubt:
    """How a quantity errs from one view, from values whose half-width is the fit's own sd.

    The shape (share, least, strange) is the likeliest under long-tailed errors, each body counting
    alike; the width then holds 95 of 100 values, again each body counting alike.
    """
    error = (rows["measured"] - rows["truth"]).to_numpy(float)
    sd = rows["plus_minus"].to_numpy(float)
    strange = np.maximum(rows["misfit"].to_numpy(float) - USUAL_MISFIT, 0.0)
    weight = 1.0 / rows.groupby("body")["body"].transform("size").to_numpy(float)
    bias = _weighted_quantile(error, weight, 0.5)
    size = max(float(np.median(np.abs(error - bias))), 1e-6)

    def spread(shape: FloatArray) -> FloatArray:
        share, least, more = np.exp(shape)
        return np.asarray(np.hypot(share * sd, least * size) * (1.0 + more * strange))

    def unlikely(shape: FloatArray) -> float:
        at = spread(shape)
        cost = np.log(at) + 2.5 * np.log1p((error - bias) ** 2 / (4.0 * at**2))
        prior = 0.05 * (shape[0] ** 2 + shape[1] ** 2 + (shape[2] - 0.5) ** 2)
        return float(weight @ cost + prior)

    shape = minimize(unlikely, np.array([0.0, 0.0, 0.5]), method="Nelder-Mead").x
    share, least, more = np.exp(shape)
    bodies = rows["body"].nunique()
    # Few bodies have not shown their worst: the next one is as far off as Student's t says.
    level = min(COVERED + 0.5 / bodies, 0.995)
    few = float(student.ppf(0.975, bodies - 1) * np.sqrt(1 + 1 / bodies) / norm.ppf(0.975))
    widen = _weighted_quantile(np.abs(error - bias) / spread(shape), weight, level)
    return Doubt(bias, float(share), float(least * size), float(more), few * float(widen))


def _weighted_quantile(values: FloatArray, weight: FloatArray, level: float) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) - 0.5 * weight[order]
    return float(np.interp(level, reached / weight.sum(), values[order]))


def learn_doubts(rows: pd.DataFrame) -> dict[str, dict[str, Doubt]]:
    """By view and quantity; a view of few bodies takes the width of all views together."""
    doubts: dict[str, dict[str, Doubt]] = {}
    rows = rows[rows["quantity"].isin(CALIBRATED)]
    for (view, name), mine in rows.groupby(["view", "quantity"]):
        of_all = rows[rows["quantity"] == name]
        few = mine["body"].nunique() < LEAST_BODIES
        doubts.setdefault(str(view), {})[str(name)] = learn_doubt(of_all if few else mine)
    return doubts


# --- all of it --------------------------------------------------------------------------------


def fold_values(cases: Sequence[Case], landmarks: pd.DataFrame) -> pd.DataFrame:
    """Values of every body, with landmark offsets that were learned from the other folds.

    Half-widths are the fit's own sd and no bias is taken off; ``fold`` says which fold it was.
    """
    rows = []
    for number, (learned_from, scored_on) in enumerate(folds(cases)):
        names = [case.truth.name for case in learned_from]
        mine = learn_landmarks(landmarks[landmarks["clip"].isin(names)])
        spreads = learn_spreads(landmarks[landmarks["clip"].isin(names)], mine)
        with calibration.using(_bare(mine, spreads)):
            rows += [
                value_rows(case, analyse([case.track])).assign(fold=number) for case in scored_on
            ]
    return pd.concat(rows, ignore_index=True)


def _bare(landmarks: Landmarks, spreads: Mapping[str, Any]) -> Calibration:
    """Half-widths that are the fit's own sd, and no bias."""
    sd = {name: Doubt(widen=1.0) for name in CALIBRATED}
    return Calibration(landmarks, dict.fromkeys(("side", "oblique", "front"), sd), spreads)


def cross_validated(values: pd.DataFrame) -> pd.DataFrame:
    """``fold_values`` with biases and half-widths that were learned from the other folds."""
    scored = []
    for number, mine in values.groupby("fold"):
        doubts = learn_doubts(values[values["fold"] != number])
        for (view, name), some in mine.groupby(["view", "quantity"]):
            doubt = doubts.get(str(view), {}).get(str(name))
            if doubt is not None:
                some = _stated(doubt, some)
            scored.append(some)
    return pd.concat(scored, ignore_index=True)


def left_out(scored: pd.DataFrame) -> pd.DataFrame:
    """Errors and coverage by view and quantity, and how many bodies and reps they rest on."""
    table = scoring.agreement(scored, ["quantity", "view"])
    bodies = scored.groupby(["quantity", "view"])["body"].nunique()
    return table.assign(bodies=bodies.reindex(table.index).to_numpy())


def as_toml(found: Calibration, scored: pd.DataFrame, cases: Sequence[Case]) -> str:
    """The file, with how many bodies each entry rests on and its error on bodies left out."""
    bodies = len({case.body for case in cases})
    lines = [
        "# Written by `python -m tests.truth.calibrate`: do not edit by hand.",
        f"# Learned from {len(cases)} rendered clips of {bodies} bodies with exact joints. Each",
        "# `mean_error` and `covered` is of bodies that were left out while learning.",
        "",
    ]
    for seen, joints in found.landmarks.items():
        for joint, entry in joints.items():
            lines += [f"[landmarks.{seen}.{joint}]"]
            lines += [f"{key} = {_toml(value)}" for key, value in entry.items()] + [""]
    for kind, parts in found.spreads.items():
        for part, entry in parts.items():
            lines += [f"[spreads.{kind}.{part}]", f"sd = {_toml(entry['sd'])}", "factors = ["]
            lines += [
                f"  [{', '.join(f'{x:.2f}' for x in row)}]," for row in np.array(entry["factors"])
            ]
            lines += ["]", ""]
    for view, by_name in found.doubts.items():
        for name, doubt in by_name.items():
            mine = scored[(scored["view"] == view) & (scored["quantity"] == name)]
            error = (mine["measured"] - mine["truth"]).abs()
            lines += [f"[doubts.{view}.{name}]"]
            lines += [f"{key} = {_toml(getattr(doubt, key))}" for key in Doubt.__dataclass_fields__]
            lines += [
                f"bodies = {mine['body'].nunique()}",
                f"mean_error = {_toml(float(error.mean()))}",
                f"covered = {_toml(float((error <= mine['plus_minus']).mean()))}",
                "",
            ]
    return "\n".join(lines)


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    return f"{value:.4f}" if isinstance(value, float) else str(value)


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector, axis=-1, keepdims=True))


def _square(segment: FloatArray) -> FloatArray:
    """Square to a leg segment in the body's plane, to the same side as in ``body_model``."""
    return np.stack([-segment[:, 2], np.zeros(len(segment)), segment[:, 0]], axis=1)


def _stated(doubt: Doubt, rows: pd.DataFrame) -> pd.DataFrame:
    """Values whose half-width is the fit's own sd, as the doubt has them stated."""
    return rows.assign(
        measured=rows["measured"] - doubt.bias,
        plus_minus=[
            doubt.half_width(sd, misfit)
            for sd, misfit in zip(rows["plus_minus"], rows["misfit"], strict=True)
        ],
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+", help="clips with truth")
    parser.add_argument("--tracks", type=Path, required=True, help="their saved pose tracks")
    parser.add_argument("--write", action="store_true", help=f"replace {WRITTEN.name}")
    parser.add_argument("--out", type=Path, help="write the left-out values as CSV here")
    asked = parser.parse_args()
    cases = read_cases(asked.folders, asked.tracks)
    landmarks = pd.concat([landmark_rows(case) for case in cases], ignore_index=True)
    values = fold_values(cases, landmarks)
    scored = cross_validated(values)
    for view, mine in scored.groupby("view"):
        print(f"\n{view}: bodies left out\n{scoring.agreement(mine).round(3).to_string()}")
    if asked.out:
        asked.out.mkdir(parents=True, exist_ok=True)
        left_out(scored).round(4).to_csv(asked.out / "left_out.csv")
    if asked.write:
        offsets = learn_landmarks(landmarks)
        found = Calibration(offsets, learn_doubts(values), learn_spreads(landmarks, offsets))
        WRITTEN.write_text(as_toml(found, scored, cases), encoding="utf-8")
        print(f"\nwritten to {WRITTEN}")


if __name__ == "__main__":
    main()
