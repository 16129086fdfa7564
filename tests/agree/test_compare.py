"""Labels beside verdicts: every label finds its rep, and no doubt counts as disagreement."""

from __future__ import annotations

import math

import pytest

from formcheck.agree.compare import (
    TOOL,
    Verdict,
    agreement_table,
    agreements,
    compare,
    count_agreement,
    disagreements,
    verdict_table,
)
from formcheck.agree.labels import Label, LabelsError
from tests.agree.made import made_set

# hip_sag 12 ± 3: clear, borderline, fault, far beyond.
SET = made_set("mon", [{"hip_deviation_deg": v} for v in (2.0, 13.0, 18.0, 30.0)])


def label(rep: int | None, verdict: str, fault: str = "hip_sag", who: str = "AB") -> Label:
    return Label("mon", rep, fault, verdict, who)  # type: ignore[arg-type]


def told(*labels: Label) -> list[Verdict]:
    return list(compare(labels, [SET]))


def test_each_label_meets_the_tools_verdict_on_its_rep() -> None:
    found = told(label(1, "no"), label(2, "yes"), label(3, "yes"))
    assert [one.tool for one in found] == ["no", "borderline", "yes"]
    assert [(one.value, one.plus_minus, one.limit) for one in found] == [
        (2.0, 3.0, 12.0), (13.0, 3.0, 12.0), (18.0, 3.0, 12.0),
    ]  # fmt: skip
    assert [one.disagrees for one in found] == [False, True, False]


def test_a_label_for_all_reps_yields_to_one_for_a_rep() -> None:
    found = told(label(None, "no"), label(3, "yes"))
    assert sorted((one.rep, one.label.verdict) for one in found) == [
        (1, "no"), (2, "no"), (3, "yes"), (4, "no"),
    ]  # fmt: skip


def test_unsure_and_not_judged_are_no_disagreement_and_no_part_of_the_agreement() -> None:
    found = told(label(1, "unsure"), label(2, "yes", "elbow_flare"), label(1, "yes", "uneven_arms"))
    assert [one.tool for one in found] == ["no", "no", "not judged"]
    assert [one.disagrees for one in found] == [False, True, False]
    by_fault = {one.fault: one for one in agreements(found)}
    assert by_fault["hip_sag"].reps == 0 and by_fault["hip_sag"].left_out["unsure"] == 1
    assert by_fault["uneven_arms"].left_out["not judged"] == 1


def test_a_rep_the_tool_did_not_find_is_kept_in_sight() -> None:
    (missing,) = told(label(5, "yes", "counted"))
    assert missing.tool == "no such rep" and missing.disagrees
    (found,) = agreements([missing])
    assert found.reps == 0 and found.left_out["no such rep"] == 1


def test_without_a_tempo_asked_tempo_is_not_judged() -> None:
    (one,) = told(label(1, "yes", "rushed_eccentric"))
    assert one.tool == "not judged"


def test_agreement_counts_reps_and_borderlines() -> None:
    labels = [label(1, "no"), label(2, "no"), label(3, "no"), label(4, "yes")]
    (found,) = agreements(told(*labels))
    assert (found.first, found.second) == (TOOL, "AB")
    assert found.counts == (1, 1, 0, 2) and found.left_out["borderline"] == 1
    assert found.coefficients["precision"].value == 0.5
    assert found.coefficients["recall"].value == 1.0


def test_two_coaches_are_compared_where_both_are_sure() -> None:
    labels = [
        label(1, "no"), label(2, "yes"), label(3, "yes"), label(4, "unsure"),
        label(1, "no", who="CD"), label(2, "no", who="CD"), label(3, "yes", who="CD"),
        label(4, "yes", who="CD"),
    ]  # fmt: skip
    between = next(one for one in agreements(told(*labels)) if one.first == "AB")
    assert between.second == "CD" and between.counts == (1, 1, 0, 1)
    assert between.left_out == {"unsure": 1}


def test_false_accusations_come_first_the_surest_before_the_rest() -> None:
    labels = [label(1, "yes"), label(3, "no"), label(4, "no")]
    assert [(one.rep, one.false_accusation) for one in disagreements(told(*labels))] == [
        (4, True), (3, True), (1, False),
    ]  # fmt: skip


def test_counts_are_compared_where_every_rep_was_labelled() -> None:
    other = made_set("tue", [{}, {"elbow_bottom_deg": 120.0}])
    labels = [
        *(label(rep, "yes", "counted") for rep in (1, 2, 3, 4, 5)),
        Label("tue", 1, "counted", "yes", "AB"),
    ]
    (found,) = count_agreement(labels, [SET, other])
    assert found.table.to_numpy().tolist() == [["mon", 4, 5]]
    assert found.apart.bias.value == -1.0 and math.isnan(found.apart.lower.value)


def test_labels_about_other_sets_only_are_told() -> None:
    with pytest.raises(LabelsError, match=r"“wed”.*“mon”"):
        compare([Label("wed", 1, "hip_sag", "yes", "AB")], [SET])


def test_tables_carry_all_of_it() -> None:
    found = told(label(3, "no"))
    row = verdict_table(found).iloc[0]
    assert (row["set"], row["rep"], row["tool"], bool(row["disagrees"])) == ("mon", 3, "yes", True)
    table = agreement_table(agreements(found))
    assert {"precision", "precision_low", "kappa", "ac1_high", "not_judged"} < set(table.columns)
