"""How heavy the push-up is: the share of body mass that the hands carry.

On a level floor the vertical share is fixed by statics alone, whatever the friction:
(x_COM - x_foot) / (x_hand - x_foot). With hands or feet raised it is not: friction at two
heights carries part of the moment. Two models then bound it: hands that push straight up, and
hands that push square to the body. All of it is quasi-static: a fast rep peaks far higher.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from formcheck.asked.person import Person, Sex
from formcheck.asked.prescription import Prescription, Support, Surface
from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.reps.find import Rep
from formcheck.reps.look import Look
from formcheck.signals.curves import Signals
from formcheck.variation.recognise import Variation
from formcheck.variation.segments import body_segments, centre_of_mass
from formcheck.variation.stance import (
    FRONT_ON,
    contact_points,
    lifted_hand,
    sagittal_points,
)

# 95 % half-widths, share of body mass. On a level floor a segment model comes within about four
# points of a force plate (static plate values: Suprak 2011, Mier 2014); on the knees it reads
# two to three points more than the plates did (same sources, Gouvali & Boudolos 2005).
LEVEL_PLUS_MINUS = 0.04
KNEES_PLUS_MINUS = 0.06

# Where in the range that statics leaves the best estimate lies, from square to the body (0) to
# straight up (1), with raised hands: set so that the loads at 0.30 and 0.61 m stand to that of the
# floor as force plates read them (55 and 41 to 64, Ebben 2011), whichever way the arms point.
HANDS_RAISED_AT = 0.25
USUAL_ARM_M = 0.55  # of a body of 1.74 m, to look up published heights

# Where worn weight presses, from the shoulders (0) to the hips (1). From practice: a plate lies
# between the shoulder blades, a vest hangs around the chest, a belt at the hips.
WORN_AT = {"back": 0.25, "vest": 0.30, "belt": 1.0}

KNEES_BIAS = "On the knees this reads 2 to 3 points of body mass more than force plates do."
RAISED_RANGE = (
    "With hands or feet raised the load depends on how the hands push: least when they push "
    "square to the body, most when they push straight up."
)
QUASI_STATIC = "This is the load of a slow rep; a fast press peaks higher."
TOO_SLANTED = (
    "at this slant the nearer end of the body looks longer, which shifts the load by more than "
    "it varies; film square from the side"
)


@dataclass(frozen=True)
class LoadCurve:
    """Share of body mass on both hands, over time.

    ``share`` (M,) best estimate, added load included; NaN where unknown. ``plus_minus`` its
    95 % half-width, the range between the two models included; ``low`` and ``high`` (M,) the ends
    of that range. ``reason`` says why all of it is unknown. ``remarks`` belong beside the number
    wherever it is shown.
    """

    share: FloatArray
    low: FloatArray
    high: FloatArray
    plus_minus: float
    view: str | None = None
    reason: str | None = None
    remarks: tuple[str, ...] = ()


def load_over_time(
    look: Look, variation: Variation, prescription: Prescription, person: Person
) -> LoadCurve:
    """The load on the hands in every frame of a view from the side."""
    signals, view = look.signals, look.view
    if view.along_body or view.near_side is None:
        return _unknown(signals, FRONT_ON)
    if view.slanted:
        return _unknown(signals, TOO_SLANTED)
    if variation.surface is None or variation.support is None:
        return _unknown(signals, variation.inclination_deg.reason or FRONT_ON)
    lifted = lifted_hand(signals, signals.in_position) if variation.arms == "one" else None
    body = sagittal_points(signals, view, variation.slope_deg, lifted)
    body, contacts = _planted(body, variation.support, signals)
    low, high = hand_load_range(
        body,
        contacts,
        variation.support,
        variation.surface,
        person.sex,
        _worn(prescription, person),
    )
    share = best_estimate(low, high, variation.surface)
    off = np.maximum(high - share, share - low)
    half_range = float(np.nanmedian(off)) if np.isfinite(off).any() else 0.0
    model = KNEES_PLUS_MINUS if variation.support == "knees" else LEVEL_PLUS_MINUS
    slant = 0.09 * abs(np.sin(np.radians(view.yaw_deg)))  # nearer end 11 % larger at 15 degrees
    return LoadCurve(
        share,
        low,
        high,
        float(np.hypot(model, slant)) + half_range,
        view=view.kind,
        remarks=_remarks(variation, prescription, person),
    )


def load_fraction(look: Look, rep: Rep, load: LoadCurve) -> Quantity:
    """Mean share of body mass on the hands from leaving the top until back."""
    return _mean(load, load.share, look.signals.t_s, rep.start_s, rep.top_s)


def load_fraction_low(look: Look, rep: Rep, load: LoadCurve) -> Quantity:
    """The same, if the hands push square to the body: the low end of what statics leave."""
    return _mean(load, load.low, look.signals.t_s, rep.start_s, rep.top_s)


def load_fraction_high(look: Look, rep: Rep, load: LoadCurve) -> Quantity:
    """The same, if the hands push straight up: the high end of what statics leave."""
    return _mean(load, load.high, look.signals.t_s, rep.start_s, rep.top_s)


def load_fraction_top(look: Look, rep: Rep, load: LoadCurve) -> Quantity:
    """Share of body mass on the hands as the rep leaves the top."""
    return _mean(load, load.share, look.signals.t_s, rep.start_s - 0.1, rep.start_s + 0.05)


def load_fraction_bottom(look: Look, rep: Rep, load: LoadCurve) -> Quantity:
    """Share of body mass on the hands at the bottom."""
    return _mean(load, load.share, look.signals.t_s, rep.bottom_s - 0.1, rep.bottom_s + 0.1)


def hand_load_range(
    body: Mapping[str, FloatArray],
    contacts: tuple[FloatArray, FloatArray],
    support: Support,
    surface: Surface,
    sex: Sex | None = None,
    worn: tuple[float, float] = (0.0, 0.0),
) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest share (M,) of body mass on both hands.

    ``body`` holds sagittal joint positions (M, 2), x toward the head, y up, any unit, at least
    shoulder, elbow, wrist, hip, knee, ankle; ``contacts`` where hand and foot (knee) press, each
    (M, 2) or (2,), see ``contact_points``. ``worn`` is added mass over body mass, and where it
    presses from the shoulders (0) to the hips (1).

    Moments about the foot: V dx + H dy = W (x_COM - x_foot), dx and dy from foot to hand.
    Straight up: H = 0. Square to a body inclined by a: H = V tan a. On a wall V is friction:
    without it H = W (x_COM - x_foot) / dy, and there the force square to the body is whole.
    """
    hand, foot = contacts
    centre = centre_of_mass(body, body_segments(sex))
    added, place = worn
    worn_x = body["shoulder"][:, 0] + place * (body["hip"] - body["shoulder"])[:, 0]
    moment = centre[:, 0] - foot[..., 0] + added * (worn_x - foot[..., 0])
    dx, dy = (hand - foot)[..., 0], (hand - foot)[..., 1]
    if surface == "floor":
        share = moment / dx
        return share, share
    trunk = body["shoulder"] - body["knee" if support == "knees" else "ankle"]
    lean = np.arctan2(trunk[:, 1], trunk[:, 0])
    if surface == "wall":
        models = moment / dy, moment / (dx * np.cos(lean) + dy * np.sin(lean))
    else:
        models = moment / dx, moment / (dx + dy * np.tan(lean))
    return np.minimum(*models), np.maximum(*models)


def _planted(
    body: Mapping[str, FloatArray], support: Support, signals: Signals
) -> tuple[dict[str, FloatArray], tuple[FloatArray, FloatArray]]:
    """The body with the camera's sway taken out, and the places (2,) where hand and foot stay.

    Hands and feet do not slide in a set, but their landmarks do, in step with the elbow. That
    part of their common movement follows the reach of the arm and is the model's; the rest is
    the camera's.
    """
    use = signals.in_position & np.isfinite(body["wrist"][:, 0])
    hand, foot = contact_points(body, support, signals.arm_length_px)
    if not use.any():
        return dict(body), (hand, foot)
    places = np.nanmedian(hand[use], axis=0), np.nanmedian(foot[use], axis=0)
    moved = ((hand - places[0]) + (foot - places[1])) / 2
    reach = np.column_stack([np.ones(len(use)), signals.reach])
    known = use & np.isfinite(moved).all(axis=1) & np.isfinite(signals.reach)
    sway = np.zeros_like(moved)
    if known.any():
        in_step, *_ = np.linalg.lstsq(reach[known], moved[known], rcond=None)
        sway[known] = (moved - reach @ in_step)[known]
    return {name: points - sway for name, points in body.items()}, places


def best_estimate(low: FloatArray, high: FloatArray, surface: Surface) -> FloatArray:
    """One share out of the range: near its low end with raised hands (see ``HANDS_RAISED_AT``),
    its upper end with raised feet, its middle on a wall.

    Plates read 55 and 41 % with the hands 0.30 and 0.61 m high, 64 on the floor, and 70 and 74 %
    with the feet as high (Ebben 2011); straight bodies with the arms square to them come to 53 and
    40, 62, and 69 and 73.
    """
    at = {"floor": 0.0, "hands_raised": HANDS_RAISED_AT, "feet_raised": 1.0, "wall": 0.5}[surface]
    return np.asarray(low + at * (high - low))


@cache
def published_load(support: Support, height: float) -> tuple[float, str] | None:
    """What force plates read (% of body mass) with the hands ``height`` arm lengths over the
    feet, and the source; None where nothing is published near it."""
    text = files("formcheck.measures").joinpath("published_loads.toml").read_text("utf-8")
    rows = tomllib.loads(text)[support]
    height_m, heights_m = height * USUAL_ARM_M, rows["height_m"]
    if not heights_m[0] - 0.1 <= height_m <= heights_m[-1] + 0.1:
        return None
    return float(np.interp(height_m, heights_m, rows["percent"])), rows["source"]


def arm_loads(
    loads: Sequence[Mapping[str, Quantity]],
    variation: Variation,
    front: Look | None = None,
) -> list[dict[str, Quantity]]:
    """Per rep ``load_fraction_left`` and ``_right`` at the bottom, for one arm and archer sets.

    One arm bears what both would. An archer's parts come from frontal statics, see
    ``left_part``; without a front view they are not measured. Empty dicts for two arms.
    """
    work = variation.arm_work
    if variation.arms not in ("one", "archer"):
        return [{} for _ in loads]
    if variation.arms == "archer" and (front is None or len(front.reps) != len(loads)):
        unseen = not_measured("only a front view shows how far the body leans over each hand")
        return [{"load_fraction_left": unseen, "load_fraction_right": unseen} for _ in loads]
    split = []
    for i, load in enumerate(loads):
        both = load["load_fraction_bottom"]
        if variation.arms == "archer" and front is not None:
            left = left_part(front, front.reps[i])
        elif i < len(work.working) and work.working[i] is not None:
            left = Quantity(1.0 if work.working[i] == "left" else 0.0, 0.0)
        else:
            left = not_measured("which hand was on the floor does not show here")
        right = Quantity(1 - left.value, left.plus_minus, left.reason, left.view)
        split.append(
            {
                "load_fraction_left": _product(both, left),
                "load_fraction_right": _product(both, right),
            }
        )
    return split


def left_part(look: Look, rep: Rep) -> Quantity:
    """The left hand's part of what both hands carry, at the bottom, from the front.

    Moments about the long axis, the feet pressing under the middle of the body:
    left = (y_right - y_body) / (y_right - y_left), the body's middle between shoulders and hips.
    Feet off that line shift it, hence the wide interval.
    """
    front = look.signals
    near = np.abs(front.t_s - rep.bottom_s) <= 0.1
    px = front.points_px
    middle = np.mean(
        [px[f"{side}_{joint}"] for side in ("left", "right") for joint in ("shoulder", "hip")],
        axis=0,
    )[near, 0]
    left, right = px["left_wrist"][near, 0], px["right_wrist"][near, 0]
    part = (right - middle) / (right - left)
    if not np.isfinite(part).any():
        return not_measured("both hands, shoulders and hips were not seen at the bottom")
    return Quantity(float(np.clip(np.nanmedian(part), 0, 1)), 0.12, view="front")


def _product(load: Quantity, part: Quantity) -> Quantity:
    if not (load.known and part.known):
        return load if not load.known else part
    value = load.value * part.value
    spread = np.hypot(load.plus_minus * part.value, part.plus_minus * load.value)
    return Quantity(value, float(spread), view=load.view)


def _worn(prescription: Prescription, person: Person) -> tuple[float, float]:
    if not prescription.added_load_kg or person.body_mass_kg is None:
        return 0.0, 0.0
    place = WORN_AT[prescription.added_load_place or "back"]
    return prescription.added_load_kg / person.body_mass_kg, place


def _remarks(variation: Variation, prescription: Prescription, person: Person) -> tuple[str, ...]:
    remarks = [QUASI_STATIC]
    if variation.support == "knees":
        remarks.append(KNEES_BIAS)
    if variation.surface != "floor":
        remarks.append(RAISED_RANGE)
    if not prescription.added_load_kg and (beside := _published(variation)):
        remarks.append(beside)
    if prescription.added_load_kg and person.body_mass_kg is None:
        remarks.append("The added load is left out of the share: give the body mass to include it.")
    elif prescription.added_load_kg and prescription.added_load_place is None:
        remarks.append("The added load is taken to lie on the upper back.")
    if variation.arms == "one":
        remarks.append("The whole load is on one hand.")
    return tuple(remarks)


def _published(variation: Variation) -> str:
    """What plates read in this push-up, and why the set may read otherwise."""
    height = variation.surface_height
    if variation.support is None or variation.arms not in (None, "two") or not height.known:
        return ""
    found = published_load(variation.support, height.value)
    if found is None:
        return ""
    percent, source = found
    return (
        f"Published for this push-up: {percent:.0f} % ({source}). Hands under the shoulders carry "
        "more than that, hands set further toward the head less."
    )


def _mean(
    curve: LoadCurve, share: FloatArray, t_s: FloatArray, start_s: float, end_s: float
) -> Quantity:
    if curve.reason:
        return not_measured(curve.reason)
    within = share[(t_s >= start_s) & (t_s <= end_s)]
    if not np.isfinite(within).any():
        return not_measured("the whole body was not seen; keep hands, hips and feet in frame")
    return Quantity(float(np.nanmean(within)), curve.plus_minus, view=curve.view)


def _unknown(signals: Signals, reason: str) -> LoadCurve:
    empty = np.full(len(signals.t_s), np.nan)
    return LoadCurve(empty, empty, empty, float("nan"), reason=reason)
