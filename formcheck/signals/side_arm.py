"""The elbow angle in space from one camera, and how far the elbow leaves the trunk.

With the hands planted, the distance from shoulder to wrist alone fixes the elbow angle (law of
cosines), whatever the elbow does in depth; the offset of the elbow from the line between them
fixes it too, if one knows how much of that offset points at the camera. The first is sharp when
the elbow is bent and blind when it is straight, the second the other way round: near 80 degrees
1 % of arm length is 1.5 degrees by the distance and over 4 by the offset; near 170 it is 13 by
the distance and 2 to 4 by the offset. Both are combined by least squares with stated noise.

The elbow moves in one plane through shoulder and wrist; the angle of that plane to the picture
(the swivel) is nearly constant within a rep, so it is read at the bottom, where the distance
gives the whole offset and the picture its visible part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from formcheck.maths.arrays import BoolArray, FloatArray
from formcheck.maths.geometry import length

# Upper arm over forearm between joint centres: 281.7/268.9 mm (men), 275.1/264.3 mm (women),
# de Leva, J Biomech 1996;29:1223-1230; the mean is used.
UPPER_ARM_PER_FOREARM = 1.044
UPPER = UPPER_ARM_PER_FOREARM / (1 + UPPER_ARM_PER_FOREARM)
FOREARM = 1 - UPPER

# What reach and visible offset err by, as standard deviations in arm lengths, within a set whose
# straightest position is the anchor, measured against exact joints: little near the anchor; the
# reach more as the arm bends, up to a bound, because the shoulder landmark slides; the offset in
# proportion to itself. Seen at a slant the shoulder landmark wanders by a tenth of the arm.
_ANCHORED_SD = 0.004
_REACH_SD, _REACH_SD_RISE = 0.016, 0.03
_SLANTED_REACH = 3.0
_OFFSET_SD_SHARE = 0.064
_TOP_OFFSET_SD = 0.022  # of the visible offset at the top, between bodies

# The elbow's landmark stands out beyond the joint centre as the arm bends, as the point of the
# elbow does: by this share of the joint's own offset where that is large, mean of 13 sets of
# rendered bodies with exact joints (tests/truth). Left in, it reads as elbows nearer the trunk.
_POINT_OUT, _POINT_FROM, _POINT_TO = 0.13, 0.17, 0.37

USUAL_SWIVEL_DEG = 45.0  # of the elbow's plane out of the body's: between tucked and flared

# How straight people get at the top when they lock out: bend 10 degrees, sd 4 (common
# practice: 165 to 175 on pose landmarks); and a share who never do.
_LOCKED_BEND_DEG, _LOCKED_BEND_SD_DEG, _NEVER_LOCKS = 10.0, 4.0, 0.08


@dataclass(frozen=True)
class Arm:
    """One arm over time; arrays (M,), NaN where it is not seen.

    ``elbow_deg`` with ``elbow_plus_minus_deg`` (95 %); ``flare_deg`` of the upper arm against
    the trunk axis with ``flare_plus_minus_deg``; ``reach`` shoulder to wrist in arm lengths;
    ``length_px`` of the straight arm at the shoulder's depth.
    """

    elbow_deg: FloatArray
    elbow_plus_minus_deg: FloatArray
    flare_deg: FloatArray
    flare_plus_minus_deg: FloatArray
    reach: FloatArray
    length_px: float


def reach_of(elbow_rad: FloatArray) -> FloatArray:
    """Shoulder-wrist distance in arm lengths at an elbow angle (law of cosines)."""
    return np.sqrt(UPPER**2 + FOREARM**2 - 2 * UPPER * FOREARM * np.cos(elbow_rad))


def elbow_of(reach: FloatArray) -> FloatArray:
    """Elbow angle (radians) at a shoulder-wrist distance in arm lengths."""
    cosine = (UPPER**2 + FOREARM**2 - reach**2) / (2 * UPPER * FOREARM)
    return np.arccos(np.clip(cosine, -1.0, 1.0))


def offset_of(elbow_rad: FloatArray) -> FloatArray:
    """Distance of the elbow from the shoulder-wrist line, in arm lengths."""
    return UPPER * FOREARM * np.sin(elbow_rad) / reach_of(elbow_rad)


def solve_arm(
    shoulder: FloatArray,
    elbow: FloatArray,
    wrist: FloatArray,
    outward: FloatArray,
    trunk: FloatArray | None,
    cycles: Sequence[tuple[int, int]],
    use: BoolArray,
    focal_px: float,
    hidden_offset: float,
    noise_px: float = 0.0,
    yaw_deg: float | None = None,
    turned_rad: float = 0.0,
) -> Arm:
    """Elbow angle and flare of one arm over a set.

    ``shoulder``, ``elbow``, ``wrist`` (M, 2) smoothed pixels from the picture's centre;
    ``outward`` (M, 2) the side of the shoulder-wrist line to which the elbow bends in the
    picture; ``trunk`` (M, 2) shoulder to hip where the trunk lies in the picture, else None;
    ``cycles`` (start, end) grid indices of one bend and straightening each; ``use`` (M,)
    frames in position; ``hidden_offset`` how much nearer the camera the hand is than the
    shoulder, in arm lengths (constant, the hands being planted); ``noise_px`` the jitter left in
    the points. ``yaw_deg`` of an oblique view, where the swivel is taken from the usual one
    instead of being read; ``turned_rad`` how far from square to it a side view looks at the body,
    toward the front.
    """
    blur = 1.0 if yaw_deg is None else _SLANTED_REACH
    line = wrist - shoulder
    seen_px = length(line)
    along = line / seen_px[:, None]
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    across *= np.where(np.nanmedian(np.sum(across * outward, axis=1)[use]) < 0, -1.0, 1.0)
    bent_px = np.sum((elbow - shoulder) * across, axis=1)
    middle_px = np.sum((elbow - shoulder) * along, axis=1)

    high = use & (seen_px >= np.nanpercentile(seen_px[use], 85.0))
    top_px, top_bent_px = float(np.nanmedian(seen_px[high])), float(np.nanmedian(bent_px[high]))
    swivel = np.full(len(cycles), np.radians(USUAL_SWIVEL_DEG))
    bend_top, bend_top_sd = np.radians(_LOCKED_BEND_DEG), np.radians(_LOCKED_BEND_SD_DEG)
    offset_bias, scale_px = 0.0, top_px
    # Scale, swivel and the bend at the top depend on each other only weakly: a few rounds settle.
    for _ in range(4):
        straight = float(reach_of(np.array([np.pi - bend_top]))[0])
        scale_px = top_px / np.sqrt(straight**2 - hidden_offset**2)
        reach = np.sqrt((seen_px / scale_px) ** 2 + hidden_offset**2)
        distance = focal_px / scale_px
        if yaw_deg is None:
            swivel = np.array(
                [
                    _swivel(
                        reach[a:b], bent_px[a:b] / scale_px - offset_bias, shoulder[a:b] / scale_px,
                        across[a:b], distance,
                    )
                    for a, b in cycles
                ]
            )  # fmt: skip
        else:
            swivel = np.full(len(cycles), np.radians(USUAL_SWIVEL_DEG - abs(yaw_deg)))
        swivel_at = _per_frame(swivel, cycles, len(seen_px))
        # An elbow nearer the camera is enlarged, away from the middle of the picture.
        away = np.sum(elbow * across, axis=1) / scale_px / distance
        visible = np.cos(swivel_at) + np.sin(swivel_at) * away
        at_top = float(np.nanmedian(visible[high]))
        bend_top, bend_top_sd = bend_at_top(top_bent_px / scale_px, max(abs(at_top), 0.2))
        expected = float(offset_of(np.array([np.pi - bend_top]))[0]) * at_top
        offset_bias = top_bent_px / scale_px - expected

    offset = bent_px / scale_px - offset_bias
    if yaw_deg is None:
        visible = visible * _point_out(offset_of(elbow_of(np.minimum(reach, 0.999))))
    angle, random_sd = combine(reach, offset, visible, noise_px / scale_px, blur)
    systematic = _systematic_sd(angle, bend_top, bend_top_sd)
    flare, flare_sd = _flare(angle, swivel_at, along, across, trunk, hidden_offset, turned_rad)
    blind = ~(np.isfinite(middle_px) & np.isfinite(angle))
    for curve in (angle, random_sd, flare, flare_sd):
        curve[blind] = np.nan
    return Arm(
        elbow_deg=np.degrees(angle),
        elbow_plus_minus_deg=1.96 * np.degrees(np.hypot(random_sd, systematic)),
        flare_deg=flare,
        flare_plus_minus_deg=1.96 * flare_sd,
        reach=reach,
        length_px=scale_px,
    )


def bend_at_top(offset: float, visible_share: float) -> tuple[float, float]:
    """Bend (rad) at the set's straightest, and its sd, from the offset seen and the prior.

    A posterior on a grid: most people lock out, some never do, and the offset of the elbow from
    the line is seen with noise.
    """
    bend = np.radians(np.linspace(0.0, 70.0, 281))
    locked = np.exp(-0.5 * ((np.degrees(bend) - _LOCKED_BEND_DEG) / _LOCKED_BEND_SD_DEG) ** 2)
    prior = (1 - _NEVER_LOCKS) * locked / locked.sum() + _NEVER_LOCKS / len(bend)
    misfit = (offset - offset_of(np.pi - bend) * visible_share) / _TOP_OFFSET_SD
    posterior = prior * np.exp(-0.5 * misfit**2)
    posterior /= posterior.sum()
    mean = float(np.sum(posterior * bend))
    return mean, float(np.sqrt(np.sum(posterior * (bend - mean) ** 2)))


def _swivel(
    reach: FloatArray, offset: FloatArray, shoulder: FloatArray, across: FloatArray, distance: float
) -> float:
    """Angle (rad) between the plane of the bending elbow and the picture, from one cycle.

    Read over the deeper half of the bend, with the enlargement of an elbow nearer the camera
    taken out. ``shoulder`` in arm lengths from the picture's centre, ``distance`` of the
    camera likewise.
    """
    known = np.isfinite(reach) & np.isfinite(offset)
    if known.sum() < 3:
        return float(np.radians(USUAL_SWIVEL_DEG))
    whole = offset_of(elbow_of(np.minimum(reach, 0.999)))
    deep = known & (whole >= 0.6 * np.nanmax(whole[known]))
    share = 0.7
    for _ in range(3):
        depth = whole[deep] * np.sqrt(1 - share**2)
        shift = np.sum(shoulder[deep] * across[deep], axis=1) * depth / (distance - depth)
        seen = (offset[deep] - shift) / (whole[deep] * _point_out(whole[deep]))
        share = float(np.clip(np.median(seen), -0.3, 0.98))
    return float(np.arccos(share))


def _per_frame(per_cycle: FloatArray, cycles: Sequence[tuple[int, int]], frames: int) -> FloatArray:
    """(frames,) a value of each cycle, interpolated between the cycles' middles."""
    if len(per_cycle) == 0:
        return np.full(frames, np.radians(USUAL_SWIVEL_DEG))
    middles = [(a + b) / 2 for a, b in cycles]
    return np.interp(np.arange(frames), middles, per_cycle)


def _point_out(offset: FloatArray) -> FloatArray:
    """How much further out than the joint centre the elbow's landmark lies, from its offset."""
    part = np.clip((offset - _POINT_FROM) / (_POINT_TO - _POINT_FROM), 0.0, 1.0)
    return np.asarray(1.0 + _POINT_OUT * part)


def combine(
    reach: FloatArray,
    offset: FloatArray,
    visible_share: FloatArray,
    noise: float = 0.0,
    reach_blur: float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Least-squares elbow angle (rad) and its sd from reach and visible offset (arm lengths).

    ``noise`` is the jitter left in the landmarks, one sd in arm lengths; ``reach_blur`` how many
    times worse than from the side the reach is known.
    """
    angle = np.clip(elbow_of(np.minimum(reach, 0.9995)), 0.3, np.pi - 0.02)
    still = float(np.hypot(_ANCHORED_SD, noise))
    step = 1e-4
    for _ in range(6):
        whole, beside = reach_of(angle), offset_of(angle)
        sliding = _REACH_SD * -np.expm1((whole - 1) / _REACH_SD_RISE)
        sd_reach = reach_blur * np.hypot(still, sliding)
        sd_offset = np.hypot(still, _OFFSET_SD_SHARE * beside)
        slope_reach = (reach_of(angle + step) - whole) / step
        slope_offset = (offset_of(angle + step) - beside) / step * visible_share
        by_reach, by_offset = slope_reach / sd_reach**2, slope_offset / sd_offset**2
        curvature = by_reach * slope_reach + by_offset * slope_offset
        change = by_reach * (reach - whole) + by_offset * (offset - beside * visible_share)
        angle = np.clip(angle + np.clip(change / curvature, -0.4, 0.4), 0.3, np.pi - 1e-3)
    return angle, 1.0 / np.sqrt(curvature)


def _systematic_sd(angle: FloatArray, bend_top: float, bend_top_sd: float) -> FloatArray:
    """Sd (rad) that the unknown arm length, anchored at the top, leaves in every angle."""
    scale_sd = 0.5 * np.tan(bend_top / 2) * bend_top_sd + 0.008
    by_scale = 2 * np.tan(angle / 2) * scale_sd
    # Part of the doubt about the top is in the random part already.
    return np.asarray(np.minimum(by_scale, 0.3 * bend_top_sd))


def _flare(
    angle: FloatArray,
    swivel: FloatArray,
    along: FloatArray,
    across: FloatArray,
    trunk: FloatArray | None,
    hidden_offset: float,
    turned_rad: float,
) -> tuple[FloatArray, FloatArray]:
    """Angle (deg) of the upper arm to the trunk axis and its sd; NaN without a trunk axis.

    The line to the hand comes toward the camera by ``hidden_offset``, so an elbow that turns out
    of the picture, square to that line, also turns back along it. The trunk goes away from the
    camera by ``turned_rad``.
    """
    if trunk is None:
        return np.full(len(angle), np.nan), np.full(len(angle), np.nan)
    axis = trunk / length(trunk)[:, None]
    reach, offset = reach_of(angle), offset_of(angle)
    part = (UPPER**2 - FOREARM**2 + reach**2) / (2 * reach)
    toward = np.minimum(hidden_offset / reach, 1.0)
    on_axis = np.sum(along * axis, axis=1) / UPPER
    by_line = part * np.sqrt(1 - toward**2) * on_axis
    by_bend = offset * np.sum(across * axis, axis=1) / UPPER
    by_turn = -offset * toward * on_axis

    def flare(at: FloatArray) -> FloatArray:
        cosine = by_line + by_bend * np.cos(at) + by_turn * np.sin(at)
        near = part * toward + offset * np.sqrt(1 - toward**2) * np.sin(at)
        cosine = cosine * np.cos(turned_rad) - near / UPPER * np.sin(turned_rad)
        return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))

    spread = np.radians(9.0)
    sd = np.abs(flare(swivel + spread) - flare(np.maximum(swivel - spread, 0.0))) / 2
    return flare(swivel), np.maximum(sd, 4.0)
