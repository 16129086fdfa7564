"""``formcheck set`` from end to end, through the real model, and its refusals."""

from __future__ import annotations

import dataclasses
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest
from typer.testing import CliRunner, Result

from formcheck.cli import app
from formcheck.clip.read import probe
from formcheck.pose import cache, landmarker
from formcheck.pose.store import read_track, write_track
from formcheck.report.contract import check
from formcheck.report.video import annotate
from tests.clip.clips import make_clip, make_sound

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parents[2] / "sample_clips"
CLIP = SAMPLES / "hip_sag_side.mp4"
STEADY = [n / 30 for n in range(15)]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["set", *map(str, arguments)])


@pytest.fixture(scope="module", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    out = tmp_path_factory.mktemp("judged") / "report"
    return out, run(CLIP, "--out", out, "--xlsx")


@pytest.fixture
def no_pose_search(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("the pose was searched again")

    monkeypatch.setattr(cache, "find_pose", fail)
    monkeypatch.setattr(landmarker, "find_pose", fail)


def report_in(out: Path) -> dict[str, Any]:
    report: dict[str, Any] = json.loads((out / "report.json").read_text(encoding="utf-8"))
    return report


def test_a_sample_set_gives_a_whole_report(judged: tuple[Path, Result]) -> None:
    out, result = judged
    assert result.exit_code == 0, result.output
    report = report_in(out)
    check(report)
    truth = json.loads(CLIP.with_suffix(".truth.json").read_text(encoding="utf-8"))
    assert report["set"]["attempts"] == truth["counts"]["attempts"]
    for rep, true in zip(report["reps"], truth["reps"], strict=True):
        assert true["bottom_start_s"] - 0.2 < rep["bottom_s"] < true["bottom_end_s"] + 0.2
    assert "hip_sag" in {fault["key"] for fault in report["faults"]}
    assert sorted(path.name for path in out.iterdir()) == [
        "annotated.mp4", "landmarks.parquet", "report.html", "report.json", "reps.csv", "reps.xlsx",
    ]  # fmt: skip
    assert [path.name for path in out.parent.iterdir()] == ["report"]


def test_the_terminal_says_what_counts_and_where_the_report_is(
    judged: tuple[Path, Result],
) -> None:
    out, result = judged
    assert "6 counted" in result.stdout
    assert "hips sag" in result.stdout.lower()
    assert str(out / "report.html") in result.stdout
    assert result.stderr == ""  # no progress bar when piped, no library noise


def test_the_annotated_clip_keeps_the_clips_own_time(judged: tuple[Path, Result]) -> None:
    clip, annotated = probe(CLIP), probe(judged[0] / "annotated.mp4")
    assert annotated.frames == clip.frames
    assert annotated.duration_s == pytest.approx(clip.duration_s, abs=0.05)


@pytest.mark.usefixtures("no_pose_search")
def test_judging_again_does_not_look_for_the_pose_again(
    judged: tuple[Path, Result], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(annotate, "annotate", lambda *_, **__: None)  # it is drawn above
    out = tmp_path / "again"
    result = run(CLIP, "--out", out, "--tempo", "2-1-X-1")
    assert result.exit_code == 0, result.output
    assert report_in(out)["prescription"]["tempo"] == "2-1-X-1"
    assert report_in(out)["set"]["attempts"] == report_in(judged[0])["set"]["attempts"]


@pytest.mark.usefixtures("no_pose_search")
def test_a_pose_track_is_judged_like_its_clip(judged: tuple[Path, Result], tmp_path: Path) -> None:
    out = tmp_path / "from_track"
    result = run(judged[0] / "landmarks.parquet", "--out", out)
    assert result.exit_code == 0, result.output
    assert report_in(out)["reps"] == report_in(judged[0])["reps"]
    assert not (out / "annotated.mp4").exists()


@pytest.mark.usefixtures("no_pose_search")
def test_an_existing_report_is_replaced_only_when_asked(
    judged: tuple[Path, Result], tmp_path: Path
) -> None:
    track = judged[0] / "landmarks.parquet"
    out = tmp_path / "report"
    out.mkdir()
    (out / "report.json").write_text("earlier")
    refused = run(track, "--out", out)
    assert refused.exit_code == 2
    assert "--overwrite" in refused.stderr
    assert (out / "report.json").read_text() == "earlier"
    assert run(track, "--out", out, "--overwrite").exit_code == 0
    assert report_in(out)["schema"] == "formcheck.report/1"


def test_a_clip_without_a_person_gets_a_report_that_says_so(tmp_path: Path) -> None:
    clip = make_clip(tmp_path / "empty_room.mp4", [n / 10 for n in range(30)])
    out = tmp_path / "report"
    result = run(clip, "--model", "full", "--out", out)
    assert result.exit_code == 4, result.output
    report = report_in(out)
    check(report)
    assert report["set"]["attempts"] == 0
    assert (out / "report.html").exists()


@pytest.mark.usefixtures("no_pose_search")
def test_a_person_who_does_no_push_up_gets_a_report_that_says_so(
    judged: tuple[Path, Result], tmp_path: Path
) -> None:
    track = read_track(judged[0] / "landmarks.parquet")
    before = track.t_s < 0.6 * report_in(judged[0])["reps"][0]["start_s"]
    still = dataclasses.replace(
        track,
        t_s=track.t_s[before],
        xy_px=track.xy_px[before],
        visibility=track.visibility[before],
        world_m=None,
    )
    write_track(still, tmp_path / "still.parquet")
    result = run(tmp_path / "still.parquet", "--out", tmp_path / "report")
    assert result.exit_code == 4, result.output
    assert report_in(tmp_path / "report")["set"]["counted"] == 0


@pytest.mark.usefixtures("no_pose_search")
def test_each_unreadable_clip_gets_its_sentence_and_code_three(tmp_path: Path) -> None:
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "text.mp4").write_text("This is not a video.\n" * 50)
    (tmp_path / "folder.mp4").mkdir()
    (tmp_path / "bad.parquet").write_text("no track")
    whole = make_clip(tmp_path / "truncated.mp4", STEADY).read_bytes()
    (tmp_path / "truncated.mp4").write_bytes(whole[: len(whole) // 2])
    make_sound(tmp_path / "sound.mp4")
    make_clip(tmp_path / "single.mp4", [0.0])
    names = ["absent.mp4", "empty.mp4", "text.mp4", "folder.mp4", "truncated.mp4", "sound.mp4"]
    for name in [*names, "single.mp4", "bad.parquet"]:
        result = run(tmp_path / name, "--out", tmp_path / "report")
        assert result.exit_code == 3, (name, result.output)
        assert result.stderr.startswith("formcheck: ") and result.stderr.count("\n") == 1
        assert name in result.stderr
        assert not (tmp_path / "report").exists()


@pytest.mark.usefixtures("no_pose_search")
@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--tempo", "fast"], "2-1-X-1"),
        (["--hands", "sideways"], "diamond"),
        (["--range-standard", "low"], "elbow-90"),
        (["--view", "above"], "oblique"),
        (["--view", "side", "--view", "front"], "once for each clip"),
        (["--reps", "0"], "reps"),
        (["--model", "huge"], "full or heavy"),
        (["--limits", "absent.toml"], "absent.toml"),
        (["--wrong"], "--wrong"),
        ([str(CLIP), str(CLIP)], "one clip, or two"),
    ],
)
def test_a_usage_mistake_is_told_and_gets_code_two(
    tmp_path: Path, options: list[str], said: str
) -> None:
    result = run(CLIP, "--out", tmp_path / "report", *options)
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert "Traceback" not in result.output
    assert list(tmp_path.iterdir()) == []


def test_two_clips_of_different_sets_are_refused_with_the_evidence(tmp_path: Path) -> None:
    tracks = Path(__file__).parents[1] / "data"
    result = run(
        tracks / "hip_sag_side.parquet",
        tracks / "flared_pair_front.parquet",
        "--out",
        tmp_path / "report",
    )
    assert result.exit_code == 2, result.output
    assert "do not show the same set" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_two_views_of_one_set_make_one_report_in_any_order(tmp_path: Path) -> None:
    tracks = Path(__file__).parents[1] / "data"
    side, front = tracks / "flared_pair_side.parquet", tracks / "flared_pair_front.parquet"
    reports = []
    for n, pair in enumerate([(side, front), (front, side)]):
        assert run(*pair, "--out", tmp_path / str(n)).exit_code == 0
        reports.append(report_in(tmp_path / str(n)))
        assert (tmp_path / str(n) / "landmarks_2.parquet").exists()
    assert reports[0] == reports[1]
    assert [clip["view"] for clip in reports[0]["clips"]] == ["side", "front"]


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_a_run_that_is_ended_leaves_neither_folders_nor_processes(
    tmp_path: Path, how: signal.Signals
) -> None:
    command = "from formcheck.cli import app\nif __name__ == '__main__': app()"
    (tmp_path / "run.py").write_text(command)
    here = Path(__file__).parents[2]
    process = subprocess.Popen(
        [sys.executable, str(tmp_path / "run.py"), "set", str(CLIP), "--fresh", "--out", "report"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(here)},
        stderr=subprocess.DEVNULL,
        # Tests that run in the background of a shell inherit that Ctrl-C is ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        top = psutil.Process(process.pid)
        waited = time.monotonic()
        while not list(tmp_path.glob(".report.*")) or len(top.children()) < 2:
            assert time.monotonic() - waited < 60
            time.sleep(0.1)
        children = top.children(recursive=True)
        process.send_signal(how)
        assert process.wait(30) != 0
        _, alive = psutil.wait_procs(children, timeout=30)
        assert not alive
    finally:
        process.kill()
    assert [path.name for path in tmp_path.iterdir()] == ["run.py"]
