"""Where programs keep what is theirs."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from formcheck import places


@pytest.mark.skipif(sys.platform != "linux", reason="the variables are those of Linux")
def test_folders_are_where_the_platform_has_them(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert places.cache_folder() == tmp_path / "cache" / "formcheck"
    assert places.data_folder() == tmp_path / "data" / "formcheck"


def test_nobody_at_home_has_no_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(os.path, "expanduser", lambda path: path)
    assert places.cache_folder() is None
