"""Time and memory of `formcheck set` against the bare loop and against decoding once.

    python -m tests.truth.speed [CLIP] [--quick] [--runs 1] [--out tests/truth/latest]

The bare loop is the least that any tool with this model must do: decode every picture and run the
same landmark model on it, in one thread, nothing kept. Everything runs as whole processes, start
of the interpreter included; memory is the peak of the process with its children (their resident
sizes added, so pages they share count twice). A clip that ships is measured as it is, at
1920x1080, and at 3840x2160 with 60 pictures a second in HEVC of 10 bit and with a sensor's grain;
longer ones repeat it. `--quick` leaves out what takes more than a few minutes.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from importlib.metadata import version
from pathlib import Path

import av
import numpy as np
import pandas as pd
import psutil

from formcheck.clip.read import probe
from formcheck.pose.model import DEFAULT_MODEL, find_model

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "hip_sag_side.mp4"
COMMAND = [sys.executable, "-c", "from formcheck.cli import app; app()"]
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
DECODE_ONCE = """
import os, sys
import av
with av.open(sys.argv[1]) as clip:
    stream = clip.streams.video[0]
    stream.thread_type, stream.codec_context.thread_count = "AUTO", os.cpu_count()
    for frame in clip.decode(stream):
        pass
"""
# A phone's clip in HEVC has about this many bits a second at 3840x2160 and 60 pictures.
PHONE_BITS_A_SECOND = 45_000_000
GRAIN = 10.0  # of 1023, sd: a sensor's noise in a room
REPEATED_S = 4.0  # of the sample, encoded once and repeated: x265 takes long


@dataclass(frozen=True)
class Run:
    """Wall time, CPU time and peak resident memory of a process and its children."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def measure(command: Sequence[str]) -> Run:
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


def short(words: Sequence[str]) -> Run:
    """A command too short to be watched: its CPU time by the system's own account."""
    before, started = os.times(), time.perf_counter()
    subprocess.run([*COMMAND, *words], check=True, capture_output=True)
    after = os.times()
    cpu_s = (after.children_user + after.children_system) - (
        before.children_user + before.children_system
    )
    return Run(time.perf_counter() - started, cpu_s, float("nan"))


def bare_loop(clip: Path, model: Path) -> Run:
    return measure([sys.executable, "-c", BARE_LOOP, str(clip), str(model)])


def fastest(runs: Sequence[Run]) -> Run:
    return min(runs, key=lambda run: run.wall_s)


def scaled_up(clip: Path, target: Path) -> Path:
    """The clip at 1920x1080."""
    with av.open(str(clip)) as source, av.open(str(target), "w") as sink:
        video = source.streams.video[0]
        out = sink.add_stream("libx264", rate=video.average_rate, options={"preset": "veryfast"})
        out.width, out.height, out.pix_fmt = 1920, 1080, "yuv420p"
        for frame in source.decode(video):
            sink.mux(out.encode(frame.reformat(width=1920, height=1080, format="yuv420p")))
        sink.mux(out.encode(None))
    return target


def as_a_phone_films(clip: Path, target: Path) -> Path:
    """Seconds of the clip at 3840x2160, 60 pictures a second, HEVC of 10 bit, with grain."""
    width, height, kind = 3840, 2160, "yuv420p10le"
    rng = np.random.default_rng(0)
    grain = [rng.normal(0, GRAIN, (height, width)).astype(np.int16) for _ in range(3)]
    with av.open(str(clip)) as source, av.open(str(target), "w") as sink:
        out = sink.add_stream(
            "libx265",
            rate=60,
            options={"preset": "ultrafast", "x265-params": "log-level=none:keyint=60:bframes=0"},
        )
        out.width, out.height, out.pix_fmt = width, height, kind
        out.bit_rate = PHONE_BITS_A_SECOND
        for n, frame in enumerate(
            one for one in source.decode(video=0) for _ in range(2) if (one.time or 0) < REPEATED_S
        ):
            packed = frame.reformat(width=width, height=height, format=kind).to_ndarray()
            packed[:height] = np.clip(packed[:height].astype(np.int16) + grain[n % 3], 64, 940)
            large = av.VideoFrame.from_ndarray(packed, format=kind)
            large.pts, large.time_base = n, Fraction(1, 60)
            sink.mux(out.encode(large))
        sink.mux(out.encode(None))
    return target


def repeated(clip: Path, target: Path, least_s: float) -> Path:
    """The clip again and again until it is as long as asked, its packets as they are."""
    with av.open(str(clip)) as source, av.open(str(target), "w") as sink:
        video = source.streams.video[0]
        out = sink.add_stream_from_template(video)
        assert video.time_base is not None
        span = round(probe(clip).duration_s / video.time_base)
        packets = [
            (bytes(one), one.pts, one.dts, one.is_keyframe)
            for one in source.demux(video)
            if one.size and one.pts is not None and one.dts is not None
        ]
        for time_round in range(max(1, round(least_s / float(span * video.time_base)))):
            for data, pts, dts, is_key in packets:
                packet = av.Packet(data)
                packet.pts, packet.dts = pts + time_round * span, dts + time_round * span
                packet.time_base, packet.is_keyframe, packet.stream = video.time_base, is_key, out
                sink.mux(packet)
    return target


def label_of(clip: Path) -> str:
    """``24 s, 640x360, 30 a second, h264``."""
    info = probe(clip)
    size = f"{info.width}x{info.height}"
    return f"{info.duration_s:.0f} s, {size}, {info.fps:.0f} a second, {info.codec}"


def machine() -> str:
    libraries = ", ".join(f"{name} {version(name)}" for name in ("av", "mediapipe", "numpy"))
    return (
        f"{os.cpu_count()} cores, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}, {libraries}"
    )


def row_of(
    clip: Path, folder: Path, asked: argparse.Namespace, *, bare: bool = True
) -> dict[str, object]:
    """One clip, the runs of each kind in turn so that they meet the same machine."""
    model = find_model(asked.model).path
    loops, decodes, sets = [], [], []
    for n in range(asked.runs):
        if bare:
            loops.append(bare_loop(clip, model))
        decodes.append(measure([sys.executable, "-c", DECODE_ONCE, str(clip)]))
        out = folder / f"{clip.stem}-{n}"
        words = ["set", str(clip), "--fresh", "--model", asked.model, "--out", str(out)]
        sets.append(measure([*COMMAND, *words]))
    loop, decode, whole = (fastest(runs) if runs else None for runs in (loops, decodes, sets))
    assert decode is not None and whole is not None
    row: dict[str, object] = {
        "clip": label_of(clip),
        "model": model.stem.removeprefix("pose_"),
        "measured": f"{date.today():%Y-%m-%d}",
        "bare_loop_s": round(loop.wall_s, 1) if loop else None,
        "decode_once_s": round(decode.wall_s, 1),
        "formcheck_set_s": round(whole.wall_s, 1),
        "ratio": round(whole.wall_s / loop.wall_s, 2) if loop else None,
        "cpu_s": round(whole.cpu_s, 1),
        "cpu_ratio": round(whole.cpu_s / loop.cpu_s, 2) if loop else None,
        "peak_mb": round(whole.peak_mb),
        "machine": machine(),
    }
    print(row, flush=True)
    return row


def starts(track: Path, folder: Path) -> pd.DataFrame:
    """What it costs to start, and to judge a saved track: CPU seconds, the least of five."""
    asked = {
        "formcheck --help": ["--help"],
        "formcheck --version": ["--version"],
        "a saved track, page and tables": [
            "set", str(track), "--out", str(folder / "again"), "--overwrite"
        ],
    }  # fmt: skip
    return pd.DataFrame(
        [
            {"what": what, "cpu_s": round(min(short(words).cpu_s for _ in range(5)), 2)}
            for what, words in asked.items()
        ]
    ).set_index("what")


def kept(rows: list[dict[str, object]], path: Path) -> None:
    """Put rows among those of the table, in place of earlier ones of the same clip."""
    table = pd.DataFrame(rows).set_index("clip")
    if path.exists():
        before = pd.read_csv(path).set_index("clip")
        table = pd.concat([before.drop(index=table.index, errors="ignore"), table])
    table.to_csv(path)


def growth_plot(table: pd.DataFrame, path: Path) -> None:
    """Time and memory against the clip's length, which must be a line and flat."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7, 2.8), layout="constrained")
    seconds, memory = figure.subplots(1, 2)
    for axis, column, says in (
        (seconds, "formcheck_set_s", "formcheck set, s"),
        (memory, "peak_mb", "peak memory, MB"),
    ):
        axis.plot(table["length_s"], table[column], "o-", color="#0072B2")
        axis.set(xlabel="length of the clip, s", ylabel=says, xlim=(0, None), ylim=(0, None))
    figure.savefig(path, dpi=110)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clip", type=Path, nargs="?", default=SAMPLE)
    parser.add_argument("--model", default=DEFAULT_MODEL, help="name or landmark bundle, for both")
    parser.add_argument("--runs", type=int, default=1, help="the fastest of so many is shown")
    parser.add_argument("--quick", action="store_true", help="under six minutes on two cores")
    parser.add_argument("--out", type=Path, help="keep tables and plot in this folder")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        rows = [row_of(asked.clip, folder, asked)]
        saved = folder / f"{asked.clip.stem}-0" / "landmarks.parquet"
        begun = starts(saved, folder)
        print(begun)
        rows.append(row_of(scaled_up(asked.clip, folder / "large.mp4"), folder, asked))
        phone = as_a_phone_films(asked.clip, folder / "seconds.mp4")
        phone = repeated(phone, folder / "phone.mp4", 12.0 if asked.quick else 30.0)
        rows.append(row_of(phone, folder, asked, bare=False))
        lengths = []
        for least_s in () if asked.quick else (30.0, 120.0, 300.0, 1200.0):
            long = repeated(asked.clip, folder / f"{least_s:.0f}s.mp4", least_s)
            lengths.append(row_of(long, folder, asked, bare=False))
            lengths[-1]["length_s"] = probe(long).duration_s
        if asked.out:
            kept(rows, asked.out / "speed.csv")
            begun.to_csv(asked.out / "starts.csv")
            if lengths:
                table = pd.DataFrame(lengths).set_index("clip")
                table.to_csv(asked.out / "speed_by_length.csv")
                growth_plot(table, asked.out / "speed_by_length.png")


if __name__ == "__main__":
    main()
