"""How large the next step is, and that the exercise stays what it was."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formcheck.advice.decide import SetRecord
from formcheck.advice.ladder import level_load
from formcheck.advice.step import NextStep, next_step
from formcheck.asked.person import Person
from formcheck.asked.prescription import Arms, Prescription, Support, Surface
from formcheck.faults.rules import Fault
from formcheck.maths.quantity import Quantity
from formcheck.report.advice_words import variation_words, why_words
from formcheck.variation.recognise import Variation

CLEAN = SetRecord(good=[True] * 12, counted=12, faults=(), not_judged=())
SHALLOW = SetRecord(
    good=[True] + [False] * 7,
    counted=1,
    faults=[
        Fault(rep, "shallow", 1.0, 110.0, 4.0, 90.0, "deg", "fault", "side") for rep in range(2, 9)
    ],
    not_judged=(),
)
TALL = Person(stature_m=1.74, body_mass_kg=80.0)
ARM_CM = 54.0  # of 1.74 m: upper arm and forearm of de Leva 1996


def done(
    surface: Surface | None = "floor",
    height: float = 0.0,
    support: Support | None = "toes",
    arms: Arms = "two",
) -> Variation:
    return Variation(support, surface, Quantity(16.0, 3.0), None, arms, Quantity(height, 0.1))


def step(
    record: SetRecord,
    variation: Variation,
    asked: Prescription | None = None,
    person: Person | None = TALL,
) -> NextStep:
    return next_step(record, variation, asked or Prescription(), person)


def test_lower_hands_add_five_percent() -> None:
    found = step(CLEAN, done("hands_raised", 1.0))
    assert (found.load_change_percent, found.surface_end) == (5.0, "hands")
    assert found.surface_change_cm is not None and found.surface_change_cm < 0
    gained = level_load(1.0 + found.surface_change_cm / ARM_CM) / level_load(1.0)
    assert gained == pytest.approx(1.05, abs=0.012)
    assert f"{-found.surface_change_cm:.0f} cm lower" in variation_words(found)


def test_low_hands_step_down_to_the_floor() -> None:
    found = step(CLEAN, done("hands_raised", 0.2))
    assert variation_words(found) == "push-up on the floor"
    assert found.load_change_percent == pytest.approx(
        100 * (level_load(0.0) / level_load(0.2) - 1), abs=0.3
    )


def test_one_step_has_one_size_in_centimetres_and_in_kilograms() -> None:
    """Both change the load that was measured by the same share."""
    measured = replace(CLEAN, load_fraction=Quantity(0.70, 0.04))
    found = step(measured, done())
    assert found.surface_end == "feet" and found.surface_change_cm is not None
    by_height = level_load(-found.surface_change_cm / ARM_CM) / level_load(0.0)
    assert found.added_load_change_kg is not None
    # Of a weight on the upper back some 0.9 reaches the hands.
    by_weight = 1 + 0.9 * found.added_load_change_kg / (0.70 * TALL.body_mass_kg)  # type: ignore[operator]
    assert by_height == pytest.approx(1.05, abs=0.01)
    assert by_weight == pytest.approx(1.05, abs=0.01)
    assert any("70 % ± 4 %" in why and "56 ± 3 kg" in why for why in why_words(found))


def test_high_feet_step_up_by_weight() -> None:
    found = step(CLEAN, done("feet_raised", -1.1))
    assert found.surface_change_cm is None
    assert found.added_load_change_kg is not None and found.added_load_change_kg > 0


def test_feet_as_high_as_they_go_lead_to_hands_at_two_heights() -> None:
    """Beside the weight; where the hands are bound to their place, there is no such step."""
    high = done("feet_raised", -1.1)
    assert "one hand on a ball or block" in variation_words(step(CLEAN, high))
    for asked in (Prescription(rings=True, rings_turned_out=True), Prescription(hands="diamond")):
        assert "block" not in variation_words(step(CLEAN, high, asked))
    assert "block" not in variation_words(step(CLEAN, done("feet_raised", -0.5)))


def test_the_floor_steps_down_to_raised_hands() -> None:
    found = step(SHALLOW, done())
    assert (found.direction, found.surface_end) == ("easier", "hands")
    assert found.load_change_percent == -10.0 and found.surface_change_cm is not None
    eased = level_load(found.surface_change_cm / ARM_CM) / level_load(0.0)
    assert eased == pytest.approx(0.9, abs=0.01)


def test_weight_without_a_body_mass_is_told_as_a_share_of_it() -> None:
    found = step(CLEAN, done(), Prescription(added_load_kg=10.0), None)
    assert "% of your body mass" in variation_words(found)
    assert found.added_load_change_kg is None


def test_taking_the_weight_off_says_how_much_lighter_that_is() -> None:
    vest = Prescription(added_load_kg=10.0)
    found = step(SHALLOW, done(), vest)
    assert (found.move.kind, found.added_load_change_kg) == ("vest_off", -10.0)
    # 10 of 80 kg, 0.9 of it on the hands, of a load of 62 %.
    assert found.load_change_percent == pytest.approx(-100 * 0.125 * 0.9 / 0.62, abs=1.5)


def test_a_wall_steps_by_where_the_feet_stand() -> None:
    assert "farther from it" in variation_words(step(CLEAN, done("wall", 2.2)))
    assert "nearer to it" in variation_words(step(SHALLOW, done("wall", 2.2)))


@pytest.mark.parametrize("hands", ["diamond", "close", "wide"])
@pytest.mark.parametrize("record", [CLEAN, SHALLOW])
def test_hands_that_were_asked_for_stay(hands: str, record: SetRecord) -> None:
    asked = Prescription(hands=hands)  # type: ignore[arg-type]
    for variation in (done(), done("hands_raised", 0.8), done("feet_raised", -0.5)):
        assert variation_words(step(record, variation, asked)).startswith(hands)


@pytest.mark.parametrize(("arms", "name"), [("archer", "archer"), ("one", "one-arm")])
@pytest.mark.parametrize("record", [CLEAN, SHALLOW])
@pytest.mark.parametrize(
    ("surface", "height", "support"),
    [("floor", 0.0, "toes"), ("hands_raised", 0.8, "toes"), ("floor", 0.0, "knees")],
)
def test_archer_and_one_arm_work_stay_that(
    arms: Arms, name: str, record: SetRecord, surface: Surface, height: float, support: Support
) -> None:
    found = step(record, done(surface, height, support, arms))
    assert variation_words(found).startswith(name)
    if support == "knees":
        assert "toes" not in variation_words(found)


def test_rings_stay_rings_and_are_turned_out_before_they_get_heavier() -> None:
    assert step(CLEAN, done(), Prescription(rings=True)).move.kind == "turn_out"
    turned = Prescription(rings=True, rings_turned_out=True)
    assert "in rings" in variation_words(step(CLEAN, done(), turned))


def test_where_the_surface_does_not_show_easier_says_how_and_what_to_film() -> None:
    found = step(SHALLOW, done(None))
    assert (found.direction, found.move.kind) == ("easier", "hands")
    assert found.move.percent is None
    assert variation_words(found) == "push-up, hands about 20 cm higher than this time"
    said = " ".join(why_words(found))
    assert "film from the side to have the step measured" in said and "go on the knees" in said
    assert "supports" in found.cautions
    weighted = step(SHALLOW, done(None), Prescription(added_load_kg=10.0))
    assert variation_words(weighted) == "push-up, without the 10 kg"


def test_where_the_surface_does_not_show_harder_waits_for_a_side_view() -> None:
    found = step(CLEAN, done(None))
    assert (found.direction, found.move.kind) == ("harder", "same")
    assert any("film from the side before you make it harder" in why for why in why_words(found))


def test_centimetres_for_another_body_say_so() -> None:
    unknown = why_words(step(CLEAN, done("hands_raised", 1.0), person=None))
    known = why_words(step(CLEAN, done("hands_raised", 1.0)))
    assert any("give the stature" in why for why in unknown)
    assert not any("give the stature" in why for why in known)


def test_heavy_and_one_arm_work_is_built_up_slowly_on_supports_that_hold() -> None:
    weighted = step(CLEAN, done(), Prescription(added_load_kg=10.0))
    one_arm = step(CLEAN, done("hands_raised", 0.9, arms="one"))
    assert "slowly" in weighted.cautions and "slowly" in one_arm.cautions
    assert "supports" in one_arm.cautions
    assert "rings" in step(CLEAN, done(), Prescription(rings=True)).cautions
