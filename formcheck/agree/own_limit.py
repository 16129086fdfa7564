"""The limit that a coach holds, told from their verdicts and from how well each value is known.

A verdict is a measurement too: the coach sees the rep, the tool the value, and the value may be
off. With a limit L, a value v with the stated half-width w, an error that all reps of a set share
and one of their own, the chance of a yes is that of the true value lying beyond L. The limit that
makes the verdicts most likely is the coach's; where verdicts leave room, the interval is wide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from formcheck.agree.coefficients import Estimate
from formcheck.maths.arrays import BoolArray, FloatArray

_PER_HALF_WIDTH = 1.96  # standard deviations in the half-width of a 95 % interval
# Errors may be larger than stated: how many times, each as likely as the next, shares falling
# with size. Assumed.
_SCALES = np.array([1.0, 1.6, 2.5, 4.0])
# Share of an error's variance that the reps of one set have in common (a body's own landmarks).
# Not known, so all are tried. Assumed.
_SHARED = np.array([0.2, 0.5, 0.8])
# Verdicts that are slips of the pen or of attention. Assumed.
_SLIPS = 0.02
# Sets that are measured wrongly altogether (the wrong person, an arm behind the body): what is said
# of them tells nothing of the limit. Assumed.
_LOST = 0.1
# What all sets together may be off by, in standard deviations of one value: all that is stated,
# for landmarks are placed on every body by the same model, and where bodies are seldom found the
# priors pull every value one way. Verdicts, however many, do not tell that from another limit. On
# rendered clips soft elbows read 1.4 of them too straight, sagging hips 0.8 too high
# (tests/truth/known_limit.py, on which this was set).
_COMMON = 1.0
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


@dataclass(frozen=True)
class Evidence:
    """Log-likelihood (S, G, P) of each set's verdicts at each of the ``values`` (G,) of a limit,
    for each way the errors may be (P)."""

    values: FloatArray
    of_set: FloatArray
    half_width: float


def evidence(
    measured: FloatArray,
    half_width: FloatArray,
    said: BoolArray,
    of_set: npt.NDArray[np.int_],
    values: FloatArray,
) -> Evidence:
    """What verdicts ``said`` (K,) on ``measured`` (K,) ± ``half_width`` (K,) tell of a limit.

    Yes is for values above the limit. ``of_set`` (K,) numbers the sets 0 … S − 1.
    """
    sets = int(of_set.max()) + 1
    sigma = half_width / _PER_HALF_WIDTH
    out = np.empty((sets, len(values), len(_SCALES) * len(_SHARED)))
    ways = [(scale, shared) for scale in _SCALES for shared in _SHARED]
    for place, (scale, shared) in enumerate(ways):
        common = _NODES * float(np.median(sigma)) * scale * np.sqrt(shared)
        own = sigma * scale * np.sqrt(1 - shared)
        beyond = measured[:, None, None] - values[:, None] - common
        yes = _SLIPS + (1 - 2 * _SLIPS) * ndtr(beyond / own[:, None, None])
        each = np.log(np.where(said[:, None, None], yes, 1 - yes))
        together = np.zeros((sets, len(values), len(common)))
        np.add.at(together, of_set, each)
        most = together.max(axis=2, keepdims=True)
        mean = (np.exp(together - most) * _WEIGHTS).sum(axis=2) / _WEIGHTS.sum()
        out[:, :, place] = most[:, :, 0] + np.log(mean)
    usual = np.clip(said.mean(), 0.01, 0.99)
    lost = np.bincount(of_set, np.log(np.where(said, usual, 1 - usual)), sets)
    out = np.logaddexp(np.log(1 - _LOST) + out, np.log(_LOST) + lost[:, None, None])
    return Evidence(values, out, float(np.median(half_width)))


def own_limit(found: Evidence, chosen: npt.NDArray[np.int_] | None = None) -> Estimate:
    """Median and 95 % interval of the limit, by the sets ``chosen`` (all unless told).

    Every value of the limit is taken for as likely as any other before the verdicts are seen.
    """
    of_set = found.of_set if chosen is None else found.of_set[chosen]
    total = of_set.sum(axis=0) - np.repeat(np.log(_SCALES), len(_SHARED))
    share = np.exp(total - total.max()).sum(axis=1)
    sigma = _COMMON * found.half_width / _PER_HALF_WIDTH
    spread = np.exp(-0.5 * ((found.values[:, None] - found.values[None, :]) / sigma) ** 2)
    share = (spread / spread.sum(axis=0)) @ share
    reached = np.cumsum(share) / share.sum()
    low, middle, high = np.interp((0.025, 0.5, 0.975), reached, found.values)
    return Estimate(float(middle), float(low), float(high))
