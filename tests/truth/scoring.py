"""Score a judged set against its exact truth. Pure: no files, no clock, nothing printed.

How a fault is expected
    A rep should carry a fault when its true value lies beyond the limit by more than the
    accuracy asked of that quantity (`GREY`), should not when it lies inside the limit by more
    than that, and is left out of the score in between: there, no camera could tell.
    `borderline` is no accusation: it is neither a false alarm nor a find.
    A fault is firm only when value and stated ± lie beyond the limit, so a value a little
    beyond it cannot be found firmly by any honest measurement. Recall is therefore given over
    all, over the marked cases (beyond by more than twice the accuracy), and as `noticed`,
    with `borderline` counted as found.
    A fault counts as missed only where the view can show it (`SHOWN_BY`); a raised fault
    counts against precision in every view.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import pandas as pd

from formcheck.analysis import Analysis, RepResult
from formcheck.asked.tempo import Tempo
from formcheck.maths.quantity import Quantity
from tests.truth.truth import TruthRep, TruthSet

Expectation = Literal["fault", "clear", "grey"]

BOTTOM_SLACK_S = 0.2

# Half-width of the zone around a limit that is not scored: the accuracy asked of the quantity.
GREY: Mapping[str, float] = {
    "elbow_bottom_deg": 4.0,
    "elbow_top_deg": 5.0,
    "hip_deviation_deg": 3.0,
    "head_angle_deg": 8.0,
    "elbow_flare_deg": 8.0,
    "phase_s": 0.10,
}

# What bounds each fault, and on which side of its limit the fault lies.
BOUNDED: Mapping[str, tuple[str, float]] = {
    "shallow": ("elbow_bottom_deg", 1.0),
    "soft_lockout": ("elbow_top_deg", -1.0),
    "hip_sag": ("hip_deviation_deg", 1.0),
    "hip_pike": ("hip_deviation_deg", -1.0),
    "head_drop": ("head_angle_deg", 1.0),
    "elbow_flare": ("elbow_flare_deg", 1.0),
}
MARKED = 2.0  # accuracies beyond the limit

ALL_VIEWS = frozenset({"side", "front", "oblique"})
SHOWN_BY: Mapping[str, frozenset[str]] = {
    "shallow": ALL_VIEWS,
    "soft_lockout": ALL_VIEWS,
    "aborted": ALL_VIEWS,
    "hip_sag": frozenset({"side"}),
    "hip_pike": frozenset({"side"}),
    "head_drop": frozenset({"side"}),
    "elbow_flare": frozenset({"front"}),
    "rushed_eccentric": ALL_VIEWS,
    "slow_eccentric": ALL_VIEWS,
    "short_bottom_pause": ALL_VIEWS,
    "short_top_pause": ALL_VIEWS,
    "slow_concentric": ALL_VIEWS,
    "uneven_arms": frozenset({"front"}),
}
TEMPO_KEYS = frozenset(
    {"rushed_eccentric", "slow_eccentric", "short_bottom_pause", "short_top_pause",
     "slow_concentric"}
)  # fmt: skip


def match_reps(bottoms_s: Sequence[float], truth: Sequence[TruthRep]) -> dict[int, int]:
    """Found attempts by true attempt: {position in ``truth``: position in ``bottoms_s``}.

    A found bottom belongs to a true one when it lies within its bottom pause, give or take
    0.2 s; of several the one nearest the middle of the pause is taken, and each only once.
    """
    matches: dict[int, int] = {}
    for i, rep in enumerate(truth):
        middle = (rep.bottom_start_s + rep.bottom_end_s) / 2
        inside = [
            j
            for j, bottom in enumerate(bottoms_s)
            if rep.bottom_start_s - BOTTOM_SLACK_S <= bottom <= rep.bottom_end_s + BOTTOM_SLACK_S
            and j not in matches.values()
        ]
        if inside:
            matches[i] = min(inside, key=lambda j: abs(bottoms_s[j] - middle))
    return matches


def matched_results(analysis: Analysis, truth: TruthSet) -> list[tuple[TruthRep, RepResult]]:
    """True attempts with what was found of them, in order; the missed ones left out."""
    matches = match_reps([result.rep.bottom_s for result in analysis.reps], truth.reps)
    return [(truth.reps[i], analysis.reps[j]) for i, j in sorted(matches.items())]


def value_errors(analysis: Analysis, truth: TruthSet) -> pd.DataFrame:
    """One row a rep and quantity: clip, view, rep, quantity, truth, measured, plus_minus.

    Units are in the quantity's name. Phases and elbow top of aborted attempts are compared
    like any other. The pause after the last rep ends with the clip or with getting up, not
    with a next rep, so it is kept apart as ``last_top_pause_s``.
    """
    rows: list[tuple[str, str, int, str, float, float, float]] = []
    for true_rep, result in matched_results(analysis, truth):
        last = true_rep is truth.reps[-1]
        for name, true_value in true_rep.values.items():
            quantity = measured(result, name)
            if not quantity.known:
                continue
            label = "last_top_pause_s" if last and name == "top_pause_s" else name
            rows.append(
                (truth.name, truth.view, true_rep.index, label, true_value,
                 quantity.value, quantity.plus_minus)
            )  # fmt: skip
    inclination = analysis.variation.inclination_deg
    if inclination.known and truth.reps:
        true_angles = [rep.values["inclination_deg"] for rep in truth.reps]
        rows.append(
            (truth.name, truth.view, 0, "inclination_deg", sum(true_angles) / len(true_angles),
             inclination.value, inclination.plus_minus)
        )  # fmt: skip
    return pd.DataFrame(
        rows, columns=["clip", "view", "rep", "quantity", "truth", "measured", "plus_minus"]
    )


def measured(result: RepResult, name: str) -> Quantity:
    """One value of a rep; a phase without a stated uncertainty is taken from its boundaries."""
    if name in result.values:
        return result.values[name]
    return Quantity(getattr(result.rep, name, math.nan))


def agreement(errors: pd.DataFrame, by: str | list[str] = "quantity") -> pd.DataFrame:
    """Per group: n, bias, MAE, 95 % limits of agreement, and coverage of the stated ±.

    Limits of agreement are bias ± 1.96 SD of the differences (Bland and Altman, Lancet 1986).
    Coverage is the share of errors inside the stated ±, of those that state one.
    """

    def row(group: pd.DataFrame) -> pd.Series[float]:
        difference = group["measured"] - group["truth"]
        bias, spread = difference.mean(), difference.std(ddof=1)
        stated = group["plus_minus"].notna()
        inside = difference[stated].abs() <= group.loc[stated, "plus_minus"]
        return pd.Series(
            {
                "n": float(len(group)),
                "bias": bias,
                "mae": difference.abs().mean(),
                "loa_low": bias - 1.96 * spread,
                "loa_high": bias + 1.96 * spread,
                "coverage": inside.mean() if stated.any() else math.nan,
                "mean_plus_minus": group["plus_minus"].mean(),
            }
        )

    return (
        pd.DataFrame({key: row(group) for key, group in errors.groupby(by, sort=False)})
        .T.rename_axis(by)
        .astype({"n": int})
    )


def expected_attempt(rep: TruthRep, limits: Mapping[str, float]) -> str | None:
    """`counted`, `not_counted` or `aborted`; None in the grey zone of a range limit."""
    if rep.aborted:
        return "aborted"
    range_faults = [expected_fault(key, rep, limits, None) for key in ("shallow", "soft_lockout")]
    if "fault" in range_faults:
        return "not_counted"
    return None if "grey" in range_faults else "counted"


def expected_fault(
    key: str, rep: TruthRep, limits: Mapping[str, float], tempo: Tempo | None
) -> Expectation | None:
    """Whether this rep should carry the fault; None where the truth does not say."""
    excess = excess_of(key, rep, limits, tempo)
    if excess is None:
        return None
    if math.isnan(excess) or abs(excess) <= 1:
        return "grey"
    return "fault" if excess > 1 else "clear"


def excess_of(
    key: str, rep: TruthRep, limits: Mapping[str, float], tempo: Tempo | None
) -> float | None:
    """How far the true value lies beyond the limit, over the accuracy asked of it (`GREY`).

    Infinite where it is a matter of yes or no, NaN where it is not to be scored, None where
    the truth does not say. ``limits`` by fault key, in the unit of the quantity, plus
    ``tempo_tolerance`` and ``tempo_tolerance_share``.
    """
    values = rep.values
    if key == "aborted":
        return math.inf if rep.aborted else -math.inf
    if key in TEMPO_KEYS:
        return math.nan if rep.aborted else _tempo_excess(key, values, limits, tempo)
    if key == "shallow" and rep.aborted:
        return -math.inf  # turned round on purpose: `aborted` says it
    if key not in BOUNDED:
        return None
    quantity, sign = BOUNDED[key]
    return sign * (values[quantity] - limits[key]) / GREY[quantity]


def _tempo_excess(
    key: str, values: Mapping[str, float], limits: Mapping[str, float], tempo: Tempo | None
) -> float:
    if tempo is None:
        return -math.inf

    def tolerance(asked_s: float) -> float:
        return max(limits["tempo_tolerance"], limits["tempo_tolerance_share"] * asked_s)

    if key == "slow_concentric":
        asked = tempo.concentric_s
        ceiling = limits[key] if asked is None else asked + tolerance(asked)
        return (values["concentric_s"] - ceiling) / GREY["phase_s"]
    if key == "slow_eccentric":
        ceiling = tempo.eccentric_s + tolerance(tempo.eccentric_s)
        return (values["eccentric_s"] - ceiling) / GREY["phase_s"]
    asked, phase_s = {
        "rushed_eccentric": (tempo.eccentric_s, values["eccentric_s"]),
        "short_bottom_pause": (tempo.bottom_pause_s, values["bottom_pause_s"]),
        "short_top_pause": (tempo.top_pause_s, values["top_pause_s"]),
    }[key]
    return (asked - tolerance(asked) - phase_s) / GREY["phase_s"]


def fault_outcomes(
    analysis: Analysis, truth: TruthSet, limits: Mapping[str, float], tempo: Tempo | None
) -> pd.DataFrame:
    """One row a rep and fault key: clip, view, rep, key, expected, marked, verdict, outcome.

    ``outcome``: `hit`, `missed`, `false_alarm`, `correct_silence`, `grey` (true value too near
    the limit to score), `unshown` (expected, but not visible from here and not raised) or
    `unknown` (raised, and the truth does not say). ``verdict`` is None where none was raised.
    Faults on attempts that do not exist are false alarms with ``expected`` None.
    """
    rows: list[tuple[object, ...]] = []
    matched = matched_results(analysis, truth)
    for true_rep, result in matched:
        raised = {fault.key: str(fault.verdict) for fault in result.faults}
        last = true_rep is truth.reps[-1]
        for key in sorted(SHOWN_BY.keys() | raised.keys()):
            expected = expected_fault(key, true_rep, limits, tempo)
            marked = (excess_of(key, true_rep, limits, tempo) or 0.0) > MARKED
            if last and key == "short_top_pause":
                expected = "grey"  # its end is the end of the clip
            verdict = raised.get(key)
            shown = truth.view in SHOWN_BY.get(key, frozenset())
            outcome = _outcome(expected, verdict, shown)
            if outcome is not None:
                rows.append(
                    (
                        truth.name,
                        truth.view,
                        true_rep.index,
                        key,
                        expected,
                        marked,
                        verdict,
                        outcome,
                    )
                )
    found = [result for _, result in matched]
    for result in analysis.reps:
        if result not in found:
            rows += [
                (truth.name, truth.view, -result.rep.index, fault.key, None, False, fault.verdict,
                 "false_alarm")
                for fault in result.faults
                if fault.verdict == "fault"
            ]  # fmt: skip
    return pd.DataFrame(
        rows, columns=["clip", "view", "rep", "key", "expected", "marked", "verdict", "outcome"]
    )


def _outcome(expected: Expectation | None, verdict: str | None, shown: bool) -> str | None:
    if expected is None:
        return "unknown" if verdict == "fault" else None
    if expected == "grey":
        return "grey"
    if expected == "clear":
        return "false_alarm" if verdict == "fault" else "correct_silence"
    if verdict == "fault":
        return "hit"
    return "missed" if shown else "unshown"


def precision_recall(outcomes: pd.DataFrame, by: str = "key") -> pd.DataFrame:
    """Per group and over all: counts of outcomes, precision and the three recalls."""
    columns = ["hit", "missed", "false_alarm", "grey", "unshown", "unknown"]
    counts = pd.crosstab(outcomes[by], outcomes["outcome"]).reindex(columns=columns, fill_value=0)

    def count(which: pd.Series[bool]) -> pd.Series[int]:
        each = outcomes[which].groupby(by).size().reindex(counts.index, fill_value=0)
        return pd.concat([each, pd.Series({"all": each.sum()})])

    hit, missed = outcomes["outcome"] == "hit", outcomes["outcome"] == "missed"
    borderline = missed & (outcomes["verdict"] == "borderline")
    marked = outcomes["marked"].astype(bool)
    table = pd.concat([counts, counts.sum().to_frame("all").T]).rename_axis(by)
    table["precision"] = table["hit"] / (table["hit"] + table["false_alarm"])
    table["recall"] = table["hit"] / (table["hit"] + table["missed"])
    table["recall_marked"] = count(hit & marked) / count((hit | missed) & marked)
    table["noticed"] = count(hit | borderline) / (table["hit"] + table["missed"])
    return table
