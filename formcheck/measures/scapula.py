"""Scapular protraction at the top: why it is not judged.

Tried on the rendered sets: with straight elbows (above 165 degrees) their exact shoulders stay
where the arm alone puts them, within 0.05 % of the arm's length, so no set with a known push-out
exists to check a measure against. The tracked shoulder over the hand meanwhile errs by 0.4 to
1.3 cm (95 % range within a set), which is of the order of the push-out itself (two or three
centimetres, from memory), and the same centimetres appear when the trunk sags between the arms.
A number from this would be a guess.
"""

from __future__ import annotations

KEY = "protraction"
REASON = (
    "the push of the shoulder blades at the top is too small a movement to measure from a clip; "
    "look at the upper back yourself"
)
