"""A sign for each fault, drawn on a 24 × 24 field with 2-wide strokes.

Each shows what went wrong against a rail or a line, so that it reads without its name. Values
are SVG path data; ``DASHED`` is where it should have gone, drawn dashed.
"""

from __future__ import annotations

SIGNS: dict[str, str] = {
    "shallow": "M4 21H20M12 3V11M8.5 7.5 12 11 15.5 7.5",
    "soft_lockout": "M4 3H20M12 21V13M8.5 16.5 12 13 15.5 16.5",
    "hip_sag": "M2 7Q12 27 22 7",
    "hip_pike": "M2 18 12 4 22 18",
    "elbow_flare": "M12 3V21M12 8H3V3M12 8H21V3",
    "rushed_eccentric": "M6 3 12 9 18 3M6 9 12 15 18 9M6 15 12 21 18 15",
    "slow_eccentric": "M12 2V14M7 10 12 15 17 10M5 20H8M11 20H14M17 20H20",
    "short_bottom_pause": "M4 21H20M9 5V15M15 5V15M4 15 20 5",
    "short_top_pause": "M4 3H20M9 9V19M15 9V19M4 19 20 9",
    "slow_concentric": "M12 22V9M7 13 12 8 17 13M5 3H8M11 3H14M17 3H20",
    "uneven_arms": "M5 21V6M19 21V14M2 5 22 15",
    "hand_spacing": "M4 4V20M20 4V20M7 12H17M10 9 7 12 10 15M14 9 17 12 14 15",
    "head_drop": "M2 8H15M20 17A3.5 3.5 0 1 1 13 17A3.5 3.5 0 1 1 20 17",
    "hips_late": "M6 21V4M2.5 7.5 6 4 9.5 7.5M18 21V14M14.5 17.5 18 14 21.5 17.5",
    "aborted": "M7 3V12A5 5 0 0 0 17 12V6M13.5 9.5 17 6 20.5 9.5",
}
DASHED: dict[str, str] = {
    "shallow": "M12 13V19",
    "soft_lockout": "M12 5V11",
    "hip_sag": "M2 7H22",
    "hip_pike": "M2 18H22",
    "uneven_arms": "M19 13V6",
    "head_drop": "M15 8H22",
    "hips_late": "M18 13V4",
    "aborted": "M2 21H22",
}
UNKNOWN = "M12 4V14M12 19V20"


def sign(key: str) -> str:
    """Path data of a fault's sign."""
    return SIGNS.get(key, UNKNOWN)


def dashed(key: str) -> str:
    """Path data of what was meant, or nothing."""
    return DASHED.get(key, "")
