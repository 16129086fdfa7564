from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.advice.step import SetRecord, ladder, nearest_rung, next_step
from formcheck.asked.prescription import Arms, Prescription, Support, Surface
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.rules import Fault, Verdict
from formcheck.maths.quantity import Quantity
from formcheck.measures.load import hand_load_range
from formcheck.measures.plank import plank, plank_load, standing
from formcheck.variation.recognise import Variation

CLEAN = SetRecord(attempts=8, counted=8, clean=8, faults=(), not_judged=())
NOTHING_ASKED = Prescription()


def done(
    surface: Surface | None = "floor",
    height: float = 0.0,
    support: Support | None = "toes",
    arms: Arms = "two",
) -> Variation:
    return Variation(support, surface, Quantity(16.0, 3.0), None, arms, Quantity(height, 0.1))


def broken(key: str, *reps: int, attempts: int = 8, verdict: Verdict = "fault") -> SetRecord:
    faults = tuple(Fault(rep, key, 1.0, 20.0, 3.0, 12.0, "deg", verdict, "side") for rep in reps)
    clean = attempts - (len(reps) if verdict == "fault" else 0)
    first = min(reps) if verdict == "fault" else None
    return SetRecord(attempts, clean, clean, faults, (), first)


# --- the ladder's data


def test_the_ladder_climbs_by_what_the_working_arm_bears() -> None:
    shares = [rung.working_arm_percent for rung in ladder()]
    assert shares == sorted(shares)


def test_ladder_loads_are_those_of_the_segment_model() -> None:
    floor = plank_load(reach=None)
    for rung in ladder():
        if rung.surface == "wall":
            body = plank(rung.height, reach=None)
            low, high = hand_load_range(body, standing(body, "toes"), "toes", "wall")
            load = float(low[0] + high[0]) / 2
        else:
            load = rung.of_floor * floor if rung.of_floor else plank_load(rung.height, reach=None)
        assert rung.load_percent == pytest.approx(100 * load, abs=0.8), rung.key
        part = {"two": 0.5, "one": 1.0, "archer": rung.bent_arm_share}[rung.arms]
        assert part is not None
        assert rung.working_arm_percent == pytest.approx(100 * load * part, abs=1.0), rung.key


def test_knees_take_off_as_much_as_published() -> None:
    # Suprak 2011 53.56 / 69.16 and Ebben 2011 49 / 64 (second-hand); Gouvali & Boudolos 2005
    # 52.9 / 66.4 (abstract).
    knees = next(rung for rung in ladder() if rung.support == "knees")
    for kneeling, toes in ((53.56, 69.16), (52.9, 66.4), (49.0, 64.0)):
        assert knees.of_floor == pytest.approx(kneeling / toes, abs=0.02)


def test_the_ladder_orders_published_conditions_as_measured() -> None:
    # Ebben 2011 (order in the abstract): hands high, knees, hands low, floor, feet low, feet high.
    order = [rung.key for rung in ladder()]
    published = [
        "hands_on_chair",
        "knees",
        "hands_on_step",
        "floor",
        "feet_on_step",
        "feet_on_chair",
    ]
    assert [key for key in order if key in published] == published


def test_every_rung_is_found_from_its_own_variation() -> None:
    for rung in ladder():
        if rung.hands is None:
            variation = done(rung.surface, rung.height, rung.support, rung.arms)
            assert nearest_rung(variation) == rung


# --- the decision


def test_a_clean_set_without_a_target_earns_a_harder_one() -> None:
    step = next_step(CLEAN, done(), NOTHING_ASKED)
    assert step.direction == "harder"
    assert any("no target was given" in why for why in step.why)


def test_a_clean_set_of_the_target_earns_a_harder_one() -> None:
    assert next_step(CLEAN, done(), Prescription(target_reps=8)).direction == "harder"


def test_clean_reps_short_of_the_target_ask_for_reps_first() -> None:
    assert next_step(CLEAN, done(), Prescription(target_reps=12)).direction == "same"
    assert next_step(CLEAN, done(), Prescription(target_reps=20)).direction == "easier"


@pytest.mark.parametrize("key", ["shallow", "soft_lockout", "hip_sag", "hip_pike", "aborted"])
@pytest.mark.parametrize("reps", [(8,), (2, 3, 4, 5, 6, 7, 8), (4,)])
@pytest.mark.parametrize("target", [None, 3])
def test_range_and_line_faults_never_earn_a_harder_one(
    key: str, reps: tuple[int, ...], target: int | None
) -> None:
    step = next_step(broken(key, *reps), done(), Prescription(target_reps=target))
    assert step.direction != "harder"
    assert any(f"Rep {min(reps)} " in why for why in step.why)


def test_a_set_that_breaks_down_early_earns_an_easier_one_with_the_rep_named() -> None:
    step = next_step(broken("hip_sag", 3, 4, 5, 6, 7, 8), done(), NOTHING_ASKED)
    assert step.direction == "easier"
    assert any("Rep 3 was the first to break down: hips sag" in why for why in step.why)


def test_a_set_that_breaks_down_late_is_to_be_owned_first() -> None:
    step = next_step(broken("hip_sag", 8), done(), NOTHING_ASKED)
    assert step.direction == "same"
    assert any("after rep 7" in why for why in step.why)


def test_habits_of_attention_do_not_make_it_lighter() -> None:
    for key in ("soft_lockout", "rushed_eccentric", "elbow_flare"):
        assert next_step(broken(key, *range(1, 9)), done(), NOTHING_ASKED).direction == "same"


def test_one_line_too_close_to_call_holds_the_step_back() -> None:
    near = broken("hip_sag", 8, verdict="borderline")
    assert next_step(near, done(), NOTHING_ASKED).direction == "same"


def test_one_depth_too_close_to_call_does_not_but_many_do() -> None:
    one = broken("shallow", 8, verdict="borderline")
    many = broken("shallow", 5, 6, 7, 8, verdict="borderline")
    assert next_step(one, done(), NOTHING_ASKED).direction == "harder"
    assert next_step(many, done(), NOTHING_ASKED).direction == "same"


def test_what_was_not_judged_is_not_advised_on() -> None:
    unseen = replace(CLEAN, not_judged={"hip_sag", "hip_pike"})
    step = next_step(unseen, done(None, support=None), NOTHING_ASKED)
    assert step.direction == "same"
    assert any("body line" in why for why in step.why)


def test_too_few_reps_say_little() -> None:
    assert next_step(SetRecord(2, 2, 2, (), ()), done(), NOTHING_ASKED).direction == "same"


def test_speed_loss_counts_only_when_every_rep_was_to_be_fast() -> None:
    tired = replace(CLEAN, speed_loss_percent=55.0)
    fast, slow = (Prescription(tempo=parse_tempo(text)) for text in ("2-1-X-1", "2-1-2-1"))
    assert next_step(tired, done(), fast).direction == "same"
    assert next_step(tired, done(), slow).direction == "harder"


def test_nothing_is_said_to_have_held_that_the_view_does_not_show() -> None:
    wide = Fault(1, "hand_spacing", 1.0, 2.1, 0.1, 1.7, "shoulder widths", "fault", "front")
    seen = SetRecord(5, 5, 4, (wide,), ())
    assert "Range and line held." in next_step(seen, done(), NOTHING_ASKED).why
    unseen = replace(seen, not_judged={"hip_sag", "hip_pike"})
    why = " ".join(next_step(unseen, done(), NOTHING_ASKED).why)
    assert "held" not in why and "does not show the body line" in why
    assert "hands not where asked (rep 1)" in why
    doubtful = SetRecord(5, 4, 4, (), ())
    why = " ".join(next_step(doubtful, done(), NOTHING_ASKED).why)
    assert "held" not in why and "1 did not count" in why


def test_a_set_without_reps_is_judged_as_a_hold() -> None:
    nothing = SetRecord(0, 0, 0, (), ())
    assert next_step(nothing, done(), NOTHING_ASKED).direction == "same"
    for held_s, broke_at_s, expected in (
        (45.0, None, "harder"),
        (20.0, None, "same"),
        (45.0, 35.0, "same"),
        (45.0, 10.0, "easier"),
    ):
        hold = SupportHold(0.0, held_s, Quantity(2.0, 2.0), 1.0, broke_at_s)
        step = next_step(nothing, replace(done(), support_hold=hold), NOTHING_ASKED)
        assert step.direction == expected


def test_a_hold_whose_line_cannot_be_cleared_earns_no_step() -> None:
    hold = SupportHold(0.0, 45.0, Quantity(13.0, 3.1), 1.0, None, unclear_at_s=20.0)
    step = next_step(SetRecord(0, 0, 0, (), ()), replace(done(), support_hold=hold), NOTHING_ASKED)
    assert step.direction == "same"
    assert any("after 20 s" in reason for reason in step.why)


# --- the size of the step


def test_lower_hands_add_five_percent() -> None:
    step = next_step(CLEAN, done("hands_raised", 1.0), Prescription(stature_m=1.74))
    assert step.load_change_percent == 5.0
    assert step.surface_end == "hands" and step.surface_change_cm is not None
    then = 1.0 + step.surface_change_cm / 54.5  # arm lengths; de Leva 1996 at 1.74 m
    gained = plank_load(then, reach=None) / plank_load(1.0, reach=None)
    assert gained == pytest.approx(1.05, abs=0.012)
    assert f"{-step.surface_change_cm:.0f} cm lower" in step.variation


def test_low_hands_step_down_to_the_floor() -> None:
    step = next_step(CLEAN, done("hands_raised", 0.3), NOTHING_ASKED)
    assert step.variation == "push-up on the floor"
    assert step.load_change_percent == pytest.approx(
        100 * (plank_load(reach=None) / plank_load(0.3, reach=None) - 1), abs=0.3
    )


def test_the_floor_steps_up_to_raised_feet_or_weight() -> None:
    heavy = replace(CLEAN, load_fraction=Quantity(0.70, 0.04))
    step = next_step(heavy, done(), Prescription(body_mass_kg=80.0))
    assert step.surface_end == "feet"
    assert step.surface_change_cm is not None and 5 < step.surface_change_cm < 25
    # Five percent of 0.70 x 80 kg is 2.8 kg on the hands; on the back about 0.9 of it gets there.
    assert step.added_load_change_kg == pytest.approx(3.0, abs=0.5)


def test_high_feet_step_up_by_weight_and_the_highest_to_narrow_hands() -> None:
    high = next_step(CLEAN, done("feet_raised", -0.8), Prescription(body_mass_kg=80.0))
    assert high.added_load_change_kg is not None and high.added_load_change_kg > 0
    highest = next_step(CLEAN, done("feet_raised", -1.1), NOTHING_ASKED)
    assert "hands close" in highest.variation


def test_the_floor_steps_down_to_raised_hands() -> None:
    step = next_step(broken("shallow", *range(2, 9)), done(), NOTHING_ASKED)
    assert step.surface_end == "hands"
    assert step.load_change_percent == -10.0
    assert step.surface_change_cm is not None
    eased = plank_load(step.surface_change_cm / 54.5, reach=None) / plank_load(reach=None)
    assert eased == pytest.approx(0.9, abs=0.01)


def test_weighted_sets_step_by_weight() -> None:
    asked = Prescription(added_load_kg=10.0, body_mass_kg=80.0)
    up = next_step(CLEAN, done(), asked)
    down = next_step(broken("shallow", *range(2, 9)), done(), asked)
    assert up.added_load_change_kg is not None and up.added_load_change_kg > 0
    assert down.added_load_change_kg is not None and down.added_load_change_kg < 0
    assert up.surface_change_cm is None


def test_weight_without_a_body_mass_is_told_as_a_share_of_it() -> None:
    step = next_step(CLEAN, done(), Prescription(added_load_kg=10.0))
    assert "% of your body mass" in step.variation
    assert step.added_load_change_kg is None


def test_knees_step_up_to_the_toes_with_raised_hands() -> None:
    step = next_step(CLEAN, done(support="knees"), NOTHING_ASKED)
    assert step.surface_end == "hands"
    assert "on the toes" in step.variation


def test_a_wall_steps_by_where_the_feet_stand() -> None:
    assert "farther from it" in next_step(CLEAN, done("wall", 2.2), NOTHING_ASKED).variation
    eased = next_step(broken("hip_sag", *range(1, 9)), done("wall", 2.2), NOTHING_ASKED)
    assert "nearer to it" in eased.variation


def test_one_arm_work_steps_along_its_own_rungs() -> None:
    archer = next_step(CLEAN, done(arms="archer"), NOTHING_ASKED)
    assert "one arm" in archer.variation and archer.load_change_percent is not None
    raised = next_step(CLEAN, done("hands_raised", 1.0, arms="one"), NOTHING_ASKED)
    assert "one arm" in raised.variation and "lower" in raised.variation


def test_centimetres_for_another_body_say_so() -> None:
    unknown = next_step(CLEAN, done("hands_raised", 1.0), NOTHING_ASKED)
    known = next_step(CLEAN, done("hands_raised", 1.0), Prescription(stature_m=1.60))
    assert any("give the stature" in why for why in unknown.why)
    assert not any("give the stature" in why for why in known.why)


# --- what stands beside every advice


@pytest.mark.parametrize("record", [CLEAN, broken("shallow", 2, 3, 4, 5, 6, 7, 8)])
def test_every_step_carries_its_cautions(record: SetRecord) -> None:
    said = " ".join(next_step(record, done(), NOTHING_ASKED).cautions)
    for part in (
        "Stop on pain",
        "not a medical judgement",
        "qualified professional",
        "cannot slip",
    ):
        assert part in said


def test_heavy_and_one_arm_work_is_built_up_slowly() -> None:
    weighted = next_step(CLEAN, done(), Prescription(added_load_kg=10.0))
    one_arm = next_step(CLEAN, done("hands_raised", 1.0, arms="one"), NOTHING_ASKED)
    for step in (weighted, one_arm):
        assert any("slowly" in caution for caution in step.cautions)
