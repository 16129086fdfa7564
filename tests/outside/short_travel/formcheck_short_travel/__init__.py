"""A worked example of adding to formcheck from another package: a measure and a fault.

The shoulders travel from the top to the bottom of a rep, whatever the elbows do. The value is in
arm lengths; its ± is twice that of a shoulder's height (made up for the example).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.faults.catalogue import FaultKind, add_fault
from formcheck.faults.limits import Limit
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures.values import RepValue, add_value
from formcheck.reps.find import Rep
from formcheck.reps.look import Look

TRAVEL = RepValue(
    key="shoulder_travel",
    label="Shoulder travel",
    unit="arm lengths",
    about="how far the shoulders come down from the top to the bottom of the rep",
    film="side",
    page="always",
)
SHORT_TRAVEL = FaultKind(
    key="short_travel",
    name="Short travel",
    judged="Travel of the shoulders",
    measure="shoulder_travel",
    side="below",
    at="bottom",
    part="arm",
    weighs="range",
    cost=2,
    what="The shoulders came down only a little.",
    why="Hips or head may reach the floor while the chest stays up.",
    cue="Chest to the floor, not the hips.",
    drill="Slow lowerings, chest first.",
    sign="M4 6H20M12 6V13M9 10 12 13 15 10",
    meant="M4 21H20",
)
LIMIT = Limit(
    value=0.45,
    unit="arm lengths",
    meaning="travel of the shoulders, at least",
    reason="nearly half an arm: what is left of it at a depth of 90 degrees",
    source="made up for the example",
    lowest=0.05,
    highest=1.0,
)


def shoulder_travel(look: Look, rep: Rep) -> Quantity:
    """Shoulder height at the top of the rep less that at its bottom, arm lengths."""
    t_s, height = look.signals.t_s, look.signals.shoulder_height
    inside = height[(t_s >= rep.start_s) & (t_s <= rep.top_s)]
    if not np.isfinite(inside).any():
        return not_measured("the shoulders were not seen")
    return Quantity(float(np.nanmax(inside) - np.nanmin(inside)), 0.06, view=look.view.kind)


def register() -> None:
    """Called once by formcheck, by the entry point in pyproject.toml."""
    add_value(replace(TRAVEL, measure=shoulder_travel))
    add_fault(SHORT_TRAVEL, LIMIT)
