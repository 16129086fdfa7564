"""``formcheck batch`` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from formcheck.batch import run as batch_run
from formcheck.cli import app
from tests.batch.folders import fill, working_here


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["batch", *map(str, arguments), "--workers", "1"])


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of another run; and no processes, which `tests/batch` and the wheel's test start."""
    monkeypatch.setattr(batch_run, "workers", working_here)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def test_piped_output_is_plain_lines_with_what_failed_and_what_to_do(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"anna/sag.parquet": "hip_sag_side"})
    (clips / "bo.mp4").write_text("not a video")
    result = run(clips, "--out", tmp_path / "out")
    assert result.exit_code == 5, result.output
    assert "[2/2] anna/sag: 6 of 6 counted" in result.stdout
    assert "bo.mp4 is not a video that can be read" in " ".join(result.stdout.split())
    assert f"Summary: {tmp_path / 'out' / 'summary.html'}" in result.stdout
    assert "\x1b" not in result.stdout and result.stderr == ""
    (clips / "bo.mp4").unlink()
    again = run(clips, "--out", tmp_path / "out", "--reps", "6")
    assert again.exit_code == 0 and "[1/1] anna/sag" in again.stdout
    assert "1 set is judged already" in run(clips, "--out", tmp_path / "out", "--reps", "6").stdout


def test_a_roster_is_written_to_fill_in_and_nothing_is_judged(tmp_path: Path) -> None:
    clips = fill(
        tmp_path / "clips",
        {"anna/mon_side.parquet": "clean_side", "anna/mon_front.parquet": "clean_front"},
    )
    result = run(clips, "--out", tmp_path / "out", "--write-roster", tmp_path / "roster.csv")
    assert result.exit_code == 0 and "2 clips to fill in" in result.stdout
    lines = (tmp_path / "roster.csv").read_text(encoding="utf-8-sig").splitlines()
    assert lines[0].startswith("clip,person,code,set,view,note,")
    assert lines[1].startswith("anna/mon_front.parquet,anna,,mon,")
    assert not (tmp_path / "out").exists()


def test_a_mistake_in_the_roster_is_told_before_anything_is_judged(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"a.parquet": "clean_side"})
    (tmp_path / "roster.csv").write_text("clip,tempo\nb.parquet,quick\n")
    result = run(clips, "--out", tmp_path / "out", "--roster", tmp_path / "roster.csv")
    assert result.exit_code == 2
    assert "row 2: tempo cannot be “quick”" in result.stderr
    assert "row 2: there is no clip “b.parquet”" in result.stderr
    assert not (tmp_path / "out/a").exists()


def test_codes_keep_who_is_who_beside_the_results(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"Rosalind/spring.parquet": "clean_side"})
    result = run(clips, "--out", tmp_path / "out", "--codes")
    assert result.exit_code == 0 and "Rosalind" not in result.stdout
    assert "Rosalind" in (tmp_path / "out.codes.csv").read_text()
    assert (tmp_path / "out/P01/01/report.html").exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--tempo", "fast"], "2-1-X-1"),
        (["--limits", "absent.toml"], "absent.toml"),
        (["--model", "huge"], "full or heavy"),
        (["--longest", "0"], "longest"),
    ],
)
def test_a_usage_mistake_gets_code_two(tmp_path: Path, options: list[str], said: str) -> None:
    clips = fill(tmp_path / "clips", {"a.parquet": "clean_side"})
    result = run(clips, "--out", tmp_path / "out", *options)
    assert result.exit_code == 2, result.output
    assert said in result.stderr


def test_a_whole_folder_or_one_clip_of_it_can_be_told_which_arms_work(tmp_path: Path) -> None:
    """A side view of an archer set does not show it."""
    archer = "coached/same_arm_archer_side"
    clips = fill(tmp_path / "clips", {"anna/a.parquet": archer, "anna/b.parquet": archer})
    out = tmp_path / "out"

    def told() -> list[tuple[str | None, int]]:
        found = [json.loads((out / name / "report.json").read_text()) for name in ("a", "b")]
        return [(one["variation"]["arms"], one["set"]["counted"]) for one in found]

    out = out / "anna"
    assert run(clips, "--out", out.parent).exit_code == 0
    assert told() == [(None, 0), (None, 0)]
    (tmp_path / "roster.csv").write_text("clip,arms,working_arm\nanna/b.parquet,archer,left\n")
    assert run(clips, "--out", out.parent, "--roster", tmp_path / "roster.csv").exit_code == 0
    assert told() == [(None, 0), ("archer", 4)]
    assert run(clips, "--out", out.parent, "--arms", "archer").exit_code == 0
    assert told() == [("archer", 4), ("archer", 4)]


@pytest.mark.parametrize("words", [(), ("--arms", "two")])
def test_a_working_arm_is_said_of_sets_in_which_one_works(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    (tmp_path / "clips").mkdir()
    result = run(tmp_path / "clips", *words, "--working-arm", "left")
    assert result.exit_code == 2 and "--arms archer or --arms one" in result.stderr
