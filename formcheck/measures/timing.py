"""How long the four phases of a rep took, and how surely that is known."""

from __future__ import annotations

from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.signals.curves import Signals
from formcheck.signals.view import View

SET_ENDS = "the set ends with this rep: no next one starts that would end the pause"

# 95 % of the error against exact motion: a boundary where the elbow starts or stops gently is
# known to a fifteenth of the phase beside it, and to two frames at best.
_SHARE = 0.065
_LEAST_S = 0.067
_USUAL_NOISE = 0.009  # jitter, in arm lengths, that doubles that


def phase_times(rep: Rep, signals: Signals, view: View) -> dict[str, Quantity]:
    """``eccentric_s``, ``bottom_pause_s``, ``concentric_s``, ``top_pause_s`` by contract name."""
    frame_s = 1.0 / min(signals.pose_rate_hz, signals.rate_hz)

    jittery = 1.0 + (signals.noise / _USUAL_NOISE) ** 2

    def known(value_s: float, *beside_s: float) -> Quantity:
        gentle = _SHARE * jittery * max(beside_s)
        return Quantity(value_s, max(_LEAST_S, frame_s) + gentle, view=view.kind)

    # The landmark model smooths a start from rest most, so the top is left a little late.
    pause = known(rep.top_pause_s, 1.3 * rep.eccentric_s, rep.concentric_s)
    return {
        "eccentric_s": known(rep.eccentric_s, rep.eccentric_s),
        "bottom_pause_s": known(rep.bottom_pause_s, min(rep.eccentric_s, rep.concentric_s)),
        "concentric_s": known(rep.concentric_s, rep.concentric_s),
        "top_pause_s": not_measured(SET_ENDS) if rep.last else pause,
    }
