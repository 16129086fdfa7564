"""Saved sets judged again under something else, in bulk, and rewritten only when asked."""

from __future__ import annotations

import json
import shutil
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import formcheck
from formcheck.cli import app
from formcheck.clip.read import probe
from formcheck.errors import Exit
from formcheck.faults.limits import LimitsError
from tests.agree.made import made_set

TRACKS = Path(__file__).parents[1] / "data"
SAMPLES = TRACKS.parents[1] / "sample_clips"


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two report folders without clips."""
    place = tmp_path_factory.mktemp("sets")
    for name in ("hip_sag_side", "clean_side"):
        formcheck.judge(TRACKS / f"{name}.parquet").write(place / name, drawing=False)
    return place


def test_a_stricter_limit_calls_more_and_says_which() -> None:
    sets = [made_set("mon", [{"hip_deviation_deg": v} for v in (2.0, 11.0, 20.0)])]
    (row,) = formcheck.judge_again(sets, limits={"hip_sag": 7.0}).to_dict("records")
    assert (row["clean_before"], row["clean"]) == (2, 1)
    assert row["gained"] == "hip_sag in 2" and row["lost"] == ""
    (row,) = formcheck.judge_again(sets, limits={"hip_sag": 30.0}).to_dict("records")
    assert row["gained"] == "" and row["lost"] == "hip_sag in 3"


def test_another_tempo_is_judged_without_measuring_again() -> None:
    sets = [made_set("mon", [{}, {}], plus_minus=0.1)]
    (row,) = formcheck.judge_again(sets, tempo="4-1-X-1").to_dict("records")
    assert row["gained"] == "rushed_eccentric in 1, 2"


def test_100_saved_sets_are_judged_again_in_milliseconds_each(judged: Path, tmp_path: Path) -> None:
    for i in range(100):
        (tmp_path / f"set_{i}").mkdir()
        shutil.copy(judged / "hip_sag_side/report.json", tmp_path / f"set_{i}/report.json")
    started_s = time.process_time()
    table = formcheck.judge_again(tmp_path, limits="strict")
    assert len(table) == 100
    assert (time.process_time() - started_s) / 100 < 0.05


def test_it_agrees_with_the_set_judged_anew(judged: Path) -> None:
    strict = formcheck.judge(TRACKS / "hip_sag_side.parquet", limits="strict").faults()
    table = formcheck.judge_again(judged, limits="strict").set_index("set")
    called = strict[(strict["verdict"] == "fault") & (strict["key"] == "hip_sag")]
    before = {5, 6}
    now = set(called["rep"]) - before
    assert table.loc["hip_sag_side", "gained"].startswith(
        f"hip_sag in {', '.join(map(str, sorted(now)))}"
    )


def test_the_command_writes_nothing_unless_asked(judged: Path) -> None:
    path = judged / "hip_sag_side/report.json"
    before = path.read_bytes()
    said = CliRunner().invoke(app, ["again", str(judged), "--limits", "strict"])
    assert said.exit_code == 0 and "1 of 2 sets judged otherwise" in said.output
    assert "hips sag" in said.output
    assert path.read_bytes() == before


def test_with_write_the_reports_are_made_again(judged: Path, tmp_path: Path) -> None:
    shutil.copytree(judged, tmp_path / "sets")
    (tmp_path / "sets/hip_sag_side/annotated.mp4").write_bytes(b"a clip")
    path = tmp_path / "sets/hip_sag_side/report.json"
    before = json.loads(path.read_text("utf-8"))
    kept = {
        "note": "Second set",
        "remarks": [{"rep": 4, "says": "Brace <first>"}],
        "person": "Mira",
        "recorded_at": "2026-09-01T17:00:00Z",
        "recorded_from": "given",
    }
    path.write_text(json.dumps(before | kept), encoding="utf-8")
    said = CliRunner().invoke(
        app, ["again", str(tmp_path / "sets"), "--limits", "strict", "--write"]
    )
    assert said.exit_code == 0, said.output
    report = json.loads((tmp_path / "sets/hip_sag_side/report.json").read_text("utf-8"))
    assert report["limits_in_force"] == "strict" and report["limits"]["hip_sag"] == 8.0
    assert {name: report[name] for name in kept} == kept
    page = (tmp_path / "sets/hip_sag_side/report.html").read_text("utf-8")
    assert "strict" in page and "Second set" in page and "Brace &lt;first&gt;" in page
    assert "does not say whether faces were blurred" in said.output
    assert not (path.parent / "annotated.mp4").exists()
    assert "formcheck log rebuild" in said.output, "the log still has the earlier verdict"
    assert report["log"]["direction_alone"] == report["next_step"]["direction"]


@pytest.fixture(scope="module")
def with_clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clip beside its report folder, in which faces are blurred."""
    place = tmp_path_factory.mktemp("filmed")
    clip = shutil.copy(SAMPLES / "hip_sag_side.mp4", place)
    judged = formcheck.judge(TRACKS / "hip_sag_side.parquet")
    seen = replace(judged, given=(probe(Path(clip)),))
    (place / "report").mkdir()
    seen.fill(place / "report", blur_faces=True)
    return place


def _again(place: Path, *clips: Path) -> tuple[str, dict[str, Any]]:
    words = ["again", str(place / "report"), "--limits", "strict", "--write"]
    words += [word for clip in clips for word in ("--clips", str(clip))]
    said = CliRunner().invoke(app, words)
    assert said.exit_code == 0, said.output
    return said.output, json.loads((place / "report/report.json").read_text("utf-8"))


@pytest.mark.slow
def test_the_annotated_clip_is_drawn_anew_with_faces_as_they_were(
    with_clip: Path, tmp_path: Path
) -> None:
    place = shutil.copytree(with_clip, tmp_path / "filmed")
    drawn = {"faces_blurred": True, "sources": [{"path": "../hip_sag_side.mp4"}]}
    before = json.loads((place / "report/report.json").read_text("utf-8"))
    assert before["annotated"] == drawn
    clip = (place / "report/annotated.mp4").read_bytes()
    said, report = _again(place)
    assert "1 annotated clip drawn anew" in said and report["annotated"] == drawn
    assert (place / "report/annotated.mp4").read_bytes() != clip, "the verdict changed"
    assert (place / "report/annotated.mp4").stat().st_size > len(clip) // 2
    assert "annotated.mp4" in (place / "report/report.html").read_text("utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("lost", ["gone", "changed", "under another name"])
def test_a_clip_that_is_not_the_judged_one_is_not_drawn_and_it_is_said_why(
    with_clip: Path, tmp_path: Path, lost: str
) -> None:
    place = shutil.copytree(with_clip, tmp_path / "filmed")
    clip, path = place / "hip_sag_side.mp4", place / "report/report.json"
    if lost == "gone":
        clip.unlink()
    elif lost == "changed":
        shutil.copy(SAMPLES / "flared_pair_side.mp4", clip)
    else:
        report = json.loads(path.read_text("utf-8"))
        report["annotated"]["sources"] = [{"path": None}]
        path.write_text(json.dumps(report), encoding="utf-8")
    said, report = _again(place)
    why = {
        "gone": "hip_sag_side.mp4 is no longer where it was",
        "changed": "hip_sag_side.mp4 is not the clip that was judged any more",
        "under another name": "the report does not say where its clip lies",
    }[lost]
    assert why in said and report["annotated"] is None
    assert not (place / "report/annotated.mp4").exists()


@pytest.mark.slow
@pytest.mark.parametrize("where", ["beside the report, renamed", "said", "said, by a folder"])
def test_a_clip_that_moved_is_found_by_its_content(
    with_clip: Path, tmp_path: Path, where: str
) -> None:
    place = shutil.copytree(with_clip, tmp_path / "filmed")
    beside = where.startswith("beside")
    moved = place / "monday.MP4" if beside else tmp_path / "far/off/hip_sag_side.mp4"
    moved.parent.mkdir(parents=True, exist_ok=True)
    shutil.move(place / "hip_sag_side.mp4", moved)
    shutil.copy(SAMPLES / "flared_pair_side.mp4", moved.parent.parent / "hip_sag_side.mp4")
    told = {"said": [moved], "said, by a folder": [tmp_path / "far"]}.get(where, [])
    said, report = _again(place, *told)
    assert "1 annotated clip drawn anew" in said and report["annotated"]["faces_blurred"]
    path = report["annotated"]["sources"][0]["path"]
    if beside:
        assert path is None, "it is shown by the name it had"
    else:
        assert (place / "report" / path).resolve() == moved.resolve()


@pytest.mark.slow
def test_a_clip_that_is_found_later_is_drawn_with_the_face_hidden(
    with_clip: Path, tmp_path: Path
) -> None:
    """Once the annotated clip is gone, nothing says any more whether faces were blurred in it."""
    place = shutil.copytree(with_clip, tmp_path / "filmed")
    clip = shutil.move(place / "hip_sag_side.mp4", tmp_path / "monday.mp4")
    assert _again(place)[1]["annotated"] is None
    said, _ = _again(place, SAMPLES / "flared_pair_side.mp4")
    assert "hip_sag_side.mp4 is not where you said" in said
    _, report = _again(place, Path(clip))
    assert report["annotated"]["faces_blurred"] and (place / "report/annotated.mp4").is_file()


def test_where_clips_lie_is_asked_for_reports_that_are_rewritten(judged: Path) -> None:
    words = ["again", str(judged), "--limits", "strict", "--clips"]
    said = CliRunner().invoke(app, [*words, str(TRACKS)])
    assert said.exit_code == Exit.USAGE and "--write" in said.output
    said = CliRunner().invoke(app, [*words, str(judged / "nowhere"), "--write"])
    assert said.exit_code == Exit.USAGE and "does not exist" in said.output


@pytest.mark.slow
def test_a_clip_shown_by_another_name_does_not_tell_its_own(
    with_clip: Path, tmp_path: Path
) -> None:
    """As with codes in place of names."""
    judged = formcheck.judge(TRACKS / "hip_sag_side.parquet", names=["A17"])
    filmed = replace(judged, given=(probe(with_clip / "hip_sag_side.mp4"),))
    filmed.write(tmp_path / "report")
    text = (tmp_path / "report/report.json").read_text("utf-8")
    assert json.loads(text)["annotated"]["sources"] == [{"path": None}]
    assert "hip_sag_side" not in text


@pytest.mark.parametrize(
    "words",
    [["--limits", "nowhere.toml"], ["--standard", "olympic"], []],
    ids=["no such limits", "no such standard", "nothing to judge by"],
)
def test_what_cannot_be_judged_by_is_one_sentence(words: list[str], judged: Path) -> None:
    said = CliRunner().invoke(app, ["again", str(judged), *words])
    assert said.exit_code == Exit.USAGE and "Traceback" not in said.output


def test_an_unknown_limit_is_named() -> None:
    with pytest.raises(LimitsError, match="hip_sagg"):
        formcheck.judge_again([made_set("mon", [{}])], limits={"hip_sagg": 1.0})
