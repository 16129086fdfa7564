from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from formcheck.cli import app
from formcheck.faults.limits import default_limits, read_limits


def test_what_is_printed_is_a_limits_file_that_changes_nothing(tmp_path: Path) -> None:
    printed = CliRunner().invoke(app, ["limits"])
    assert printed.exit_code == 0
    (tmp_path / "limits.toml").write_text(printed.output, encoding="utf-8")
    assert dict(read_limits(tmp_path / "limits.toml")) == dict(default_limits())


def test_changed_values_are_taken_and_the_rest_kept(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("[shallow]\nvalue = 100\n", encoding="utf-8")
    limits = read_limits(tmp_path / "mine.toml")
    assert limits["shallow"].value == 100
    assert limits["soft_lockout"] == default_limits()["soft_lockout"]
