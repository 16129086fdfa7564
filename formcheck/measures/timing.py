"""How long the four phases of a rep took, and how surely that is known."""

from __future__ import annotations

from dataclasses import replace

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.calibration import stated

SET_ENDS = "the set ends with this rep: no next one starts that would end the pause"

NOT_PRESSED_UP = "this attempt was not pressed up"

# 95 % of the error against exact motion: a boundary where the elbow starts or stops gently is
# known to a fifteenth of the phase beside it, and to two frames, or to two thirds of the time
# between two looks, at best.
_SHARE = 0.065
_LEAST_S = 0.067
_OF_A_LOOK = 0.67
_USUAL_NOISE = 0.009  # jitter, in arm lengths, that doubles that


def eccentric(look: Look, rep: Rep) -> Quantity:
    """Seconds from leaving the top until the downward motion ends."""
    return _known("eccentric_s", look, rep.eccentric_s, rep.eccentric_s)


def bottom_pause(look: Look, rep: Rep) -> Quantity:
    """Seconds between the downward and the upward motion."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    return _known(
        "bottom_pause_s", look, rep.bottom_pause_s, min(rep.eccentric_s, rep.concentric_s)
    )


def concentric(look: Look, rep: Rep) -> Quantity:
    """Seconds of the upward motion until the top is reached."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    return _known("concentric_s", look, rep.concentric_s, rep.concentric_s)


def top_pause(look: Look, rep: Rep) -> Quantity:
    """Seconds at the top until the next rep starts; the last rep of a set has none."""
    if rep.failed:
        return not_measured(NOT_PRESSED_UP)
    if rep.last:
        return not_measured(SET_ENDS)
    # The landmark model smooths a start from rest most, so the top is left a little late.
    return _known("top_pause_s", look, rep.top_pause_s, 1.3 * rep.eccentric_s, rep.concentric_s)


def _known(name: str, look: Look, value_s: float, *beside_s: float) -> Quantity:
    """A time between two boundaries, ``beside_s`` the phases that they are boundaries of."""
    frame_s = 1.0 / min(look.signals.pose_rate_hz, look.signals.rate_hz)
    jittery = 1.0 + (look.signals.noise / _USUAL_NOISE) ** 2
    gentle = _SHARE * jittery * max(beside_s)
    sd = (max(_LEAST_S, _OF_A_LOOK * frame_s) + gentle) / 1.96
    time = stated(name, look.view.kind, value_s, sd, look.signals.misfit)
    # What times are off by on average is taken off; a pause that is hardly one stays none.
    return replace(time, value=max(time.value, 0.0))
