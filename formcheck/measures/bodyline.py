"""The body's line: how far the hips leave it, and how far they leave the person's own line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from formcheck.asked.person import HipOffset
from formcheck.maths.arrays import FloatArray
from formcheck.maths.filtering import CUTOFF_HZ, low_pass
from formcheck.maths.quantity import Quantity, median_known, not_measured
from formcheck.measures.depth import JITTERY, MOST_NOISE
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.calibration import doubt_of, stated
from formcheck.signals.curves import Signals
from formcheck.signals.view import View

LINE_NEEDS_SIDE = "the line of the body shows only from the side"
LINE_HIDDEN = "shoulder, hip or foot was hidden or out of the picture during the rep"
# A trunk sinks and rises slowly; faster wobble of the line is noise of three landmarks.
_LINE_CUTOFF_HZ = 2.0
# What remains within one clip after smoothing, as measured against exact joints; one standard
# deviation, degrees.
_WITHIN_SD_DEG, _WITHIN_SHARE = 0.7, 0.02
# How straight a body is that touches a stick with head, upper back and tailbone (assumed).
_CHECKED_SD_DEG = 0.5
# What a checked hold says of another clip of the same body, from 20 rendered bodies on two days in
# other clothes, other cameras within 15 degrees of square (tests/truth/own_line; set on them, so a
# fit): what straight holds read on average, how much of what one reads beyond that comes back, and
# the share of the line's doubt that is left. The camera errs more than bodies differ: on 32 more
# bodies, filmed from the same place, half came back (error 1.8 to 1.5 degrees); on 34, filmed from
# another, a seventh (2.0 and 2.0).
_HOLDS_READ_DEG, _COMES_BACK, _LEFT = 1.0, 0.5, 0.93
# How straight people set up before the first rep, and the share who do not (common practice).
_SET_UP_SD_DEG, _CROOKED_SD_DEG, _CROOKED = 2.5, 15.0, 0.25
_FURTHEST_DEG = 60.0  # beyond this it is no push-up line


def line_curve(signals: Signals, support: str | None) -> FloatArray:
    """(M,) smoothed signed deviation (deg) of the hips: + sag, - pike."""
    curve = signals.body_line_knee_deg if support == "knees" else signals.body_line_deg
    return low_pass(curve, signals.rate_hz, _LINE_CUTOFF_HZ)


@dataclass(frozen=True)
class OwnLine:
    """The person's own line: the median deviation (deg) at the top before the first rep.

    ``measured_deg`` as it reads; ``error_deg`` the part of it that is more likely the landmarks'
    constant error in this clip, to be taken off every deviation of the set, with what remains
    of that error as ``error_sd_deg``.
    """

    measured_deg: float
    error_deg: float
    error_sd_deg: float


@dataclass(frozen=True, eq=False)
class BodyLine:
    """The line of one look over the whole set: ``curve`` (M,) degrees, and the person's own."""

    curve: FloatArray
    own: OwnLine


def read_line(look: Look, support: str | None, hip_offset: HipOffset | None = None) -> BodyLine:
    """The body line to the ankles, or to the knees where they are the ``support``.

    ``hip_offset`` the person's own straight line, where it is known.
    """
    curve = line_curve(look.signals, support)
    return BodyLine(curve, _own_line(look, curve, support, hip_offset))


def hip_offset_of(reading_deg: float, plus_minus_deg: float, support: str | None) -> HipOffset:
    """What a line that was checked to be straight says of the person's hip landmark."""
    per_share = _deg_per_share(support)
    within = float(np.hypot(plus_minus_deg, 1.96 * _CHECKED_SD_DEG))
    return HipOffset(reading_deg / per_share, within / per_share)


def _own_line(
    look: Look, line: FloatArray, support: str | None, hip_offset: HipOffset | None
) -> OwnLine:
    """Read the person's own line and weigh it against what the landmarks may err.

    Most people set up straight, within a few degrees, and some do not, by any amount (common
    practice). A line a few degrees off is then partly landmark error; one that is far off is
    the person's. So a set that sags from its start keeps its sag.
    """
    prior, prior_sd = _line_error_deg(look.signals, look.view, support, hip_offset)
    first = look.reps[0].start_s if look.reps else float("nan")
    before = look.signals.between(first - 1.0, first) if look.reps else slice(0, 0)
    seen = median_known(line[before])
    if not abs(seen) < _FURTHEST_DEG or look.view.along_body:
        return OwnLine(seen, prior, prior_sd)
    true = np.linspace(-_FURTHEST_DEG, _FURTHEST_DEG, 1201)
    straight = np.exp(-0.5 * (true / _SET_UP_SD_DEG) ** 2)
    crooked = np.exp(-0.5 * (true / _CROOKED_SD_DEG) ** 2)
    usual = (1 - _CROOKED) * straight / straight.sum() + _CROOKED * crooked / crooked.sum()
    weight = usual * np.exp(-0.5 * ((seen - prior - true) / prior_sd) ** 2)
    weight /= weight.sum()
    own = float(np.sum(weight * true))
    return OwnLine(seen, seen - own, float(np.sqrt(np.sum(weight * (true - own) ** 2))))


def hip_deviation(look: Look, rep: Rep, line: BodyLine) -> Quantity:
    """The deviation furthest from zero between leaving the top and reaching it again (deg)."""
    if look.view.along_body:
        return not_measured(LINE_NEEDS_SIDE)
    signals, own = look.signals, line.own
    if signals.noise > MOST_NOISE:
        return not_measured(JITTERY)
    span = signals.between(rep.start_s, rep.top_s)
    part = line.curve[span] - own.error_deg
    if not np.isfinite(part).any():
        return not_measured(LINE_HIDDEN)
    low, high = np.nanpercentile(part, [5.0, 95.0])
    sags = abs(high) >= abs(low)
    value = float(high if sags else low)
    at_s = float(signals.t_s[span][np.nanargmax(part) if sags else np.nanargmin(part)])
    within = _within_sd_deg(signals) + _WITHIN_SHARE * abs(value)
    sd = float(np.hypot(own.error_sd_deg, within))
    return stated(
        "hip_deviation_deg", look.view.kind, value, sd, signals.misfit, at_s + look.offset_s
    )


def judged_line(look: Look, support: str | None, own: OwnLine) -> FloatArray:
    """(M,) the line as it is judged and drawn (deg): without what it errs by throughout."""
    bias = doubt_of("hip_deviation_deg", look.view.kind).bias
    return line_curve(look.signals, support) - own.error_deg - bias


def hip_deviation_change(look: Look, rep: Rep, line: BodyLine) -> Quantity:
    """Deviation of a rep against the person's own line at the first top (deg)."""
    deviation, own = hip_deviation(look, rep, line), line.own
    if not deviation.known or not np.isfinite(own.measured_deg):
        return not_measured(deviation.reason or LINE_HIDDEN)
    bias = doubt_of("hip_deviation_deg", look.view.kind).bias
    change = deviation.value + bias + own.error_deg - own.measured_deg
    slant = 3.0 if look.view.slanted else 1.0
    within = np.sqrt(2) * _within_sd_deg(look.signals) * slant + _WITHIN_SHARE * abs(change)
    return Quantity(float(change), float(1.96 * within), view=look.view.kind, at_s=deviation.at_s)


def line_doubt_deg(
    signals: Signals, view: View, support: str | None, hip_offset: HipOffset | None = None
) -> tuple[float, float]:
    """95 % half-widths of a moment's body line and of its change against another moment (deg)."""
    within = _within_sd_deg(signals)
    _, constant = _line_error_deg(signals, view, support, hip_offset)
    line = float(1.96 * np.hypot(constant, within))
    return line, float(1.96 * np.sqrt(2) * within)


def _within_sd_deg(signals: Signals) -> float:
    """What smoothing leaves of the line's wobble; noise of the landmarks comes on top of it."""
    # Shoulder, hip and foot half an arm to a whole one apart: a degree is some 1.2 % of an arm.
    jitter = np.degrees(1.4 * signals.noise) * (_LINE_CUTOFF_HZ / CUTOFF_HZ) ** 0.5
    return float(np.hypot(_WITHIN_SD_DEG, 1.5 * jitter))


def _line_error_deg(
    signals: Signals, view: View, support: str | None, hip_offset: HipOffset | None
) -> tuple[float, float]:
    """What the line of a straight body is read as over the whole set, and its sd (deg).

    Of a body that is not known: nothing, give or take what the fit of the body has. At a slant
    the view errs more than one body differs from another.
    """
    usual = median_known(signals.line_sd_deg)
    if hip_offset is None or view.slanted:
        return 0.0, usual
    per_share = _deg_per_share(support)
    # The hold's own error is in what is left, since it was in what was compared.
    return _COMES_BACK * (hip_offset.share * per_share - _HOLDS_READ_DEG), _LEFT * usual


def _deg_per_share(support: str | None) -> float:
    # A hip out by b shares of the trunk turns the line by b at the trunk and b / (leg / trunk)
    # at the leg; hip to ankle is 1.67 trunks, hip to knee 0.80 (de Leva 1996, mean of both).
    leg = 0.80 if support == "knees" else 1.67
    return float(np.degrees(1 + 1 / leg))
