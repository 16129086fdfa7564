"""What a suggested limit is chosen for."""

from __future__ import annotations

from typing import Literal

# few-false: no stricter than the coach, 19 of 20 accusations right; balanced: the best F1;
# find-all: 19 of 20 faults called.
Preference = Literal["few-false", "balanced", "find-all"]
