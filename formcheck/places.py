"""Where programs keep what is theirs, as each platform has it."""

from __future__ import annotations

from pathlib import Path

import platformdirs


def cache_folder() -> Path | None:
    """What only saves time; None where nobody is at home, as in many containers."""
    try:
        folder = platformdirs.user_cache_path("formcheck", appauthor=False)
    except RuntimeError:
        return None
    return folder if folder.is_absolute() else None


def data_folder() -> Path:
    """What is kept: the log, and what was put on the desk."""
    return platformdirs.user_data_path("formcheck", appauthor=False)
