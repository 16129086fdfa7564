"""A batch held to its bars: throughput, memory, kills, and the summary of many sets.

    python -m tests.truth.batch_bench throughput FOLDER [--clips 24] [--bare 3]
    python -m tests.truth.batch_bench memory CLIP          # one 1080p clip, and 300 tracks
    python -m tests.truth.batch_bench kills [--kills 20]
    python -m tests.truth.batch_bench summary [--sets 300]

With --out the figures are written to ``batch.csv`` there, in place of those of the same kind.

Throughput is seconds of clip judged in a second, against the bare loop of ``speed.py`` over the
first of the clips. On a machine that does other things too, wall time says little: the ratio by
CPU time, the batch's spread over as many cores as it has workers, stands beside it. Kills and
summary work on saved tracks, so that they time the batch and not the model.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import psutil
from PIL import Image
from playwright.sync_api import sync_playwright

from formcheck.batch.plan import plan_sets
from formcheck.batch.records import Records, write_whole
from formcheck.batch.roster import Roster
from formcheck.batch.run import BatchJob, find_clips, run_batch
from formcheck.clip.read import probe
from formcheck.job import SetJob
from formcheck.pose.model import DEFAULT_MODEL, find_model
from formcheck.pose.store import read_track, write_track
from tests.truth.speed import Run, bare_loop, measure, scaled_up

ROOT = Path(__file__).parents[2]
TRACKS = ROOT / "tests" / "data"
SUMMARY = ("summary.html", "summary.csv", "reps.parquet")
_noise = io.BytesIO()
Image.effect_noise((320, 200), 40).save(_noise, "JPEG", quality=72)
_EVERY = 50  # sets, of which the memory is told
JPEG = _noise.getvalue()  # as large as the small picture of a clip
COMMAND = "from formcheck.cli import app\nif __name__ == '__main__': app()\n"


def command(*arguments: object) -> list[str]:
    """``formcheck batch`` in a process of its own."""
    script = Path(tempfile.gettempdir()) / f"formcheck_batch_{os.getpid()}.py"
    script.write_text(COMMAND)
    return [sys.executable, str(script), "batch", *map(str, arguments)]


Figures = dict[str, str]  # what was measured, and its value with its unit


def throughput(folder: Path, clips: int, bare: int, model: str, scratch: Path) -> Figures:
    chosen = sorted(folder.glob("*.mp4"))[:clips]
    inside = scratch / "clips"
    inside.mkdir()
    for clip in chosen:
        shutil.copy(clip, inside / clip.name)
    seconds = sum(probe(clip).duration_s for clip in chosen)
    runs = [bare_loop(clip, find_model(model).path) for clip in chosen[:bare]]
    bare_s = sum(probe(clip).duration_s for clip in chosen[:bare])
    wall = bare_s / sum(run.wall_s for run in runs)
    cpu = bare_s / sum(run.cpu_s for run in runs)
    workers = len(os.sched_getaffinity(0))
    told = {
        "clips": f"{len(chosen)}, {seconds:.0f} s, {model} model, {workers} workers, "
                 f"load {os.getloadavg()[0]:.1f}",
        f"bare loop, {bare} clips": f"{wall:.2f} s of clip a second, {cpu:.2f} by CPU",
    }  # fmt: skip
    for name, options in (("pictures and clips off", ["--no-drawing"]), ("everything on", [])):
        os.environ["XDG_CACHE_HOME"] = str(scratch / name / "cache")
        out = scratch / name / "out"
        run = batch_run(inside, out, model, [*options, "--workers", str(workers)])
        by_wall, by_cpu = seconds / run.wall_s / wall, seconds / (run.cpu_s / workers) / cpu
        told[f"batch, {name}"] = (
            f"{by_wall:.2f} × the bare loop, {by_cpu:.2f} × by CPU; {run.wall_s:.0f} s, "
            f"{run.cpu_s:.0f} s CPU, {run.peak_mb:.0f} MB"
        )
    return told


def batch_run(clips: Path, out: Path, model: str, options: list[str]) -> Run:
    return measure(command(clips, "--out", out, "--model", model, *options))


def family_mb(process: psutil.Process) -> list[float]:
    """Resident size of each descendant, MB, a worker's own helpers added to it."""
    sizes = []
    for worker in process.children():
        try:
            own = worker.memory_info().rss
            own += sum(one.memory_info().rss for one in worker.children(recursive=True))
            sizes.append(own / 1e6)
        except psutil.Error:
            continue
    return sizes


def memory(clip: Path, model: str, sets: int, scratch: Path) -> Figures:
    large = scratch / "large"
    large.mkdir()
    scaled_up(clip, large / "clip.mp4")
    os.environ["XDG_CACHE_HOME"] = str(scratch / "cache")
    with subprocess.Popen(command(large, "--out", scratch / "one", "--model", model),
                          stdout=subprocess.DEVNULL) as process:  # fmt: skip
        peak = 0.0
        while process.poll() is None:
            peak = max([peak, *family_mb(psutil.Process(process.pid))])
            time.sleep(0.05)
    at_1080p = f"{peak:.0f} MB at most"
    many = many_tracks(scratch / "many", sets)
    out = scratch / "out"
    with subprocess.Popen(command(many, "--out", out, "--workers", 1),
                          stdout=subprocess.DEVNULL) as process:  # fmt: skip
        peaks: dict[int, float] = {}
        while process.poll() is None:
            done = len(list((out / ".formcheck" / "sets").rglob("*.json"))) if out.exists() else 0
            size = max(family_mb(psutil.Process(process.pid)), default=0.0)
            if done < sets:  # then it ends
                peaks[done // _EVERY] = max(peaks.get(done // _EVERY, 0.0), size)
            time.sleep(0.3)
    told = ", ".join(f"{_EVERY * part}+: {mb:.0f}" for part, mb in sorted(peaks.items()))
    return {
        "a worker at 1080p, with the process that finds the pose": at_1080p,
        f"a worker over {sets} sets, MB at most by sets done": told,
    }


def many_tracks(folder: Path, count: int) -> Path:
    """So many copies of the saved tracks, each with its own content, of 30 people."""
    tracks = [read_track(path) for path in sorted(TRACKS.glob("*.parquet"))]
    for n in range(count):
        place = folder / f"person {n % 30:02d}" / f"set {n:03d}.parquet"
        place.parent.mkdir(parents=True, exist_ok=True)
        track = tracks[n % len(tracks)]
        write_track(replace(track, source_name=f"set {n:03d}.mp4"), place)
    return folder


def kills(count: int, seed: int, scratch: Path) -> Figures:
    clips = many_tracks(scratch / "clips", 12)
    os.environ["XDG_CACHE_HOME"] = str(scratch / "cache")
    began = time.perf_counter()
    subprocess.run(command(clips, "--out", scratch / "whole"), check=True,
                   stdout=subprocess.DEVNULL)  # fmt: skip
    whole_s = time.perf_counter() - began
    chance = random.Random(seed)
    differing = left = 0
    for n in range(count):
        out = scratch / f"killed-{n}"
        after_s = chance.uniform(0.05, 1.0) * whole_s
        process = subprocess.Popen(command(clips, "--out", out), stdout=subprocess.DEVNULL)
        time.sleep(after_s)
        process.send_signal(signal.SIGKILL)
        process.wait()
        subprocess.run(command(clips, "--out", out), check=True, stdout=subprocess.DEVNULL)
        same = all(
            (out / name).read_bytes() == (scratch / "whole" / name).read_bytes() for name in SUMMARY
        )
        differing += not same
        left += len(list(out.rglob("*.partial"))) + (out / ".formcheck" / "running").exists()
        shutil.rmtree(out)
    return {
        f"{count} kills over a run of {whole_s:.1f} s, seed {seed}":
            f"{differing} summaries differ from an uninterrupted run's, {left} leftovers",
    }  # fmt: skip


def judged_already(clips: Path, out: Path, job: BatchJob) -> None:
    """Reports and records of all clips, copied from those of the first few."""
    distinct = 6
    few = out.with_name("few")
    for path in sorted(clips.rglob("*.parquet"), key=lambda path: path.name)[:distinct]:
        target = few / path.relative_to(clips)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, target)
    judged = run_batch(replace(job, folder=few, out=out.with_name("few_out"))).results
    out.mkdir()
    with ThreadPoolExecutor(1) as executor:
        found = find_clips(replace(job, folder=clips, out=out), executor, lambda path: True)
    records = Records(out)
    for n, plan in enumerate(plan_sets(found, Roster(), job.each, out)):
        result = judged[n % len(judged)]
        shutil.copytree(out.with_name("few_out") / result.name, out / plan.name)
        shown = replace(result, name=plan.name, clips=plan.shown)
        records.keep(plan, (shown,), "")
        write_whole(records.picture(plan.name), JPEG)


def summary(count: int, scratch: Path) -> Figures:
    clips, out = many_tracks(scratch / "clips", count), scratch / "out"
    os.environ["XDG_CACHE_HOME"] = str(scratch / "cache")
    job = BatchJob(clips, out, SetJob(()))
    judged_already(clips, out, job)
    began, cpu_s = time.perf_counter(), time.process_time()
    outcome = run_batch(job)
    wall_s, cpu_s = time.perf_counter() - began, time.process_time() - cpu_s
    assert outcome.judged_now == 0 and len(outcome.results) == count
    chromium = shutil.which("chromium") or "/usr/bin/chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto("about:blank")
        began = time.perf_counter()
        page.goto((scratch / "out" / "summary.html").as_uri())
        opened_s = time.perf_counter() - began
        told = json.loads(page.evaluate(
            """() => { const box = document.getElementById("search"); const out = [];
            for (const text of ["person 07", "sag", ""]) { const began = performance.now();
              box.value = text; box.dispatchEvent(new Event("input", { bubbles: true }));
              document.body.offsetHeight; out.push(performance.now() - began); }
            return JSON.stringify(out); }"""
        ))  # fmt: skip
        browser.close()
    size_mb = (scratch / "out" / "summary.html").stat().st_size / 1e6
    return {
        f"{count} sets judged already, summed up again": f"{wall_s:.1f} s, {cpu_s:.1f} s CPU",
        f"page of {count} sets, {size_mb:.1f} MB":
            f"opened in {opened_s:.2f} s, filtered in {max(told):.0f} ms",
    }  # fmt: skip


def keep(what: str, told: Figures, out: Path, name: str = "batch.csv") -> None:
    """Put the figures in place of those measured before."""
    path = out / name
    columns = ["what", "figure", "value", "measured"]
    before = pd.read_csv(path) if path.exists() else pd.DataFrame(columns=columns)
    new = [[what, figure, value, date.today().isoformat()] for figure, value in told.items()]
    table = pd.concat([before[before["what"] != what], pd.DataFrame(new, columns=columns)])
    table.sort_values("what", kind="stable").to_csv(path, index=False)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["throughput", "memory", "kills", "summary"])
    parser.add_argument("given", type=Path, nargs="?", default=ROOT / "sample_clips")
    parser.add_argument("--clips", type=int, default=24)
    parser.add_argument("--bare", type=int, default=3, help="clips for the bare loop")
    parser.add_argument("--model", default=DEFAULT_MODEL)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--sets", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="folder of the figures")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        if asked.what == "throughput":
            told = throughput(asked.given, asked.clips, asked.bare, asked.model, scratch)
        elif asked.what == "memory":
            clip = asked.given / "hip_sag_side.mp4" if asked.given.is_dir() else asked.given
            told = memory(clip, asked.model, asked.sets, scratch)
        elif asked.what == "kills":
            told = kills(asked.kills, asked.seed, scratch)
        else:
            told = summary(asked.sets, scratch)
    for figure, value in told.items():
        print(f"{figure}: {value}")
    if asked.out is not None:
        keep(asked.what, told, asked.out)


if __name__ == "__main__":
    main()
