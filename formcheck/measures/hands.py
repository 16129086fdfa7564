"""Hand spacing: distance between the wrists over biacromial distance, from the front.

Two errors are taken out. The hands lie in another depth and height than the shoulders: both are
measured in the space that the front scene builds, not in the picture. And shoulder landmarks sit
some percent inside or outside the joints, differently on every body: so the shoulder width seen
is averaged with the one that belongs to an arm of this length.
"""

from __future__ import annotations

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.values import why_hidden
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

# Shoulder joint to shoulder joint over upper arm plus forearm. Biacromial 0.2244 of stature over
# shoulder-elbow 0.2053 plus radiale-stylion 0.1482 (ANSUR II women, Gordon et al. 2014) is 0.635;
# men's broader shoulders, 0.237 of stature (from memory), give 0.67.
BIACROMIAL_PER_ARM = 0.65
RELATIVE_PLUS_MINUS = 0.06  # 95 %, landmark bias and proportions together

_UNSEEN = "a hand or shoulder is hidden; film from the front with both hands in the picture"


def hand_spacing(look: Look, rep: Rep) -> Quantity:
    """Wrist distance over biacromial distance in one rep, where its arms are straightest."""
    scene, t_s = look.signals.scene, look.signals.t_s
    if scene is None:
        return not_measured(why_hidden("hand_spacing_ratio", look.view.kind) or _UNSEEN)
    within = (t_s >= rep.start_s - 0.2) & (t_s <= rep.end_s)
    at_top = within & scene.top
    use = at_top if at_top.any() else within
    wrists = _distance(scene.wrist["left"][within], scene.wrist["right"][within])
    shoulders = _distance(scene.shoulder["left"][use], scene.shoulder["right"][use])
    ratio = wrists / ((shoulders + BIACROMIAL_PER_ARM) / 2)
    if not np.isfinite(ratio):
        return not_measured(_UNSEEN)
    return Quantity(ratio, RELATIVE_PLUS_MINUS * ratio, view="front")


def _distance(left: FloatArray, right: FloatArray) -> float:
    return median_known(np.asarray(np.linalg.norm(left - right, axis=1)))
