"""What is not told where the hands are hidden, so that their place is the model's guess."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from formcheck.asked.prescription import Prescription
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.variation.recognise import Variation

HANDS_HIDDEN = (
    "the hands are hidden or out of the picture, so where the arms bend is a guess; film with both "
    "hands in sight"
)
_OF_THE_HANDS = (
    "elbow_bottom_deg", "elbow_top_deg", "upper_arm_bottom_deg", "shoulder_height_bottom",
    "elbow_flare_deg", "elbow_flare_left_deg", "elbow_flare_right_deg", "hand_spacing_ratio",
    "symmetry_deg", "sticking_elbow_deg", "load_fraction", "bend_share_percent",
    "hips_lag_s",
)  # fmt: skip


def without_hands(
    values: Sequence[dict[str, Quantity]], variation: Variation, asked: Prescription
) -> Variation:
    """Take out of ``values``, in place, what hangs on the hands; and out of ``variation`` what they
    stand on, unless that was told."""
    for of_rep in values:
        of_rep |= dict.fromkeys(_OF_THE_HANDS, not_measured(HANDS_HIDDEN))
    return replace(
        variation,
        surface=asked.surface,
        hands=None,
        surface_height=not_measured(HANDS_HIDDEN),
        inclination_deg=not_measured(HANDS_HIDDEN),
        surface_height_cm=None,
    )
