"""Time and memory of `formcheck set`: every figure that it is held to, in one run.

    python -m tests.truth.speed [CLIP] [--parts starts,first,large,...] [--out tests/truth/latest]

The bare loop is the least that any tool with this model must do: decode every picture and run the
same landmark model on it, in one thread, nothing kept. Everything runs as whole processes, start
of the interpreter included, with Python's compiled files as an installation has them. Memory is
that of the process with its children at its highest, in one more run that is watched: `peak_mb`
what the machine gives up for them (Linux: proportional set size, a page that n of them share
counted as an nth for each), `rss_mb` their resident sizes added, so that such a page counts n
times.

The parts, in this order: `starts` help, version and a saved track; `given` a clip that ships, as
it is; `first` how long after the search reached the end of the first rep the desk's queue has it
to show; `large` that clip at 1920x1080; `phone` at 3840x2160 with 60 pictures a second in HEVC of
10 bit with a sensor's grain, beside the time to decode it with all cores and to search for the
pose in as long a clip of 640x360; `lengths` 30 s to 20 min of it, repeated, each run once and
watched, whose times must lie on a line. `--quick` leaves out `phone` and `lengths`.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from importlib.metadata import version
from pathlib import Path

import av
import numpy as np
import pandas as pd
import psutil

from formcheck.apart.process import told_apart
from formcheck.clip.read import probe
from formcheck.desk.queue import MEMORY_BYTES, STALL_S
from formcheck.desk.work import DeskJob, Seen, judge_told
from formcheck.job import SetJob
from formcheck.judged import PROCESSES
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
SEARCH_ALONE = """
import os, sys
from pathlib import Path
from formcheck.clip.read import probe
from formcheck.judged import PROCESSES
from formcheck.pose.landmarker import find_pose
from formcheck.pose.model import find_model
processes = min(PROCESSES, os.cpu_count() or 1)
find_pose(probe(Path(sys.argv[1])), find_model(sys.argv[2]), processes=processes)
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
PARTS = ("starts", "given", "first", "large", "phone", "lengths")
# What each figure is held to, on two cores.
GOALS = {
    "given": ("a clip as it ships, everything written, over the bare loop", 0.30, "ratio"),
    "large": ("at 1920x1080, over the bare loop", 0.38, "ratio"),
    "phone": ("at 3840x2160, 60 a second, less the search, over decoding it once", 1.25, "ratio"),
    "track": ("a saved track, whole process, page and tables", 1.5, "s CPU"),
    "help": ("formcheck --help", 0.15, "s CPU"),
    "version": ("formcheck --version", 0.15, "s CPU"),
    "memory_large": ("all processes at 1920x1080", 650, "MB"),
    "memory_phone": ("all processes at 3840x2160", 900, "MB"),
    "flat": ("memory from 30 s to 20 min, highest over lowest", 1.1, "ratio"),
    "line": ("time against length, furthest off its line", 10, "%"),
    "first": ("first rep, after the search reached it", 5.0, "s"),
}


@dataclass(frozen=True)
class Run:
    """Wall time, CPU time and peak memory of a process and its children; see the module."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    rss_mb: float


def as_installed() -> dict[str, str]:
    """The environment, whatever a developer's says of compiled files."""
    return {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}


def timed(command: Sequence[str]) -> Run:
    """Run to the end, watched by nobody: looking at memory takes a few hundredths of the cores."""
    before, started = os.times(), time.perf_counter()
    done = subprocess.run(command, check=False, capture_output=True, env=as_installed())
    _must_succeed(command, done.returncode, done.stderr)
    after, wall_s = os.times(), time.perf_counter() - started
    cpu_s = (after.children_user + after.children_system) - (
        before.children_user + before.children_system
    )
    return Run(wall_s, cpu_s, float("nan"), float("nan"))


def measure(command: Sequence[str]) -> Run:
    """Run to the end, looking at the memory of all its processes five times a second."""
    started, peak, resident = time.perf_counter(), 0.0, 0.0
    cpu: dict[int, float] = {}
    with subprocess.Popen(
        command, env=as_installed(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    ) as process:
        top = psutil.Process(process.pid)
        while process.poll() is None:
            shares, sizes = 0.0, 0.0
            for one in _family(top):
                try:
                    times = one.cpu_times()
                    cpu[one.pid] = times.user + times.system
                    memory = one.memory_full_info()
                except psutil.Error:
                    continue  # it ended between being listed and being asked
                shares += getattr(memory, "pss", memory.rss)
                sizes += memory.rss
            peak, resident = max(peak, shares), max(resident, sizes)
            time.sleep(0.2)
        _must_succeed(command, process.returncode, process.stderr.read() if process.stderr else b"")
    wall_s = time.perf_counter() - started
    return Run(wall_s, sum(cpu.values()), peak / 1e6, resident / 1e6)


def _must_succeed(command: Sequence[str], code: int, says: bytes) -> None:
    if code:
        raise SystemExit(f"{' '.join(command[:4])} … failed:\n{says.decode()[-2000:]}")


def _family(top: psutil.Process) -> list[psutil.Process]:
    try:
        return [top, *top.children(recursive=True)]
    except psutil.Error:
        return []


def bare_loop(clip: Path, model: Path) -> Run:
    return timed([sys.executable, "-c", BARE_LOOP, str(clip), str(model)])


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
    clip: Path, folder: Path, asked: argparse.Namespace, *, bare: bool = True, once: bool = False
) -> dict[str, object]:
    """One clip, the runs of each kind in turn so that they meet the same machine; or ``once``,
    watched."""
    model = find_model(asked.model).path
    loops, decodes, sets = [], [], []
    words = ["set", str(clip), "--fresh", "--model", asked.model, "--out", str(folder / clip.stem)]
    for _ in range(0 if once else asked.runs):
        if bare:
            loops.append(bare_loop(clip, model))
        decodes.append(timed([sys.executable, "-c", DECODE_ONCE, str(clip)]))
        sets.append(timed([*COMMAND, *words, "--overwrite"]))
    watched = measure([*COMMAND, *words, "--overwrite"])
    info = probe(clip)
    loop, decode, whole = (fastest(runs) if runs else None for runs in (loops, decodes, sets))
    whole = whole or watched
    row: dict[str, object] = {
        "clip": label_of(clip),
        "model": model.stem.removeprefix("pose_"),
        "measured": f"{date.today():%Y-%m-%d}",
        "bare_loop_s": round(loop.wall_s, 1) if loop else None,
        "decode_once_s": round(decode.wall_s, 1) if decode else None,
        "formcheck_set_s": round(whole.wall_s, 1),
        "ratio": round(whole.wall_s / loop.wall_s, 2) if loop else None,
        "cpu_s": round(whole.cpu_s, 1),
        "cpu_ratio": round(whole.cpu_s / loop.cpu_s, 2) if loop else None,
        "peak_mb": round(watched.peak_mb),
        "rss_mb": round(watched.rss_mb),
        "length_s": round(info.duration_s, 1),
        "mpx_a_second": round(info.width * info.height * info.fps / 1e6, 1),
        "machine": machine(),
    }
    print(row, flush=True)
    return row


def starts(clip: Path, folder: Path) -> pd.DataFrame:
    """What it costs to start, and to judge a saved track: CPU seconds, the least of five."""
    track = Path(__file__).parents[1] / "data" / f"{clip.stem}.parquet"
    if not track.exists():
        track = Path(__file__).parents[1] / "data" / f"{SAMPLE.stem}.parquet"
    asked = {
        "formcheck --help": ["--help"],
        "formcheck --version": ["--version"],
        "a saved track, page and tables": [
            "set", str(track), "--out", str(folder / "again"), "--overwrite"
        ],
    }  # fmt: skip
    table = pd.DataFrame(
        [
            {
                "what": what,
                "cpu_s": round(min(timed([*COMMAND, *words]).cpu_s for _ in range(5)), 2),
            }
            for what, words in asked.items()
        ]
    ).set_index("what")
    print(table, flush=True)
    return table


def first_rep(clip: Path, folder: Path, asked: argparse.Namespace) -> float:
    """Seconds from when the search came to the end of the first rep to when its set has it to
    show, by the desk's own process; to which the page adds the 0.4 s between two of its looks."""
    job = DeskJob(
        SetJob((clip,), folder / "first", model=asked.model, fresh=True, processes=PROCESSES),
        folder / "first.jpg",
    )
    told: list[tuple[float, Seen]] = []
    with contextlib.closing(told_apart(judge_told, job, MEMORY_BYTES, STALL_S)) as steps:
        for step in steps:
            if isinstance(step, Seen):
                told.append((time.monotonic(), step))
    shown_s, _ = next((at_s, seen) for at_s, seen in told if seen.early.reps)
    ends_s = told[-1][1].early.reps[0][1]
    reached_s = np.interp(ends_s, [seen.early.until_s for _, seen in told], [t for t, _ in told])
    return float(shown_s - reached_s)


def kept(rows: list[dict[str, object]], path: Path) -> None:
    """Put rows among those of the table, in place of earlier ones of the same clip."""
    table = pd.DataFrame(rows).set_index("clip")
    if path.exists():
        before = pd.read_csv(path).set_index("clip")
        table = pd.concat([before.drop(index=table.index, errors="ignore"), table])
    table.to_csv(path)


def growth_plot(table: pd.DataFrame, sizes: pd.DataFrame | None, path: Path) -> None:
    """Time and memory against the clip's length, which must be a line and flat; and time a second
    of clip against what it shows in one, which must be a line, where ``sizes`` were measured."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 2.8), layout="constrained")
    seconds, memory, by_size = figure.subplots(1, 3)
    for axis, column, says in (
        (seconds, "formcheck_set_s", "formcheck set, s"),
        (memory, "peak_mb", "peak memory, MB"),
    ):
        axis.plot(table["length_s"], table[column], "o-", color="#0072B2")
        axis.set(xlabel="length of the clip, s", ylabel=says, xlim=(0, None), ylim=(0, None))
    if sizes is not None:
        each_s = sizes["formcheck_set_s"] / sizes["length_s"]
        by_size.plot(sizes["mpx_a_second"], each_s, "o-", color="#0072B2")
        by_size.set(
            xlabel="shown, million px a second", ylabel="formcheck set, s a second of clip",
            xlim=(0, None), ylim=(0, None),
        )  # fmt: skip
    figure.savefig(path, dpi=110)


def straightness(lengths: pd.DataFrame, column: str) -> float:
    """How far the worst of the lengths lies off the straight line through all, as a share."""
    x, y = lengths["length_s"].to_numpy(float), lengths[column].to_numpy(float)
    line = np.polyval(np.polyfit(x, y, 1, w=1 / y), x)
    return float(np.max(np.abs(y - line) / y))


def against_goals(found: Mapping[str, float]) -> pd.DataFrame:
    """What was measured, beside what it is held to."""
    table = pd.DataFrame(
        [
            {"what": what, "measured": round(found[key], 2), "at most": goal, "unit": unit}
            for key, (what, goal, unit) in GOALS.items()
            if key in found
        ]
    ).set_index("what")
    table["held"] = np.where(table["measured"] <= table["at most"], "yes", "no")
    return table


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("clip", type=Path, nargs="?", default=SAMPLE)
    parser.add_argument("--model", default=DEFAULT_MODEL, help="name or landmark bundle, for both")
    parser.add_argument("--runs", type=int, default=1, help="the fastest of so many is shown")
    parser.add_argument("--parts", default=",".join(PARTS), help=f"of {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="without phone and lengths")
    parser.add_argument("--out", type=Path, help="keep tables and plot in this folder")
    asked = parser.parse_args()
    parts = set(asked.parts.split(",")) - ({"phone", "lengths"} if asked.quick else set())
    if parts - set(PARTS):
        parser.error(f"parts are {', '.join(PARTS)}")
    found: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as scratch:
        folder, out = Path(scratch), asked.out
        if "starts" in parts:
            begun = starts(asked.clip, folder)
            found |= dict(zip(("help", "version", "track"), begun["cpu_s"], strict=True))
        rows = []
        if "given" in parts:
            rows.append(row_of(asked.clip, folder, asked))
            found["given"] = number_of(rows[-1], "ratio")
        if "first" in parts:
            found["first"] = first_rep(asked.clip, folder, asked)
        if "large" in parts:
            rows.append(row_of(scaled_up(asked.clip, folder / "large.mp4"), folder, asked))
            found["large"] = number_of(rows[-1], "ratio")
            found["memory_large"] = number_of(rows[-1], "peak_mb")
        if "phone" in parts:
            seconds = as_a_phone_films(asked.clip, folder / "seconds.mp4")
            phone = repeated(seconds, folder / "phone.mp4", 30.0)
            rows.append(row_of(phone, folder, asked, bare=False))
            beside = repeated(asked.clip, folder / "beside.mp4", probe(phone).duration_s)
            search = timed([sys.executable, "-c", SEARCH_ALONE, str(beside), asked.model])
            search_s = search.wall_s * probe(phone).duration_s / probe(beside).duration_s
            beyond_s = number_of(rows[-1], "formcheck_set_s") - search_s
            found["phone"] = beyond_s / number_of(rows[-1], "decode_once_s")
            found["memory_phone"] = number_of(rows[-1], "peak_mb")
        if rows and out:
            if len(parts) == len(PARTS):  # all anew: nothing of before is true any more
                (out / "speed.csv").unlink(missing_ok=True)
            kept(rows, out / "speed.csv")
        if "lengths" in parts:
            lengths = []
            for least_s in (30.0, 120.0, 300.0, 1200.0):
                long = repeated(asked.clip, folder / f"{least_s:.0f}s.mp4", least_s)
                lengths.append(row_of(long, folder, asked, once=True))
            table = pd.DataFrame(lengths).set_index("clip")
            found["line"] = 100 * straightness(table, "formcheck_set_s")
            found["flat"] = float(table["peak_mb"].max() / table["peak_mb"].min())
            if out:
                table.to_csv(out / "speed_by_length.csv")
                sizes = pd.DataFrame(rows) if len(rows) > 1 else None
                growth_plot(table, sizes, out / "speed_by_length.png")
    goals = against_goals(found)
    print(goals.to_string())
    if out:
        path = out / "speed_goals.csv"
        if path.exists() and len(parts) < len(PARTS):
            before = pd.read_csv(path, index_col="what")
            goals = pd.concat([before.drop(goals.index, errors="ignore"), goals])
        goals.to_csv(path)


def number_of(row: Mapping[str, object], key: str) -> float:
    value = row[key]
    assert isinstance(value, int | float)
    return float(value)


if __name__ == "__main__":
    main()
