"""Write the measured figures into the documents, so that each stands in one place.

    python -m tests.truth.readme

reads the tables in `tests/truth/latest` and renews what stands between

    <!-- figures: NAME -->
    <!-- end of figures -->

in README.md, DEVELOPERS.md and `tests/truth/latest/README.md`. A figure is changed by measuring
anew (`tests.truth.bench`, `speed`, `elbow_candidates`, `model_trade` with that folder as --out),
never by hand; a test fails where a document and the tables disagree.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from formcheck.measures.values import rep_values
from formcheck.report.words import unit_name
from tests.truth.bench import as_markdown

ROOT = Path(__file__).parents[2]
LATEST = Path(__file__).parent / "latest"
DOCUMENTS = ("README.md", "DEVELOPERS.md", "tests/truth/latest/README.md")
_BLOCK = re.compile(r"(<!-- figures: (\w+) -->\n).*?(<!-- end of figures -->)", re.DOTALL)

# Quantity, and the view it is scored in, of the table in README.md.
_SHOWN = (
    ("eccentric_s", "side"), ("bottom_pause_s", "side"), ("concentric_s", "side"),
    ("top_pause_s", "side"), ("elbow_bottom_deg", "side"), ("elbow_top_deg", "side"),
    ("hip_deviation_deg", "side"), ("hip_deviation_change_deg", "side"),
    ("head_angle_deg", "side"), ("inclination_deg", "side"), ("elbow_flare_deg", "front"),
    ("elbow_flare_deg", "side"), ("hand_spacing_ratio", "front"), ("load_fraction", "side"),
)  # fmt: skip
_IN_WORDS = {"side": "from the side", "front": "from the front", "oblique": "at a slant"}


def renewed(text: str, data: Path = LATEST) -> str:
    """A document with its blocks of figures made anew. Raises KeyError for an unknown block."""
    return _BLOCK.sub(lambda found: f"{found[1]}{BLOCKS[found[2]](data)}\n{found[3]}", text)


def accuracy(data: Path) -> str:
    """What README.md says of errors and of how far the stated ± can be trusted."""
    told, clips = _told(data), pd.read_csv(data / "clips.csv")
    agreement, strangers = (
        pd.read_csv(data / name).set_index(["quantity", "view"])
        for name in ("agreement.csv", "left_out.csv")
    )
    rows = []
    for key, view in _SHOWN:
        if (key, view) not in strangers.index and (key, view) not in agreement.index:
            continue
        label, unit = _named(key)
        unseen = (key, view) in strangers.index
        row = (strangers if unseen else agreement).loc[(key, view)]
        stated = math.isfinite(row["mean_plus_minus"])
        rows.append(
            (
                f"{label}, {_IN_WORDS[view]}",
                _amount(row["mae"], unit),
                _amount(row["mean_plus_minus"], unit) if stated else "–",
                f"{100 * row['coverage']:.0f} %" if stated else "–",
                int(row["bodies"]) if unseen else "–",
                int(row["n"]),
            )
        )
    heads = [
        "quantity", "mean error", "stated ± (95 %)", "errors inside it", "bodies left out", "reps",
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=heads).set_index("quantity")
    found = (clips["attempts"] == clips["true"]) & (clips["bottoms"] == clips["true"])
    return "\n\n".join(
        (
            f"Against the exact truth of rendered clips ({told['model']}, looked "
            f"at mostly {told['rate_hz']:.0f} times a second, {told['date']}). Where bodies are "
            "given, landmark offsets and ± were learned from other bodies than the one that was "
            f"measured; elsewhere they are those of {len(clips)} clips on which every attempt was "
            f"found, and nothing else, on {found.sum()}.",
            as_markdown(table),
            _fault_words(data),
        )
    )


def _fault_words(data: Path) -> str:
    form, tempo = (
        pd.read_csv(data / name).set_index("key").loc["all"]
        for name in ("faults.csv", "faults_at_one_tempo.csv")
    )
    return (
        f"Faults of form: {_raised(form)}. With one tempo asked of every set, those of the tempo "
        f"included: {_raised(tempo)}."
    )


def _raised(row: pd.Series[float]) -> str:
    there = int(row["hit"] + row["missed"])
    near = round(float(row["noticed"]) * there) - int(row["hit"])
    return (
        f"of {there} that were there {int(row['hit'])} were called and {near} came out as too "
        f"close to call; {int(row['false_alarm'])} called that were not there"
    )


def speed(data: Path) -> str:
    """What a run costs, against a bare loop over the same clip."""
    table = pd.read_csv(data / "speed.csv").set_index("clip")
    heads = {
        "model": "model",
        "measured": "measured",
        "bare_loop_s": "bare loop, s",
        "decode_once_s": "decoding once, s",
        "formcheck_set_s": "formcheck set, s",
        "ratio": "ratio",
        "peak_mb": "peak memory, MB",
        "rss_mb": "resident sizes added, MB",
    }
    return as_markdown(table[[name for name in heads if name in table]].rename(columns=heads))


def speed_goals(data: Path) -> str:
    """What speed and memory are held to, and whether they are."""
    path = data / "speed_goals.csv"
    return _csv(path.name, "what")(data) if path.exists() else "Not measured yet."


def by_view(data: Path) -> str:
    """Every quantity in every view."""
    table = pd.read_csv(data / "agreement.csv")
    parts = [
        f"### {view} view\n\n{as_markdown(rows.drop(columns='view').set_index('quantity'))}"
        for view, rows in table.groupby("view")
        if view in _IN_WORDS
    ]
    return "\n\n".join((_measured_on(data), *parts))


def _measured_on(data: Path) -> str:
    told, clips = _told(data), pd.read_csv(data / "clips.csv")
    exact = (clips["attempts"] == clips["true"]) & (clips["bottoms"] == clips["true"])
    return (
        f"Measured {told['date']} with {told['model']}, looked at mostly {told['rate_hz']:.0f} "
        "times a second, on "
        f"{len(clips)} rendered clips: {', '.join(clips['clip'])}.\n\nAttempts and their bottoms "
        f"exact on {exact.sum()} of {len(clips)} clips; view right on "
        f"{clips['view_right'].sum()}, near side on {clips['near_right'].sum()}."
    )


def pairs(data: Path) -> str:
    """Two clips of one set, and of different ones."""
    told, table = _told(data), pd.read_csv(data / "pairs.csv").set_index("pair")
    return (
        f"{as_markdown(table)}\n\nOf {told['strangers']} pairs of clips of different sets "
        f"{told['strangers_refused']} were refused."
    )


def _csv(name: str, index: str) -> Callable[[Path], str]:
    return lambda data: as_markdown(pd.read_csv(data / name).set_index(index))


def bodies_left_out(data: Path) -> str:
    """Every quantity and view on bodies that nothing was learned from, now and before."""
    table = pd.read_csv(data / "left_out.csv")
    before = pd.read_csv(data / "before_left_out.csv").set_index(["quantity", "view"])
    index = pd.MultiIndex.from_frame(table[["quantity", "view"]])
    for column in ("mae", "coverage"):
        table[f"{column} before"] = before[column].reindex(index).to_numpy()
    shown = [
        "quantity", "bodies", "n", "bias", "mae", "mae before", "coverage", "coverage before",
        "mean_plus_minus",
    ]  # fmt: skip
    return "\n\n".join(
        f"### {view} view\n\n{as_markdown(rows[shown].set_index('quantity'))}"
        for view, rows in table.groupby("view")
    )


def pace(data: Path) -> str:
    """What looking more seldom costs, and how much more seldom it is."""
    told = pd.read_csv(data / "pace_sets.csv").iloc[0]
    return (
        f"{told['share of looks']:.0%} of the looks that fifteen a second would be, on "
        f"{told['clips']:.0f} clips; attempts exact on {told['attempts exact']:.0f}.\n\n"
        f"{as_markdown(pd.read_csv(data / 'pace.csv').set_index('view'), 3)}"
    )


def stress(data: Path) -> str:
    """The same sets filmed, played or tracked otherwise; errors from the side."""
    table = pd.read_csv(data / "stress.csv").rename(
        columns={
            "exact": "attempts exact", "eccentric": "lowering, s",
            "bottom_pause": "bottom pause, s", "concentric": "pressing, s",
            "elbow_bottom": "elbow bottom, °", "elbow_top": "elbow top, °",
            "hip_deviation": "body line, °", "head_angle": "head, °",
            "inclination": "inclination, °", "prec": "precision",
        }
    )  # fmt: skip
    table = table.drop(columns=["views", "kinds", "false", "lost"]).set_index("change")
    return as_markdown(table.astype(object).where(table.notna(), "not judged"), 2)


BLOCKS: Mapping[str, Callable[[Path], str]] = {
    "bodies_left_out": bodies_left_out,
    "accuracy": accuracy,
    "speed": speed,
    "speed_goals": speed_goals,
    "by_view": by_view,
    "pairs": pairs,
    "faults": _csv("faults.csv", "key"),
    "faults_at_one_tempo": _csv("faults_at_one_tempo.csv", "key"),
    "elbow_candidates": _csv("elbow_candidates.csv", "candidate"),
    "batch": _csv("batch.csv", "what"),
    "known_limit": _csv("known_limit.csv", "fault"),
    "model_trade": _csv("model_trade.csv", "model"),
    "pace": pace,
    "stress": stress,
}


def _told(data: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((data / "measured.json").read_text(encoding="utf-8"))
    return told


def _named(key: str) -> tuple[str, str]:
    """Label and unit of a scored quantity: a rep's values, and the set's inclination."""
    value = rep_values().get(key)
    return ("Body inclined", "deg") if value is None else (value.label, value.unit)


def _amount(value: float, unit: str) -> str:
    """``0.06 s``, ``2.4°``, ``1 % of body mass``."""
    if unit == "share of body mass":
        return f"{100 * value:.0f} {unit_name(unit)}"
    return f"{value:.1f}°" if unit == "deg" else f"{value:.2f} {unit_name(unit)}"


def main() -> None:
    for name in DOCUMENTS:
        path = ROOT / name
        text = path.read_text(encoding="utf-8")
        if (new := renewed(text)) != text:
            path.write_text(new, encoding="utf-8")
            print(f"renewed {name}")


if __name__ == "__main__":
    main()
