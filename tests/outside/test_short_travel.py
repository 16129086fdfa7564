"""A package with an entry point adds a measure and a fault, and both show everywhere."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pandas as pd
import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
EXAMPLE = HERE / "short_travel"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the example lies as pip would leave it: the package and its metadata."""
    place = tmp_path_factory.mktemp("site")
    project = tomllib.loads((EXAMPLE / "pyproject.toml").read_text("utf-8"))["project"]
    shutil.copytree(EXAMPLE / "formcheck_short_travel", place / "formcheck_short_travel")
    about = place / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
    about.mkdir()
    (about / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    )
    entries = "".join(f"{k} = {v}\n" for k, v in project["entry-points"]["formcheck"].items())
    (about / "entry_points.txt").write_text(f"[formcheck]\n{entries}")
    return place


def formcheck(site: Path, *words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join([str(site), str(ROOT)])
    return subprocess.run(
        [sys.executable, "-c", "from formcheck.cli import app; app()", *map(str, words)],
        cwd=cwd, env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True,
        check=False, timeout=300,
    )  # fmt: skip


@pytest.fixture(scope="module")
def judged(installed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where a set was judged, entered in a log, with the package installed."""
    place = tmp_path_factory.mktemp("judged")
    limits = place / "mine.toml"
    limits.write_text("[short_travel]\nvalue = 0.95\n", encoding="utf-8")
    done = formcheck(
        installed, "set", ROOT / "tests/data/hip_sag_side.parquet", "--out", place / "set",
        "--limits", limits, "--person", "A1", "--log", place / "log.sqlite", cwd=place,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Short travel" in done.stdout or "short travel" in done.stdout
    return place


def test_it_is_in_the_report_its_limit_too(judged: Path) -> None:
    report = json.loads((judged / "set/report.json").read_text("utf-8"))
    assert {fault["key"] for fault in report["faults"]} >= {"short_travel"}
    assert all(0.2 < rep["shoulder_travel"] < 0.9 for rep in report["reps"])
    assert report["limits"]["short_travel"] == 0.95


def test_it_is_on_the_page_and_in_the_table(judged: Path) -> None:
    page = (judged / "set/report.html").read_text("utf-8")
    assert "Short travel" in page and "Shoulder travel" in page
    assert "The shoulders came down only a little." in page
    table = pd.read_csv(judged / "set/reps.csv")
    assert table["shoulder_travel"].notna().all()


def test_its_limit_is_listed_and_judged_again(installed: Path, judged: Path) -> None:
    assert "[short_travel]" in formcheck(installed, "limits", cwd=judged).stdout
    mild = judged / "mild.toml"
    mild.write_text("short_travel = 0.1\n", encoding="utf-8")
    said = formcheck(installed, "again", "set", "--limits", mild, cwd=judged).stdout
    assert "1 of 1 sets judged otherwise" in said and "short travel" in said


def test_it_is_in_a_batch(installed: Path, judged: Path) -> None:
    (judged / "clips").mkdir()
    shutil.copy(ROOT / "tests/data/clean_side.parquet", judged / "clips/clean_side.parquet")
    limits = judged / "mine.toml"
    done = formcheck(installed, "batch", "clips", "--out", "many", "--limits", limits, cwd=judged)
    assert done.returncode == 0, done.stderr + done.stdout
    assert "short_travel" in (judged / "many/summary.csv").read_text("utf-8")


def test_it_is_in_the_log(installed: Path, judged: Path) -> None:
    log = judged / "log.sqlite"
    done = formcheck(installed, "log", "export", judged / "log.jsonl", "--log", log, cwd=judged)
    assert done.returncode == 0, done.stderr
    assert "short_travel" in (judged / "log.jsonl").read_text("utf-8")


def test_without_the_package_nothing_of_it_is_known(judged: Path, tmp_path: Path) -> None:
    plain = formcheck(tmp_path, "limits", cwd=judged)
    assert plain.returncode == 0 and "short_travel" not in plain.stdout


def test_a_package_that_fails_is_named_in_one_sentence(installed: Path, tmp_path: Path) -> None:
    broken = tmp_path / "site"
    shutil.copytree(installed, broken)
    (broken / "formcheck_short_travel/__init__.py").write_text("raise RuntimeError('no luck')\n")
    done = formcheck(broken, "limits", cwd=tmp_path)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert "formcheck-short-travel" in done.stderr and "pip uninstall" in done.stderr
