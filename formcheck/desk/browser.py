"""The browser that is there, if one is."""

from __future__ import annotations

import contextlib
import os
import sys
import webbrowser


def open_page(address: str) -> bool:
    """Open an address in the browser; False where nothing was opened.

    Where no window can be shown, none is tried: a browser that runs in the terminal would take it
    over.
    """
    if sys.platform not in ("darwin", "win32") and not any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")
    ):
        return False
    with contextlib.suppress(Exception):  # whatever a browser does, the address is shown
        return webbrowser.open(address)
    return False
