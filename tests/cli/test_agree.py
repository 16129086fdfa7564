"""``formcheck agree``: from labels and report folders to a page."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

import formcheck
from formcheck.cli import app
from formcheck.clip.read import probe
from formcheck.errors import Exit

ROOT = Path(__file__).parents[2]
HEAD = "set,rep,fault,verdict,who,when\n"


@pytest.fixture(scope="module")
def sets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One report with its annotated clip, one from a pose track alone."""
    place = tmp_path_factory.mktemp("sets")
    judged = formcheck.judge(ROOT / "tests/data/hip_sag_side.parquet")
    clip = probe(ROOT / "sample_clips/hip_sag_side.mp4")
    replace(judged, given=(clip,)).write(place / "sag <b>")
    formcheck.judge(ROOT / "tests/data/clean_side.parquet").write(place / "clean", drawing=False)
    return place


def labels(folder: Path, rows: str) -> Path:
    path = folder / "labels.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return path


def test_a_page_shows_the_disagreements_with_pictures_and_links(sets: Path, tmp_path: Path) -> None:
    file = labels(
        tmp_path,
        "sag <b>,6,hip_sag,no,AB,\nsag <b>,4,hip_sag,yes,AB,\nsag <b>,1,hip_sag,no,AB,\n"
        "clean,,hip_sag,no,AB,\nclean,2,shallow,yes,<script>alert(1)</script>,\n",
    )
    out = tmp_path / "page"
    said = CliRunner().invoke(app, ["agree", str(file), str(sets), "--out", str(out)])
    assert said.exit_code == 0, said.output
    assert "3 disagreements in 9 verdicts, 1 false accusation" in said.output
    page = (out / "agreement.html").read_text("utf-8")
    assert page.index("rep 6: hips sag") < page.index("rep 4: hips sag")
    assert page.count("data:image/jpeg;base64,") == 2
    assert "/sag%20%3Cb%3E/annotated.mp4#t=" in page and "/clean/report.html" in page
    assert "<script" not in page and "<b>, rep" not in page
    table = pd.read_csv(out / "verdicts.csv")
    assert len(table) == 9 and table["disagrees"].sum() == 3
    assert {"precision", "kappa", "ac1"} < set(pd.read_csv(out / "agreement.csv").columns)


def test_an_earlier_page_is_kept_unless_told(sets: Path, tmp_path: Path) -> None:
    file = labels(tmp_path, "clean,1,hip_sag,no,AB,\n")
    words = ["agree", str(file), str(sets), "--out", str(tmp_path / "page")]
    assert CliRunner().invoke(app, words).exit_code == 0
    again = CliRunner().invoke(app, words)
    assert again.exit_code == Exit.USAGE and "--overwrite" in again.output
    assert CliRunner().invoke(app, [*words, "--overwrite"]).exit_code == 0


def test_every_problem_of_the_labels_is_told(sets: Path, tmp_path: Path) -> None:
    file = labels(tmp_path, "clean,1,hip_sagg,no,AB,\nclean,x,hip_sag,no,AB,\n")
    said = CliRunner().invoke(app, ["agree", str(file), str(sets), "--out", str(tmp_path / "p")])
    assert said.exit_code == Exit.USAGE and not (tmp_path / "p").exists()
    assert "row 2" in said.output and "row 3" in said.output


def test_labels_about_other_sets_are_told(sets: Path, tmp_path: Path) -> None:
    file = labels(tmp_path, "elsewhere,1,hip_sag,no,AB,\n")
    said = CliRunner().invoke(app, ["agree", str(file), str(sets), "--out", str(tmp_path / "p")])
    assert said.exit_code == Exit.USAGE and "“elsewhere”" in said.output


def test_a_damaged_clip_costs_its_pictures_only(sets: Path, tmp_path: Path) -> None:
    shutil.copytree(sets, tmp_path / "sets")
    (tmp_path / "sets/sag <b>/annotated.mp4").write_bytes(b"no clip")
    file = labels(tmp_path, "sag <b>,6,hip_sag,no,AB,\n")
    out = tmp_path / "page"
    said = CliRunner().invoke(app, ["agree", str(file), str(tmp_path / "sets"), "--out", str(out)])
    assert said.exit_code == 0
    assert "data:image/jpeg" not in (out / "agreement.html").read_text("utf-8")
