"""What every command has in common: it is listed by its own words, and loaded when asked for."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from formcheck.cli import COMMANDS, app, command_of

DATA = Path(__file__).parents[1] / "data"
SIDE, FRONT = DATA / "flared_pair_side.parquet", DATA / "flared_pair_front.parquet"
LISTED = (
    "import atexit, sys; atexit.register(lambda: print(*sorted(sys.modules), file=sys.stderr)); "
    "from formcheck.cli import app; app()"
)


def loaded_by(*words: str) -> set[str]:
    """The modules that a command has imported when it ends."""
    run = subprocess.run(
        [sys.executable, "-c", LISTED, *words], capture_output=True, text=True, check=True
    )
    return set(run.stderr.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_is_listed_with_the_first_sentence_of_its_own_help(name: str) -> None:
    assert " ".join((command_of(name).help or "").split()).startswith(COMMANDS[name][1])


@pytest.mark.parametrize("word", ["--help", "--version"])
def test_help_and_version_load_no_library_but_that_of_the_command_line(word: str) -> None:
    loaded = loaded_by(word)
    own = {name for name in loaded if name.split(".")[0] == "formcheck"}
    assert {name.split(".")[1] for name in own - {"formcheck"}} == {"cli", "errors", "plain"}
    assert not loaded & {"numpy", "rich", "av", "scipy", "pandas", "pyarrow", "jinja2"}


@pytest.mark.parametrize("tracks", [(SIDE,), (SIDE, FRONT)])
def test_saved_tracks_are_judged_without_the_libraries_that_take_long_to_load(
    tracks: tuple[Path, ...], tmp_path: Path
) -> None:
    loaded = loaded_by("set", *map(str, tracks), "--out", str(tmp_path / "report"))
    assert (tmp_path / "report" / "report.html").exists() and "numpy" in loaded
    slow = {"scipy", "matplotlib", "pandas", "PIL", "av", "cv2", "mediapipe", "multiprocessing"}
    assert not loaded & slow


def test_a_misspelt_command_is_answered_with_the_one_that_was_meant() -> None:
    answer = CliRunner().invoke(app, ["sett", "clip.mp4"])
    assert answer.exit_code == 2
    assert "set" in answer.output.partition("Did you mean")[2]
