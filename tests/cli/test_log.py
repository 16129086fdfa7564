"""``formcheck log``: what a person sees of their weeks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from formcheck.cli import app
from formcheck.log.entry import SetEntry
from formcheck.log.store import changing, last_good_copy, open_log, put_set, sets_of
from tests.log.made_up import entry, write_report


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(one) for one in arguments])


def said(result: Result) -> str:
    assert result.exit_code == 0, result.output
    return " ".join(result.stdout.replace("\u00a0", " ").split())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


def fill(path: Path, sets: Sequence[SetEntry]) -> None:
    with open_log(path, write=True) as log, changing(log, path):
        for one in sets:
            put_set(log, one)


def deeper(count: int = 10) -> list[SetEntry]:
    return [entry(3.0 * n, elbow_bottom_deg=98.0 - 2.0 * n + n % 2) for n in range(count)]


def test_show_lists_the_sets_asked_for(path: Path) -> None:
    fill(path, [entry(0), entry(9, direction="harder", added_load_kg=5.0), entry(5, person="ben")])
    everyone = said(run("log", "show", "--log", path))
    assert "ana 2026-03-02 floor 7/8 82 172 3" in everyone
    assert "ben 2026-03-07" in everyone
    mine = said(run("log", "show", "--log", path, "--person", "Ana", "--since", "2026-03-05"))
    assert "2026-03-11 floor, 5 kg added" in mine
    assert "earned" in mine
    assert "ben" not in mine and "2026-03-02" not in mine


def test_trend_says_what_is_real_of_one_variation_only(path: Path) -> None:
    knees = [entry(40.0 + n, variation="floor, on the knees") for n in range(3)]
    fill(path, [*deeper(), *knees])
    latest = said(run("log", "trend", "--log", path))
    assert "ana: floor, on the knees, 3 sets on 3 days" in latest
    assert "a trend needs 6 days" in latest
    floor = said(run("log", "trend", "--log", path, "--variation", "floor"))
    assert "10 sets on 10 days, 2026-03-02 to 2026-03-29" in floor
    assert "Elbow at the bottom 98° 81° deeper by 18° ± 7° real" in floor
    assert "Elbow at the top 172° 172° unchanged, 0° ± 7° within the error" in floor


def test_it_asks_whose_trend_where_there_are_several(path: Path) -> None:
    fill(path, [entry(0), entry(1, person="ben")])
    result = run("log", "trend", "--log", path)
    assert result.exit_code == 2
    assert "there are ana, ben" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (("show", "--person", "carla"), "“carla” is not in the log: there are ana."),
        (("show", "--since", "2030-01-01"), "no set since 2030-01-01"),
        (("trend", "--variation", "rings"), "No set of “rings”: there are “floor”."),
        (("show", "--since", "soon"), "write 2026-09-01"),
        (("export", "log.txt"), "ends in .csv or .jsonl"),
        (("rebuild", "nowhere"), "is not a folder"),
    ],
)
def test_what_is_not_there_is_told_in_one_sentence(
    path: Path, arguments: tuple[str, ...], what: str
) -> None:
    fill(path, [entry(0)])
    result = run("log", *arguments, "--log", path)
    assert result.exit_code == 2
    assert what in " ".join(result.stderr.replace("│", " ").split())
    assert "Traceback" not in result.output


def test_page_is_written_where_it_was_asked_for(path: Path, tmp_path: Path) -> None:
    fill(path, deeper())
    assert "ana.html" in said(run("log", "page", "--log", path, "--out", tmp_path / "ana.html"))
    assert "Deeper by" in (tmp_path / "ana.html").read_text(encoding="utf-8")


def test_rebuild_makes_the_log_from_reports(path: Path, tmp_path: Path) -> None:
    write_report(tmp_path / "r" / "one", "1" * 64)
    nobody = run("log", "rebuild", tmp_path / "r", "--log", path)
    assert "names no person" in nobody.stdout
    assert "1 set from" in said(run("log", "rebuild", tmp_path / "r", "--person", "ana",
                                    "--log", path))  # fmt: skip
    with open_log(path) as log:
        assert [one.person for one in sets_of(log)] == ["ana"]


def test_export_and_import_move_a_log(path: Path, tmp_path: Path) -> None:
    fill(path, deeper())
    file = tmp_path / "out.jsonl"
    said(run("log", "export", file, "--log", path))
    again = run("log", "export", file, "--log", path)
    assert again.exit_code == 2 and "--overwrite" in again.stderr
    other = tmp_path / "other.sqlite"
    assert "10 sets of 1 people" in said(run("log", "import", file, "--log", other))
    with open_log(path) as one, open_log(other) as two:
        assert sets_of(one) == sets_of(two)
    assert json.loads(run("log", "schema").stdout)["title"]


def test_a_damaged_log_is_told_and_restored(path: Path) -> None:
    fill(path, deeper())
    said(run("person", "set", "ana", "--stature", "168", "--log", path))
    path.write_bytes(b"\xa5" * path.stat().st_size)
    result = run("log", "show", "--log", path)
    assert result.exit_code == 2
    assert "damaged" in result.stderr and "formcheck log restore" in result.stderr
    assert str(last_good_copy(path)) in said(run("log", "restore", "--log", path))
    assert "2026-03-02" in said(run("log", "show", "--log", path))


def test_the_log_lies_in_the_platforms_data_folder_unless_told(tmp_path: Path) -> None:
    fill(tmp_path / "formcheck" / "log.sqlite", [entry(0)])
    shown = subprocess.run(
        [sys.executable, "-c", "from formcheck.cli import app; app()", "log", "show"],
        env={**os.environ, "XDG_DATA_HOME": str(tmp_path)}, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert "2026-03-02" in shown.stdout


def test_looking_at_the_log_loads_nothing_of_pictures_or_tables() -> None:
    loaded = subprocess.run(
        [sys.executable, "-c",
         "import sys, formcheck.cli, formcheck.log.store, formcheck.log.change, "
         "formcheck.log.next_step; print(*sys.modules)"],
        capture_output=True, text=True, check=True,
    ).stdout.split()  # fmt: skip
    heavy = {"cv2", "pandas", "scipy", "matplotlib", "mediapipe", "av", "pyarrow", "jinja2"}
    assert heavy.isdisjoint(loaded)
