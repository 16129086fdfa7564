"""Evenness: do both arms bend alike and both shoulders rise alike, seen from the front?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.values import why_hidden
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

# 95 % of the left-right difference that landmarks show on rendered, perfectly even clips.
ELBOW_PLUS_MINUS_DEG = 9.0
HEIGHT_PLUS_MINUS = 0.04  # arm lengths
# Near a straight arm a percent of landmark error is ten degrees, so only bent arms are compared.
_BENT_DEG = 130.0
_TOP_SHARE = 0.97  # of the longest reach: at the top
_BOTTOM_WINDOW_S = 0.12  # either side of the deepest moment

# Beyond these the stance itself is crooked and is said as such (common practice).
HANDS_STAGGERED_DEG = 6.0
SHOULDERS_TURNED_DEG = 6.0

_UNSEEN = "one arm is hidden in this attempt; film from the front with both arms in the picture"


def elbows_apart(look: Look, rep: Rep) -> Quantity:
    """Left minus right elbow angle (deg) where both arms are bent; + the left arm is straighter."""
    signals = look.signals
    if look.view.kind != "front" or signals.body is None:
        return _unseen(look)
    within = _within(look, rep)
    left, right = signals.elbow_left_deg, signals.elbow_right_deg
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
    signals = look.signals
    if look.view.kind != "front" or signals.body is None:
        return _unseen(look)
    picture = signals.steady_px
    apart_px = picture["right_shoulder"][:, 1] - picture["left_shoulder"][:, 1]
    heights = apart_px / signals.arm_length_px
    within, top = _within(look, rep), _at_top(look)
    at_top = heights[within & top] if (within & top).any() else heights[top]
    low = heights[np.abs(signals.t_s - rep.bottom_s) <= _BOTTOM_WINDOW_S]
    return _quantity(median_known(low) - median_known(at_top), HEIGHT_PLUS_MINUS)


def stance_remarks(look: Look) -> tuple[str, ...]:
    """Sentences about hands that are not level and shoulders that are turned, over the set.

    A roll of the camera tilts hands and shoulders alike; only one against the other shows.
    """
    if look.view.kind != "front" or look.signals.body is None:
        return ()
    remarks = []
    top, picture = _at_top(look), look.signals.steady_px
    hands, shoulders = (
        _tilt_deg((picture[f"left_{joint}"] - picture[f"right_{joint}"])[top])
        for joint in ("wrist", "shoulder")
    )
    if abs(hands - shoulders) > HANDS_STAGGERED_DEG:
        lower = "left" if hands < shoulders else "right"
        remarks.append(
            f"The hands are not level with the shoulders: the {lower} hand lies nearer the camera "
            f"or lower, by {abs(hands - shoulders):.0f} degrees."
        )
    wrist, shoulder = (
        (picture[f"left_{joint}"] + picture[f"right_{joint}"])[top] / 2
        for joint in ("wrist", "shoulder")
    )
    # Square to the hands, so that a rolled camera leans nobody.
    lean = float(
        np.degrees(np.arctan2(*np.nanmedian((shoulder - wrist) * [1, -1], axis=0))) + hands
    )
    if abs(lean) > SHOULDERS_TURNED_DEG:
        toward = "left" if lean > 0 else "right"
        remarks.append(
            f"The shoulders are not over the middle of the hands but {abs(lean):.0f} degrees to "
            f"the {toward}: more weight is on the {toward} arm."
        )
    return tuple(remarks)


def _at_top(look: Look) -> BoolArray:
    """(M,) where the arms are about as straight as they get in this set."""
    reach = np.where(look.signals.in_position, look.signals.reach, np.nan)
    return np.asarray(reach >= _TOP_SHARE * float(np.nanpercentile(reach, 95)))


def _tilt_deg(across_px: FloatArray) -> float:
    """Median tilt of right-to-left lines (K, 2) in the picture, + = left end higher."""
    return float(
        np.degrees(np.arctan2(-median_known(across_px[:, 1]), median_known(across_px[:, 0])))
    )


def _within(look: Look, rep: Rep) -> BoolArray:
    return np.asarray((look.signals.t_s >= rep.start_s) & (look.signals.t_s <= rep.top_s))


def _unseen(look: Look) -> Quantity:
    return not_measured(why_hidden("symmetry_deg", look.view.kind) or _UNSEEN)


def _quantity(value: float, plus_minus: float) -> Quantity:
    if not np.isfinite(value):
        return not_measured(_UNSEEN)
    return Quantity(value, plus_minus, view="front")
