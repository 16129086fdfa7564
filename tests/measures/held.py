"""Holds at the top posed by hand: straight arms, and a body line that the test draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from formcheck.maths.arrays import FloatArray
from formcheck.measures.plank import plank
from formcheck.reps.look import Look
from formcheck.signals.view import View
from tests.measures.handmade import SIDE, look_at
from tests.measures.posed import posed_signals

LOCKED_DEG = 170.0


def held(line_deg: FloatArray, view: View = SIDE, elbow_deg: float = LOCKED_DEG) -> Look:
    """A look at a hold of 30 samples a second whose hips leave the line by ``line_deg`` (M,)."""
    signals = posed_signals(plank(reach=0.0), seconds=len(line_deg) / 30, body_line_deg=line_deg)
    elbows = np.full(len(line_deg), elbow_deg)
    return look_at(replace(signals, elbow_deg=elbows), view, reps=())
