"""A report becomes one line of the log."""

from __future__ import annotations

import pytest

from formcheck.advice.ladder import ladder
from formcheck.log.entry import FaultCount, SetEntry, clip_key, entry_of, variation_words
from tests.log.made_up import report


def entry(**values: object) -> SetEntry:
    return entry_of(report(**values), "ana", "2026-03-02T17:30:00Z", "clip", "/sets/1", ladder())


def test_a_set_is_kept_by_the_median_of_its_whole_reps() -> None:
    reps = report()["reps"]
    aborted = {**reps[0], "attempt": "aborted", "elbow_bottom_deg": 140.0}
    kept = entry(reps=[*reps, aborted])
    assert kept.elbow_bottom_deg == 82.0  # of 80 and 84; the broken-off attempt has no depth
    assert kept.eccentric_s == 1.0
    assert kept.hip_deviation_deg == 4.0


def test_the_doubt_of_a_set_is_the_reps_shared_error_and_the_scatter_of_its_median() -> None:
    # Reps 80 and 84, each ± 5: standard deviation 2.83, of the mean of two 2.0, of the median
    # 1.253 times that; 1.96 of those and 5 in quadrature.
    assert entry().elbow_bottom_deg_plus_minus == pytest.approx(
        (5.0**2 + (1.96 * 2.506) ** 2) ** 0.5, abs=0.01
    )


def test_what_was_not_measured_stays_unknown() -> None:
    reps = [{**rep, "hip_deviation_deg": None, "load_fraction": None} for rep in report()["reps"]]
    kept = entry(reps=reps)
    assert kept.hip_deviation_deg is None
    assert kept.hip_deviation_deg_plus_minus is None
    assert kept.load_reps is None


def test_load_times_reps_adds_up_the_counted_reps_only() -> None:
    reps = report()["reps"]
    missed = {**reps[0], "attempt": "not_counted"}
    assert entry(reps=[*reps, missed]).load_reps == pytest.approx(1.4)  # 2 × 0.7 body masses


def test_a_worn_weight_whose_share_is_unknown_gives_no_load() -> None:
    asked = {**report()["prescription"], "added_load_kg": 10.0}
    assert entry(prescription=asked).load_reps is None
    assert entry(prescription={**asked, "body_mass_kg": 80.0}).load_reps is not None


def test_unclear_reps_and_faults_are_counted_apart() -> None:
    first, second = report()["reps"]
    kept = entry(reps=[{**first, "faults": ["shallow"]}, second])
    assert kept.unclear == 1
    assert kept.faults == {"hip_sag": FaultCount(0, 1), "shallow": FaultCount(1, 0)}


def test_two_heights_of_hands_are_two_variations() -> None:
    def filed(height: float) -> str:
        raised = {**report()["variation"], "surface": "hands_raised",
                  "surface_height_arm_lengths": height}  # fmt: skip
        return entry(variation=raised).variation

    assert filed(0.55) != filed(1.1)
    assert filed(1.1) == filed(1.15)  # the same chair, read twice


def test_what_was_not_seen_of_the_hands_makes_no_other_variation() -> None:
    seen = {**report()["variation"], "hands": "normal"}
    assert entry(variation=seen).variation == entry().variation == "floor"
    assert variation_words(seen, {"hands": "diamond"}) == "floor, diamond hands"


def test_the_knees_are_another_variation_and_another_rung() -> None:
    kept = entry(variation={**report()["variation"], "support": "knees"})
    assert (kept.variation, kept.rung) == ("floor, on the knees", "knees")


def test_a_clip_without_a_hash_is_told_by_its_name_length_and_size() -> None:
    clip = {**report()["clips"][0], "sha256": None}
    assert clip_key(clip) == clip_key(dict(clip))
    assert clip_key(clip) != clip_key({**clip, "duration_s": 21.0})


def test_what_the_set_alone_earned_is_kept_where_the_log_held_it_back() -> None:
    assert not entry().earned
    assert entry(log={"direction_alone": "harder"}).earned
