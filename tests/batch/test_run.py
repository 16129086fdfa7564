"""A batch from end to end, on saved tracks: the group and what goes wrong in real processes."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import psutil
import pytest

from formcheck.batch import run
from formcheck.batch.records import only_run
from formcheck.batch.roster import RosterError
from formcheck.batch.run import BatchError, BatchJob, BatchOutcome, Progress, run_batch
from formcheck.batch.watch import watch_batch
from formcheck.errors import Exit, OutputError
from formcheck.job import SetJob
from formcheck.report.contract import check
from tests.batch.folders import batch, fill, summary_of, troubled, working_here
from tests.solved import judge

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
TWO = {"anna/sag.parquet": "hip_sag_side", "bo/short.parquet": "partial_side"}
Judged = tuple[Path, Path, BatchOutcome]


@pytest.fixture
def again(judged: Judged, tmp_path: Path) -> tuple[Path, Path]:
    """Clips and reports of a batch that was judged, to change."""
    clips, out, _ = judged
    shutil.copytree(clips, tmp_path / "clips")
    shutil.copytree(out, tmp_path / "out")
    return tmp_path / "clips", tmp_path / "out"


def test_every_set_gets_its_report_and_the_group_its_summary(judged: Judged) -> None:
    _, out, outcome = judged
    assert outcome.exit_code == Exit.DONE
    assert [r.name for r in outcome.results] == ["anna/flared", "anna/sag", "bo/short", "cy/pike"]
    for name in ("anna/flared", "anna/sag", "bo/short", "cy/pike"):
        report = json.loads((out / name / "report.json").read_text(encoding="utf-8"))
        check(report)
        assert (out / name / "report.html").exists() and (out / name / "reps.csv").exists()
    views = json.loads((out / "anna/flared/report.json").read_text())["clips"]
    assert [clip["view"] for clip in views] == ["side", "front"]
    assert all(summary_of(out).values())
    assert summary_of(out)["summary.html"].count(b"data:image/jpeg") >= 4  # stick figures
    assert not list(out.rglob("*.partial")) and not (out / ".formcheck/running").exists()


def test_judging_again_does_nothing_and_sums_up_the_same(again: tuple[Path, Path]) -> None:
    clips, out = again
    before = summary_of(out)
    stamps = {p: p.stat().st_mtime_ns for p in out.rglob("report.json")}
    outcome = batch(clips, out)
    assert outcome.judged_now == 0
    assert {p: p.stat().st_mtime_ns for p in out.rglob("report.json")} == stamps
    assert summary_of(out) == before


def test_only_what_is_missing_or_changed_is_judged(again: tuple[Path, Path]) -> None:
    clips, out = again
    (out / "anna/sag/report.html").unlink()
    fill(clips, {"bo/short.parquet": "knees_side"})
    outcome = batch(clips, out)
    assert outcome.judged_now == 2
    assert (out / "anna/sag/report.html").exists()
    assert json.loads((out / "bo/short/report.json").read_text())["variation"]["support"] == "knees"


def test_a_clip_that_completes_a_pair_takes_the_place_of_the_one_alone(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"anna/flared_side.parquet": "flared_pair_side"})
    out = tmp_path / "out"
    batch(clips, out)
    assert (out / "anna/flared_side/report.json").exists()
    fill(clips, {"anna/flared_front.parquet": "flared_pair_front"})
    batch(clips, out)
    assert (out / "anna/flared/report.json").exists()
    assert not (out / "anna/flared_side").exists()


def test_the_report_of_a_clip_that_has_gone_stays(again: tuple[Path, Path]) -> None:
    clips, out = again
    shutil.rmtree(clips / "cy")
    outcome = batch(clips, out)
    assert outcome.left == ("cy/pike",) and (out / "cy/pike/report.html").exists()
    assert b"cy/pike" not in (out / "summary.csv").read_bytes()


def test_whatever_goes_wrong_with_one_set_the_others_go_on(tmp_path: Path) -> None:
    names = ("crash", "gone", "hang", "mistake")
    clips = fill(tmp_path / "clips", {f"x/{name}.parquet": "hip_sag_side" for name in names} | TWO)
    (clips / "bo/text.mp4").write_text("not a video")
    told: list[Progress] = []
    job = BatchJob(clips, tmp_path / "out", count=1, patience=0.025)  # some 15 s
    outcome = run_batch(job, told.append, troubled)
    said = {result.name: (result.status, result.reason) for result in outcome.results}
    assert int(outcome.exit_code) == 5
    assert said["anna/sag"][0] == said["bo/short"][0] == "judged"
    assert "crashed (Segmentation fault)" in said["x/crash"][1]
    assert "ended from outside" in said["x/gone"][1]
    assert "took longer" in said["x/hang"][1]
    assert "KeyError" in said["x/mistake"][1]
    assert "KeyError" in (tmp_path / "out/.formcheck/trouble/x/mistake.txt").read_text()
    assert said["bo/text"][1].startswith("bo/text.mp4 is not a video")
    assert told[-1].done == told[-1].of == 7
    page = (tmp_path / "out/summary.html").read_text(encoding="utf-8")
    assert "crashed (Segmentation fault)" in page and "5 not judged" in page
    assert not list((tmp_path / "out").rglob("*.partial"))

    same = run_batch(job, judge=judge)
    assert (same.judged_now, same.failed_before) == (0, 4)  # the text is known to be none
    fill(clips, {"x/gone.parquet": "pike_side"})
    assert run_batch(job, judge=judge).judged_now == 1
    mended = run_batch(replace(job, again_failed=True), judge=judge)
    assert mended.judged_now == 3 and mended.exit_code == Exit.SOME_FAILED  # the text stays one


def test_two_clips_that_are_not_one_set_are_judged_as_two_and_it_is_said(tmp_path: Path) -> None:
    clips = fill(
        tmp_path / "clips",
        {"a/mon_side.parquet": "hip_sag_side", "a/mon_front.parquet": "clean_front"},
    )
    outcome = batch(clips, tmp_path / "out")
    assert [(r.name, r.status) for r in outcome.results] == [
        ("a/mon_front", "judged"), ("a/mon_side", "judged"),
    ]  # fmt: skip
    assert "do not show the same set" in outcome.standings[0].record.note
    assert "do not show the same set" in (tmp_path / "out/summary.csv").read_text()
    assert batch(clips, tmp_path / "out").judged_now == 0


def test_a_roster_says_what_was_asked_and_who_is_absent(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", TWO)
    roster = tmp_path / "roster.csv"
    roster.write_text("person,clip,target_reps\nanna,,6\nDora,bo/short.parquet,\nEmil,,8\n")
    outcome = batch(clips, tmp_path / "out", roster=roster)
    report = json.loads((tmp_path / "out/anna/sag/report.json").read_text())
    assert report["prescription"]["target_reps"] == 6
    assert outcome.absent == ("Emil",)
    assert "Dora" in (tmp_path / "out/summary.csv").read_text()
    roster.write_text("person,clip\nanna,bo/long.parquet\n")
    with pytest.raises(RosterError, match=r"row 2: there is no clip"):
        batch(clips, tmp_path / "out", roster=roster)


def test_with_codes_no_name_is_in_any_output(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"Rosalind/spring_side.parquet": "hip_sag_side"})
    (clips / "Rosalind" / "broken_take.mp4").write_text("not a video")
    batch(clips, tmp_path / "out", codes_key=tmp_path / "who.csv")
    for path in (tmp_path / "out").rglob("*"):
        for name in ("Rosalind", "spring", "broken_take", "hip_sag_side"):
            assert name not in str(path.relative_to(tmp_path))
            assert path.is_dir() or name.encode() not in path.read_bytes(), path
    key = (tmp_path / "who.csv").read_text()
    assert "P01,Rosalind" in key and "spring" in key
    assert (tmp_path / "out/P01/02/report.html").exists() or (
        tmp_path / "out/P01/01/report.html"
    ).exists()


def test_a_second_run_at_once_is_refused_and_does_no_damage(judged: Judged, tmp_path: Path) -> None:
    clips, _, _ = judged
    with (
        only_run(tmp_path / "out"),
        pytest.raises(OutputError, match=rf"another run \(process {os.getpid()}\)"),
    ):
        batch(clips, tmp_path / "out")
    assert batch(fill(tmp_path / "one", {"a.parquet": "pike_side"}), tmp_path / "out").judged_now


def test_an_empty_folder_gives_an_empty_summary(tmp_path: Path) -> None:
    (tmp_path / "clips").mkdir()
    outcome = batch(tmp_path / "clips", tmp_path / "out")
    assert outcome.results == [] and outcome.exit_code == Exit.DONE
    assert "No set could be judged" in (tmp_path / "out/summary.html").read_text()


def test_impossible_folders_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BatchError, match="no folder"):
        batch(tmp_path / "absent", tmp_path / "out")
    with pytest.raises(BatchError, match="holds the clips"):
        batch(tmp_path, tmp_path)


def test_a_full_disk_stops_the_run_with_a_sentence_and_keeps_what_is_done(
    again: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    clips, out = again
    before = summary_of(out)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        batch(clips, out)
    assert summary_of(out) == before and not list(out.rglob("*.partial"))


def test_a_run_that_is_killed_leaves_nothing_behind_and_the_next_one_ends_the_same(
    judged: Judged, tmp_path: Path
) -> None:
    clips, whole, _ = judged
    program = (
        "import sys\nfrom pathlib import Path\n"
        "from formcheck.batch.run import BatchJob, run_batch\n"
        "if __name__ == '__main__':\n"
        "    run_batch(BatchJob(Path(sys.argv[1]), Path(sys.argv[2]), count=2))\n"
    )
    (tmp_path / "run.py").write_text(program)
    out = tmp_path / "out"
    for after in (0, 1, 3):  # sets
        process = subprocess.Popen(
            [sys.executable, str(tmp_path / "run.py"), str(clips), str(out)],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        family: list[psutil.Process] = []
        waited = time.monotonic()
        while process.poll() is None and time.monotonic() - waited < 120:
            family = psutil.Process(process.pid).children(recursive=True)
            there = [name for _, folders, files in os.walk(out) for name in (*folders, *files)]
            judged_now = sum(name.endswith(".json") and name != "report.json" for name in there)
            if judged_now >= after and any(name.endswith(".partial") for name in there):
                break
            time.sleep(0.01)
        process.send_signal(signal.SIGKILL)
        process.wait(30)
        _, alive = psutil.wait_procs(
            [psutil.Process(p.pid) for p in family if psutil.pid_exists(p.pid)], 30
        )
        assert not alive
        for path in out.rglob("report.json"):
            json.loads(path.read_text(encoding="utf-8"))
    batch(clips, out)
    assert summary_of(out) == summary_of(whole)
    assert sorted(p.relative_to(out) for p in out.rglob("*")) == sorted(
        p.relative_to(whole) for p in whole.rglob("*")
    )


def test_while_watching_a_clip_is_taken_when_it_has_stopped_growing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clips = fill(tmp_path / "clips", {"anna/sag.parquet": "hip_sag_side"})
    content = (ROOT / "tests/data/pike_side.parquet").read_bytes()
    growing = clips / "bo" / "pike.parquet"
    growing.parent.mkdir()
    growing.write_bytes(content[:100])
    rounds: list[BatchOutcome] = []
    looks = 0

    def ended() -> bool:
        nonlocal looks
        looks += 1
        if len(rounds) == 1 and growing.stat().st_size < len(content):
            growing.write_bytes(content)
        elif not rounds:
            growing.write_bytes(content[: 100 + looks])
        return len(rounds) == 2 or looks > 40

    monkeypatch.setattr(run, "workers", working_here)
    watch_batch(
        BatchJob(clips, tmp_path / "out"), lambda progress: None, rounds.append,
        every_s=0.05, ended=ended,
    )  # fmt: skip
    assert [[r.name for r in one.results] for one in rounds] == [
        ["anna/sag"], ["anna/sag", "bo/pike"],
    ]  # fmt: skip
    assert rounds[1].judged_now == 1


def test_the_prescription_of_the_batch_is_each_set_s(tmp_path: Path) -> None:
    clips = fill(tmp_path / "clips", {"a.parquet": "pike_side"})
    batch(clips, tmp_path / "out", each=SetJob((), limits={"hip_pike": -40.0}))
    report = json.loads((tmp_path / "out/a/report.json").read_text())
    assert report["limits"]["hip_pike"] == -40.0
