from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from formcheck.cli import app
from formcheck.errors import Exit
from formcheck.faults.limit_sets import limit_sets
from formcheck.faults.limits import default_limits, read_limits


def said(*words: str, exit_code: int = 0) -> str:
    result = CliRunner().invoke(app, ["limits", *words])
    assert result.exit_code == exit_code, result.output
    return result.output


def test_what_is_printed_is_a_limits_file_that_changes_nothing(tmp_path: Path) -> None:
    (tmp_path / "limits.toml").write_text(said(), encoding="utf-8")
    assert dict(read_limits(tmp_path / "limits.toml")) == dict(default_limits())


def test_with_a_file_it_says_what_is_in_force_and_what_differs(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("[shallow]\nvalue = 100\n", encoding="utf-8")
    printed = said("--limits", str(tmp_path / "mine.toml"))
    assert (
        "#   shallow 100 deg instead of 90" in printed and "value = 100.0  # default 90" in printed
    )
    (tmp_path / "again.toml").write_text(printed, encoding="utf-8")
    assert read_limits(tmp_path / "again.toml")["shallow"].value == 100
    assert "hip_sag" not in said("--changed", "--limits", str(tmp_path / "mine.toml"))


def test_a_set_that_ships_is_given_by_its_name() -> None:
    assert "# In force: strict." in said("--limits", "strict")


def test_check_tells_every_problem_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        '# mine\n[hip_sagg]\nvalue = 8\n\n[shallow]\nunit = "rad"\nvalue = 1.6\n', "utf-8"
    )
    lines = said("check", str(path), exit_code=Exit.USAGE).splitlines()
    assert [line.split(": ")[0].rsplit(":", 1)[1] for line in lines] == ["2", "6", "7"]
    assert "hip_sagg" in lines[0] and "not in “rad”" in lines[1] and "between 45" in lines[2]


def test_check_finds_nothing_wrong_with_the_sets_that_ship() -> None:
    for name in limit_sets():
        assert "nothing wrong" in said("check", name)


def test_sets_are_listed_with_what_they_are_for() -> None:
    listed = said("sets")
    assert all(one.title in listed and one.source in listed for one in limit_sets().values())
