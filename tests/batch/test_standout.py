from __future__ import annotations

from formcheck.batch.standout import common_faults, did_well, people_in, words_due
from tests.batch.sets import made_set

CLEAN: tuple[str, ...] = ()
SAG = ("hip_sag",)


def said(*reps: tuple[str, ...], **told: object) -> list[str]:
    return [word.text for word in words_due([made_set("anna/1", *reps, **told)])]  # type: ignore[arg-type]


def test_a_form_fault_that_runs_through_a_set_needs_a_word() -> None:
    assert said(SAG, SAG, CLEAN, CLEAN) == ["Hips sag in 2 of 4 reps"]
    assert said(SAG, CLEAN, CLEAN, CLEAN) == []


def test_two_reps_say_nothing_about_a_set() -> None:
    assert said(SAG, SAG) == []


def test_a_fault_against_the_tempo_alone_needs_none() -> None:
    fast = ("rushed_eccentric",)
    assert said(fast, fast, fast) == []


def test_form_that_breaks_in_the_first_half_needs_a_word() -> None:
    reps = (CLEAN, CLEAN, SAG, CLEAN, CLEAN, CLEAN)
    assert said(*reps, first_breakdown_rep=3) == ["Form first breaks in rep 3 of 6"]
    assert said(CLEAN, CLEAN, CLEAN, CLEAN, SAG, CLEAN, first_breakdown_rep=5) == []


def test_a_rep_that_failed_needs_a_word() -> None:
    came = ("counted", "counted", "counted", "failed")
    assert said(CLEAN, CLEAN, CLEAN, ("failed",), attempts=came) == ["Rep 4 failed"]


def test_what_no_view_showed_is_not_said_to_have_been_missed() -> None:
    came = ("not_counted",) * 4
    unseen = [("shallow", "film from the front")]
    (word,) = said(CLEAN, CLEAN, CLEAN, CLEAN, attempts=came, not_judged=unseen)
    assert word.startswith("4 of 4 attempts could not be judged")


def test_less_than_asked_needs_a_word() -> None:
    assert said(CLEAN, CLEAN, CLEAN, target=5) == ["3 clean of 5 asked"]
    assert said(CLEAN, CLEAN, CLEAN, target=3) == []


def test_attempts_that_do_not_count_need_a_word() -> None:
    came = ("counted", "not_counted", "not_counted", "not_counted")
    assert said(CLEAN, CLEAN, CLEAN, CLEAN, attempts=came) == ["3 of 4 attempts do not count"]


def test_what_most_needs_a_word_comes_first() -> None:
    sets = [made_set("a/1", SAG, SAG, CLEAN), made_set("b/1", SAG, SAG, SAG)]
    assert [word.person for word in words_due(sets)] == ["b", "a"]


def test_a_set_did_well_when_every_attempt_was_clean_and_enough() -> None:
    well = made_set("a/1", CLEAN, CLEAN, CLEAN)
    others = [
        made_set("b/1", CLEAN, CLEAN),
        made_set("c/1", CLEAN, CLEAN, SAG),
        made_set("d/1", CLEAN, CLEAN, CLEAN, target=5),
        made_set("e/1", CLEAN, CLEAN, CLEAN, unclear=1),
    ]
    assert did_well([well, *others]) == [well]


def test_common_is_counted_in_people_of_those_who_could_be_judged() -> None:
    unseen = [("hip_sag", "the front view does not show it")]
    sets = [
        made_set("a/1", SAG, CLEAN), made_set("a/2", SAG), made_set("b/1", SAG, CLEAN),
        made_set("c/1", CLEAN), made_set("d/1", CLEAN, not_judged=unseen),
    ]  # fmt: skip
    (common,) = common_faults(sets)
    assert (common.key, common.people, common.judged) == ("hip_sag", 2, 3)
    assert (common.reps, common.of_reps) == (3, 6)


def test_one_person_or_a_rare_fault_is_nothing_common() -> None:
    assert common_faults([made_set("a/1", SAG), made_set("b/1", SAG)]) == []  # no group
    few = [made_set("a/1", SAG), *(made_set(f"{n}/1", CLEAN) for n in range(9))]
    assert common_faults(few) == []


def test_only_judged_sets_speak_for_people() -> None:
    sets = [made_set("a/1", SAG), made_set("b/1", status="failed"), made_set("c", SAG)]
    assert people_in(sets) == ["a", "c"]
