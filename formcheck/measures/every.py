"""Everything that is measured on a rep, by the name it has in the report, and from which view."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np

from formcheck.asked.person import Person
from formcheck.maths.quantity import Quantity
from formcheck.measures.bodyline import BodyLine, hip_deviation, hip_deviation_change
from formcheck.measures.depth import (
    bend_share,
    elbow_bottom,
    elbow_top,
    shoulder_height_bottom,
    upper_arm_bottom,
)
from formcheck.measures.flare import elbow_flare, elbow_flare_left, elbow_flare_right
from formcheck.measures.flight import flight
from formcheck.measures.hands import hand_spacing
from formcheck.measures.head import head_angle
from formcheck.measures.load import (
    LoadCurve,
    load_fraction,
    load_fraction_bottom,
    load_fraction_high,
    load_fraction_low,
    load_fraction_top,
)
from formcheck.measures.speed import (
    hips_lag,
    in_metres,
    mean_concentric_speed,
    peak_concentric_speed,
)
from formcheck.measures.sticking import pressed_up, sticking_elbow, sticking_height
from formcheck.measures.symmetry import shoulders_apart, symmetry
from formcheck.measures.timing import bottom_pause, concentric, eccentric, top_pause
from formcheck.measures.values import Measure, rep_values
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

# From the first look that shows it; the side comes first.
_PLAIN: dict[str, Measure] = {
    "eccentric_s": eccentric,
    "bottom_pause_s": bottom_pause,
    "concentric_s": concentric,
    "top_pause_s": top_pause,
    "bend_share_percent": bend_share,
    "head_angle_deg": head_angle,
    "hips_lag_s": hips_lag,
    "elbow_flare_left_deg": elbow_flare_left,
    "elbow_flare_right_deg": elbow_flare_right,
    "hand_spacing_ratio": hand_spacing,
    "symmetry_deg": symmetry,
    "shoulder_unevenness": shoulders_apart,
    "sticking_height_percent": sticking_height,
    "pressed_up_percent": pressed_up,
}
_SPEEDS: Mapping[str, Measure] = {
    "mean_concentric_speed": mean_concentric_speed,
    "peak_concentric_speed": peak_concentric_speed,
}
# Both views show it: the one that is usually surer over the whole set comes first.
_FROM_THE_SURER: Mapping[str, Measure] = {
    "upper_arm_bottom_deg": upper_arm_bottom,
    "shoulder_height_bottom": shoulder_height_bottom,
    "elbow_flare_deg": elbow_flare,
}
# The elbow's values come from one look, whose curve is drawn: the surer of all of them together.
_OF_THE_ELBOW: Mapping[str, Measure] = {
    "elbow_bottom_deg": elbow_bottom,
    "elbow_top_deg": elbow_top,
    "flight_s": flight,
    "sticking_elbow_deg": sticking_elbow,
}
_RANGE = ("elbow_bottom_deg", "elbow_top_deg")
# These need what the whole set shows: its line, its load.
_OF_THE_LINE = {
    "hip_deviation_deg": hip_deviation,
    "hip_deviation_change_deg": hip_deviation_change,
}
_OF_THE_LOAD = {
    "load_fraction": load_fraction,
    "load_fraction_low": load_fraction_low,
    "load_fraction_high": load_fraction_high,
    "load_fraction_top": load_fraction_top,
    "load_fraction_bottom": load_fraction_bottom,
}


def measure_reps(
    looks: Sequence[Look], body: Look, line: BodyLine, load: LoadCurve, person: Person
) -> list[dict[str, Quantity]]:
    """Every value of every rep, by name; ``looks`` in the order in which they are believed.

    ``body`` is the look that ``line`` and ``load`` were read from.
    """
    out: list[dict[str, Quantity]] = [{} for _ in body.reps]
    plain: dict[str, Measure] = {
        **_PLAIN,
        **{name: partial(_in_metres, speed, person) for name, speed in _SPEEDS.items()},
    }
    for name, measure in plain.items():
        _take(out, name, [_of_each_rep(measure, look) for look in looks])
    of_line = {name: partial(of, line=line) for name, of in _OF_THE_LINE.items()}
    of_load = {name: partial(of, load=load) for name, of in _OF_THE_LOAD.items()}
    bound: dict[str, Measure] = {**of_line, **of_load}
    for name, measure in bound.items():
        _take(out, name, [_of_each_rep(measure, body)])
    added = {key: value.measure for key, value in rep_values().items() if value.measure}
    for name, measure in {**_FROM_THE_SURER, **added}.items():
        seen = [_of_each_rep(measure, look) for look in looks]
        _take(out, name, sorted(seen, key=_usual_doubt))
    of_looks = [
        {name: _of_each_rep(measure, look) for name, measure in _OF_THE_ELBOW.items()}
        for look in looks
    ]
    of_looks.sort(key=lambda of: sum(_usual_doubt(of[name]) for name in _RANGE))
    for name in _OF_THE_ELBOW:
        _take(out, name, [of[name] for of in of_looks])
    return out


def _of_each_rep(measure: Measure, look: Look) -> list[Quantity]:
    return [measure(look, rep) for rep in look.reps]


def _in_metres(measure: Measure, person: Person, look: Look, rep: Rep) -> Quantity:
    return in_metres(measure(look, rep), person)


def _take(out: Sequence[dict[str, Quantity]], name: str, seen: Sequence[list[Quantity]]) -> None:
    """Each rep's value from the first look that knows it, else the reason of one that might."""
    might = next((i for i, values in enumerate(seen) if any(q.known for q in values)), 0)
    for values, choice in zip(out, zip(*seen, strict=True), strict=True):
        values[name] = next((q for q in choice if q.known), choice[might])


def _usual_doubt(quantities: Sequence[Quantity]) -> float:
    known = [q.plus_minus for q in quantities if q.known]
    return float(np.median(known)) if known else float("inf")
