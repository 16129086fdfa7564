"""Evenness: do both arms bend alike and both shoulders rise alike, seen from the front?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.values import why_hidden
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.front_arms import FrontScene

# 95 % of the left-right difference that landmarks show on rendered, perfectly even clips.
ELBOW_PLUS_MINUS_DEG = 9.0
HEIGHT_PLUS_MINUS = 0.04  # arm lengths
# Near a straight arm a percent of landmark error is ten degrees, so only bent arms are compared.
_BENT_DEG = 130.0
_BOTTOM_WINDOW_S = 0.12  # either side of the deepest moment

# Beyond these the stance itself is crooked and is said as such (common practice).
HANDS_STAGGERED_DEG = 6.0
SHOULDERS_TURNED_DEG = 6.0

_UNSEEN = "one arm is hidden in this attempt; film from the front with both arms in the picture"


def elbows_apart(look: Look, rep: Rep) -> Quantity:
    """Left minus right elbow angle (deg) where both arms are bent; + the left arm is straighter."""
    scene = look.signals.scene
    if scene is None:
        return _unseen(look)
    within = _within(look, rep)
    left, right = scene.elbow_deg["left"], scene.elbow_deg["right"]
    with np.errstate(invalid="ignore"):
        bent = within & (np.minimum(left, right) < _BENT_DEG)
    return _quantity(median_known((left - right)[bent]), ELBOW_PLUS_MINUS_DEG)


def symmetry(look: Look, rep: Rep) -> Quantity:
    """Size (deg) of the difference between the elbows, whichever arm is straighter."""
    apart = elbows_apart(look, rep)
    return replace(apart, value=abs(apart.value))


def shoulders_apart(look: Look, rep: Rep) -> Quantity:
    """Left minus right change of shoulder height from the top to the bottom (arm lengths).

    Positive: the left shoulder stays higher.
    """
    scene = look.signals.scene
    if scene is None:
        return _unseen(look)
    within = _within(look, rep)
    heights = scene.shoulder["left"][:, 2] - scene.shoulder["right"][:, 2]
    at_top = heights[within & scene.top] if (within & scene.top).any() else heights[scene.top]
    low = heights[np.abs(look.signals.t_s - rep.bottom_s) <= _BOTTOM_WINDOW_S]
    return _quantity(median_known(low) - median_known(at_top), HEIGHT_PLUS_MINUS)


def stance_remarks(scene: FrontScene) -> tuple[str, ...]:
    """Sentences about hands that are not level and shoulders that are turned, over the set.

    The picture was levelled on hands and shoulders together, so a roll of the camera tilts
    neither; only one against the other shows.
    """
    remarks = []
    hands = _tilt_deg(scene.wrist["left"][scene.top] - scene.wrist["right"][scene.top])
    shoulders = _tilt_deg(scene.shoulder["left"][scene.top] - scene.shoulder["right"][scene.top])
    if abs(hands - shoulders) > HANDS_STAGGERED_DEG:
        lower = "left" if hands < shoulders else "right"
        remarks.append(
            f"The hands are not level with the shoulders: the {lower} hand lies nearer the camera "
            f"or lower, by {abs(hands - shoulders):.0f} degrees."
        )
    middle = (scene.wrist["left"] + scene.wrist["right"])[scene.top, 1] / 2
    over = (scene.shoulder["left"] + scene.shoulder["right"])[scene.top, 1] / 2
    lean = float(np.degrees(np.arctan(median_known(over - middle))))
    if abs(lean) > SHOULDERS_TURNED_DEG:
        toward = "left" if lean > 0 else "right"
        remarks.append(
            f"The shoulders are not over the middle of the hands but {abs(lean):.0f} degrees to "
            f"the {toward}: more weight is on the {toward} arm."
        )
    return tuple(remarks)


def _tilt_deg(across: FloatArray) -> float:
    """Median tilt of right-to-left lines (K, 3) above the horizontal, + = left end higher."""
    return float(np.degrees(np.arctan2(median_known(across[:, 2]), median_known(across[:, 1]))))


def _within(look: Look, rep: Rep) -> BoolArray:
    return np.asarray((look.signals.t_s >= rep.start_s) & (look.signals.t_s <= rep.top_s))


def _unseen(look: Look) -> Quantity:
    return not_measured(why_hidden("symmetry_deg", look.view.kind) or _UNSEEN)


def _quantity(value: float, plus_minus: float) -> Quantity:
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return Quantity(value, plus_minus, view="front")
