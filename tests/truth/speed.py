"""Time and memory of `formcheck set` against the bare loop.

    python -m tests.truth.speed CLIP [--model BUNDLE] [--runs 1] [--skip-1080p] [--out DIR]

The bare loop is the least that any tool with this model must do: decode every frame and run
the same landmark model on it, in one thread, nothing kept. Both run as whole processes, start
of the interpreter included, and memory is the peak of the process with its children (their
resident sizes added, so pages they share count twice). A second measurement scales the clip
up to 1920x1080 first.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd
import psutil

from formcheck.pose.model import DEFAULT_MODEL, find_model

BARE_LOOP = """
import sys
import av, mediapipe, numpy
from mediapipe.tasks.python import BaseOptions, vision
options = vision.PoseLandmarkerOptions(
    base_options=BaseOptions(model_asset_path=sys.argv[2]),
    running_mode=vision.RunningMode.VIDEO,
)
with vision.PoseLandmarker.create_from_options(options) as landmarker, av.open(sys.argv[1]) as clip:
    stream = clip.streams.video[0]
    for frame in clip.decode(stream):
        image = numpy.ascontiguousarray(frame.to_ndarray(format="rgb24"))
        landmarker.detect_for_video(
            mediapipe.Image(image_format=mediapipe.ImageFormat.SRGB, data=image),
            round(1000 * frame.time),
        )
"""


@dataclass(frozen=True)
class Run:
    """Wall time, CPU time and peak resident memory of a process and its children."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def measure(command: list[str]) -> Run:
    """Run to the end, looking at the memory of all its processes every 50 ms."""
    started, peak = time.perf_counter(), 0
    cpu: dict[int, float] = {}
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        top = psutil.Process(process.pid)
        while process.poll() is None:
            resident = 0
            for one in _family(top):
                try:
                    resident += one.memory_info().rss
                    times = one.cpu_times()
                    cpu[one.pid] = times.user + times.system
                except psutil.Error:
                    continue  # it ended between being listed and being asked
            peak = max(peak, resident)
            time.sleep(0.05)
        if process.returncode:
            message = process.stderr.read().decode() if process.stderr else ""
            raise SystemExit(f"{' '.join(command[:4])} … failed:\n{message[-2000:]}")
    return Run(time.perf_counter() - started, sum(cpu.values()), peak / 1e6)


def _family(top: psutil.Process) -> list[psutil.Process]:
    try:
        return [top, *top.children(recursive=True)]
    except psutil.Error:
        return []


def bare_loop(clip: Path, model: Path) -> Run:
    return measure([sys.executable, "-c", BARE_LOOP, str(clip), str(model)])


def formcheck_set(clip: Path, model: str, out: Path) -> Run:
    command = str(Path(sys.executable).with_name("formcheck"))
    return measure([command, "set", str(clip), "--fresh", "--model", model, "--out", str(out)])


def scaled_up(clip: Path, target: Path) -> Path:
    """The clip at 1920x1080."""
    import av

    with av.open(str(clip)) as source, av.open(str(target), "w") as sink:
        video = source.streams.video[0]
        out = sink.add_stream("libx264", rate=video.average_rate, options={"preset": "veryfast"})
        out.width, out.height, out.pix_fmt = 1920, 1080, "yuv420p"
        for frame in source.decode(video):
            sink.mux(out.encode(frame.reformat(width=1920, height=1080, format="yuv420p")))
        sink.mux(out.encode(None))
    return target


def label_of(clip: Path) -> str:
    """``30.6 s at 1280x720``."""
    from formcheck.clip.read import probe

    info = probe(clip)
    return f"{info.duration_s:.1f} s at {info.width}x{info.height}"


def kept(rows: list[dict[str, object]], path: Path) -> None:
    """Put rows among those of the table, in place of earlier ones of the same clip."""
    table = pd.DataFrame(rows).set_index("clip")
    if path.exists():
        before = pd.read_csv(path).set_index("clip")
        table = pd.concat([before.drop(index=table.index, errors="ignore"), table])
    table.to_csv(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clip", type=Path)
    parser.add_argument("--model", default=DEFAULT_MODEL, help="name or landmark bundle, for both")
    parser.add_argument("--runs", type=int, default=1, help="the fastest of so many is shown")
    parser.add_argument("--skip-1080p", action="store_true")
    parser.add_argument("--out", type=Path, help="keep the rows in DIR/speed.csv")
    asked = parser.parse_args()
    model = find_model(asked.model).path
    rows: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        clips = [asked.clip]
        if not asked.skip_1080p:
            clips.append(scaled_up(asked.clip, folder / "large.mp4"))
        for place, clip in enumerate(clips):
            bare = min((bare_loop(clip, model) for _ in range(asked.runs)), key=lambda r: r.wall_s)
            whole = min(
                (
                    formcheck_set(clip, asked.model, folder / f"out-{place}-{i}")
                    for i in range(asked.runs)
                ),
                key=lambda r: r.wall_s,
            )
            rows.append(
                {
                    "clip": label_of(clip),
                    "model": model.stem.removeprefix("pose_"),
                    "measured": f"{date.today():%Y-%m-%d}",
                    "bare_loop_s": round(bare.wall_s, 1),
                    "formcheck_set_s": round(whole.wall_s, 1),
                    "ratio": round(whole.wall_s / bare.wall_s, 2),
                    "peak_mb": round(whole.peak_mb),
                }
            )
            print(f"{rows[-1]}, CPU {bare.cpu_s:.1f} and {whole.cpu_s:.1f} s")
    if asked.out:
        kept(rows, asked.out / "speed.csv")


if __name__ == "__main__":
    main()
