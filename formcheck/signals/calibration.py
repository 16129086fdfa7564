"""What was set from clips with exact truth: where landmarks lie, and how far values err.

All of it stands in `calibration.toml`, which `python -m tests.truth.calibrate` writes; nothing in
it is set by hand. Each entry says how many bodies it rests on.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.maths.quantity import Quantity, not_measured

NEAR_AND_FAR = ("near", "far")
KNEELING = "kneeling"  # the near leg of who is on the knees
MIDDLE_BEND = 0.55  # of 90 degrees, between a straight arm and a deep one
_NO_CHANGE = 0.001  # sd of how offsets change with the bend where no clip told, arm lengths
USUAL_MISFIT = 0.65  # of landmarks with one body, over a set
ONE_BODY = 2.0  # misfit, beyond which landmarks do not belong to one body
NOT_ONE_BODY = (
    "the points seen do not fit one body, so its angles are not told; film with the whole body in "
    "the light and nothing before it"
)


@dataclass(frozen=True)
class Landmarks:
    """Where landmarks lie beside their joints, in arm lengths, along each joint's own axes.

    Rows as ``body_model.LANDMARKS``: mean with straight arms and its change per 90 degrees of
    bend (14, 3); sd between bodies, and within one set from moment to moment (14,).
    ``between`` (56, 56) how the means in the picture of one body (14 landmarks x, y) and their
    changes per 90 degrees of bend about ``MIDDLE_BEND`` go together; ``within`` (28, 28) the same
    of what is left at one moment.
    """

    straight: FloatArray
    bending: FloatArray
    own_sd: FloatArray
    moving_sd: FloatArray
    between: FloatArray
    within: FloatArray


@dataclass(frozen=True)
class Doubt:
    """How a value of one quantity and view errs: ``bias`` on average, and one half-width (95 %).

    The half-width of a value whose own fit doubts it by ``sd`` is
    ``widen`` · hypot(``share`` · sd, ``least``) · (1 + ``strange`` · misfit beyond usual).
    """

    bias: float = 0.0
    share: float = 1.0
    least: float = 0.0
    strange: float = 0.0
    widen: float = 1.96

    def half_width(self, sd: float, misfit: float) -> float:
        """95 % half-width of a value that its own fit doubts by ``sd``."""
        strange = 1.0 + self.strange * max(misfit - USUAL_MISFIT, 0.0)
        return self.widen * math.hypot(self.share * sd, self.least) * strange


@dataclass(frozen=True)
class Calibration:
    landmarks: Mapping[str, Mapping[str, Mapping[str, object]]]
    doubts: Mapping[str, Mapping[str, Doubt]]
    spreads: Mapping[str, Mapping[str, Mapping[str, object]]] = field(default_factory=dict)


_IN_USE: ContextVar[Calibration | None] = ContextVar("calibration", default=None)


@cache
def shipped() -> Calibration:
    text = files("formcheck.signals").joinpath("calibration.toml").read_text(encoding="utf-8")
    return from_toml(text)


def from_toml(text: str) -> Calibration:
    """The calibration that a file's ``text`` holds."""
    raw = tomllib.loads(text)
    names = Doubt.__dataclass_fields__
    doubts = {
        view: {
            name: Doubt(**{key: float(entry[key]) for key in names if key in entry})
            for name, entry in by_name.items()
        }
        for view, by_name in raw["doubts"].items()
    }
    return Calibration(raw["landmarks"], doubts, raw["spreads"])


@contextmanager
def using(calibration: Calibration) -> Iterator[None]:
    """Within this, another calibration is in use: one made without some bodies, to try it there."""
    token = _IN_USE.set(calibration)
    try:
        yield
    finally:
        _IN_USE.reset(token)


def in_use() -> Calibration:
    return _IN_USE.get() or shipped()


def landmarks_of(kind: str, names: tuple[str, ...], kneeling: bool = False) -> Landmarks:
    """The landmarks ``names`` as a view of this ``kind`` shows them, the near side left.

    ``kneeling``: of a set on the knees, whose near leg is seen from another side. Where no clip
    told how they go together, each is by itself.
    """
    table = in_use().landmarks
    rows = []
    for name in names:
        side, joint = name.split("_", 1)
        seen = "front" if kind == "front" else NEAR_AND_FAR[side == "right"]
        of_knees = table.get(KNEELING, {}) if kneeling and seen == "near" else {}
        rows.append(of_knees.get(joint) or table[seen][joint])
    straight, bending, own_sd, moving_sd = (
        np.array([row[key] for row in rows], dtype=float)
        for key in ("straight", "bending", "own_sd", "moving_sd")
    )
    spread = in_use().spreads.get("front" if kind == "front" else "side")
    if spread is None:
        own, alone = np.repeat(own_sd**2, 2), np.full(2 * len(names), _NO_CHANGE**2)
        between, within = np.diag(np.concatenate([own, alone])), np.diag(np.repeat(moving_sd**2, 2))
    else:
        between, within = _covariance(spread["between"]), _covariance(spread["within"])
    return Landmarks(straight, bending, own_sd, moving_sd, between, within)


def _covariance(of: Any) -> FloatArray:
    """(D, D) from the ``sd`` (D,) and the loadings (D, F) of few common ``factors``."""
    sd, factors = np.array(of["sd"], dtype=float), np.array(of["factors"], dtype=float)
    together = factors @ factors.T
    np.fill_diagonal(together, 1.0)
    return np.asarray(together * np.outer(sd, sd))


def doubt_of(name: str, kind: str) -> Doubt:
    """How ``name`` errs from this view; as the fit says where no clip told."""
    return in_use().doubts.get(kind, {}).get(name, Doubt())


def stated(
    name: str, kind: str, value: float, sd: float, misfit: float, at_s: float | None = None
) -> Quantity:
    """A measured ``value`` without its usual bias and with its 95 % half-width.

    An angle is not told where the landmarks fit no one body; what moves still moves when it does.
    """
    if misfit > ONE_BODY and not name.endswith("_s"):
        return not_measured(NOT_ONE_BODY)
    doubt = doubt_of(name, kind)
    return Quantity(value - doubt.bias, doubt.half_width(sd, misfit), view=kind, at_s=at_s)
