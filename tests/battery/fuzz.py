"""Files bent at random, to every reader of files from outside; and bent bodies, to the analysis.

    python -m tests.battery.fuzz                      # 10,000 mutants each of a clip and a track
    python -m tests.battery.fuzz clip --mutants 2000
    python -m tests.battery.fuzz set --mutants 2000   # whole tracks of impossible bodies

What is given may be read, or refused with a FormcheckError in a sentence. Anything else is a
finding, which Hypothesis makes as small as it can and prints: another exception, 20 seconds
without an end, 1.5 GB. The suite does the same for seconds (``test_fuzz.py``).
"""

from __future__ import annotations

import argparse
import faulthandler
import io
import resource
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from formcheck.agree.labels import read_labels
from formcheck.analysis import analyse
from formcheck.batch.roster import read_roster
from formcheck.clip.read import probe, read_frames
from formcheck.errors import FormcheckError
from formcheck.faults.limits import read_limits
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.report.contract import check, report_dict
from tests.clip.clips import make_clip

MOST_S, MOST_BYTES = 20.0, 3 << 29
DATA = Path(__file__).parents[1] / "data"


@dataclass(frozen=True)
class Change:
    """One change to a file; ``at`` is a place as a share of it, heads and tails more often."""

    kind: str
    at: float
    length: int
    value: bytes

    def to(self, data: bytes) -> bytes:
        place = int(self.at * len(data))
        there = data[place : place + self.length]
        changed = {
            "set": self.value,
            "flip": bytes([there[0] ^ (1 << (self.length % 8))]) if there else b"",
            "remove": b"",
            "double": there + there,
            "zero": bytes(len(there)),
            "cut off": b"",
        }[self.kind]
        if self.kind == "cut off":
            return data[:place]
        width = len(self.value) if self.kind == "set" else 1 if self.kind == "flip" else len(there)
        return data[:place] + changed + data[place + width :]


# Structure stands at both ends; values at which counts and signs turn over are told apart.
PLACES = st.one_of(st.floats(0, 0.05), st.floats(0.9, 1.0), st.floats(0, 1))
VALUES = st.one_of(
    st.binary(min_size=1, max_size=8),
    st.sampled_from([b"\xff" * 4, b"\x7f\xff\xff\xff", b"\x80" + bytes(7), bytes(4), b"\xff" * 8]),
)
KINDS = st.sampled_from(["set", "set", "flip", "flip", "remove", "double", "zero", "cut off"])
CHANGES = st.lists(
    st.builds(Change, KINDS, PLACES, st.integers(1, 2048), VALUES), min_size=1, max_size=6
)


def read_clip(path: Path) -> None:
    info = probe(path)
    for _ in read_frames(info, info.times_s[:3], 320):
        pass


@cache
def whole(kind: str) -> list[tuple[str, bytes]]:
    """Good files of a kind, with their suffixes."""
    if kind == "track":
        return [(".parquet", (DATA / "clean_side.parquet").read_bytes())]
    if kind == "limits":
        return [(".toml", b"hip_sag = 8.5\n[shallow]\nvalue = 95\nreason = 'mine \xc3\x97'\n")]
    if kind == "roster":
        rows = [
            "person,body_mass_kg,tempo,reps_left,target_reps",
            "Ada,62.5,2-1-X-1,2,12",
            "Bo,,,,10",
        ]
        table = sheet(rows)
        toml = b'[person.Ada]\ntempo = "2-1-X-1"\n[folder."mon"]\ntarget_reps = 12\n'
        return [(".csv", "\n".join(rows).encode()), (".toml", toml), (".xlsx", table)]
    if kind == "labels":
        rows = ["set,rep,fault,verdict,who,when", "mon,3,hip_sag,yes,AB,2026-09-01"]
        table = sheet(rows)
        return [(".csv", "\n".join(rows).encode()), (".xlsx", table)]
    times_s = [n / 30 for n in range(12)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clips = [
            make_clip(folder / "a.mp4", times_s, sound=True),
            make_clip(folder / "b.mov", times_s, rotation_deg=90),
            make_clip(folder / "a.mkv", times_s),
            make_clip(folder / "a.webm", times_s, codec="libvpx-vp9"),
            make_clip(folder / "a.ts", times_s),
            make_clip(folder / "h.mp4", times_s, codec="libx265"),
        ]
        return [(path.suffix, path.read_bytes()) for path in clips]


def sheet(rows: list[str]) -> bytes:
    book, file = Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row.split(","))
    book.save(file)
    return file.getvalue()


READERS: dict[str, Callable[[Path], object]] = {
    "clip": read_clip,
    "track": read_track,
    "limits": read_limits,
    "roster": read_roster,
    "labels": lambda path: read_labels(path, ["hip_sag", "shallow"]),
}

BODIES = sorted(path.stem for path in DATA.glob("*.parquet"))
JOINTS = st.lists(st.sampled_from(sorted(INDEX)), min_size=1, max_size=12, unique=True)
SPANS = st.tuples(st.floats(0, 1), st.floats(0, 1)).map(sorted)


@dataclass(frozen=True)
class Bend:
    """One thing done to a body: some of its joints, for some of the time."""

    kind: str
    joints: list[str]
    span: list[float]
    size: float

    def to(self, track: PoseTrack) -> PoseTrack:
        xy, n = track.xy_px.copy(), len(track.t_s)
        which = [INDEX[joint] for joint in self.joints]
        when = slice(int(self.span[0] * n), int(self.span[1] * n))
        rng = np.random.default_rng(int(self.size * 1e6) % 2**32)
        match self.kind:
            case "blank":
                xy[when, which] = np.nan
            case "blank all":
                xy[when] = np.nan
            case "freeze":
                xy[when, which] = xy[0, which]
            case "freeze all":
                xy[:] = xy[n // 2]
            case "one point":
                xy[when, which] = [track.width / 2, track.height / 2]
            case "random":
                xy[:, which] = rng.uniform(0, track.width, (n, len(which), 2))
            case "shake":
                xy[when, which] += rng.normal(0, 200 * self.size, xy[when, which].shape)
            case "turn":
                xy = np.stack([track.height - xy[..., 1], xy[..., 0]], axis=-1)
                return replace(track, xy_px=xy, width=track.height, height=track.width)
            case "mirror":
                xy[..., 0] = track.width - xy[..., 0]
            case "upside down":
                xy[..., 1] = track.height - xy[..., 1]
            case "shrink":
                xy *= self.size**4
            case "slow":
                longest_s = 3600.0 / max(track.t_s[-1], track.duration_s)
                factor = 1 + self.size * (longest_s - 1) * 0.999
                return replace(track, t_s=track.t_s * factor, duration_s=track.duration_s * factor)
            case "thin":
                keep = np.sort(rng.choice(n, max(2, int(n * self.size)), replace=False))
                world = None if track.world_m is None else track.world_m[keep]
                return replace(
                    track, t_s=track.t_s[keep], xy_px=xy[keep], visibility=track.visibility[keep],
                    world_m=world,
                )  # fmt: skip
            case "no world":
                return replace(track, world_m=None)
        return replace(track, xy_px=xy)


BENDS = st.lists(
    st.builds(
        Bend,
        st.sampled_from(
            [
                "blank", "blank all", "freeze", "freeze all", "one point", "random", "shake",
                "turn", "mirror", "upside down", "shrink", "slow", "thin", "no world",
            ]
        ),
        JOINTS, SPANS, st.floats(0, 1),
    ),
    min_size=1, max_size=3,
)  # fmt: skip


@cache
def body(name: str) -> PoseTrack:
    return read_track(DATA / f"{name}.parquet")


def fuzz_files(kind: str, mutants: int) -> None:
    """``mutants`` bent files to the reader of a kind; raises at a finding."""
    folder = Path(tempfile.mkdtemp(prefix=f"fuzz_{kind}_"))

    @_many(mutants)
    @given(st.sampled_from(whole(kind)), CHANGES)
    def read(good: tuple[str, bytes], changes: list[Change]) -> None:
        suffix, data = good
        for change in changes:
            data = change.to(data)
        path = folder / f"mutant{suffix}"
        path.write_bytes(data)
        _bounded(lambda: READERS[kind](path))

    read()


def fuzz_sets(mutants: int) -> None:
    """``mutants`` bent bodies to the whole analysis, and to the report; raises at a finding."""

    @_many(mutants)
    @given(st.sampled_from(BODIES), BENDS)
    def judge(name: str, bends: list[Bend]) -> None:
        track = body(name)
        for bend in bends:
            track = bend.to(track)
        _bounded(lambda: check(report_dict(analyse([track]))))

    judge()


def _many(mutants: int) -> settings:
    return settings(
        max_examples=mutants,
        deadline=None,
        database=None,
        print_blob=True,
        suppress_health_check=list(HealthCheck),
    )


def _bounded(work: Callable[[], object]) -> None:
    began, said = time.process_time(), "."
    try:
        work()
    except FormcheckError as error:
        said = str(error)
    assert all(line.endswith(".") for line in said.split("\n")), said  # of a roster one a row
    assert time.process_time() - began < MOST_S
    assert peak_bytes() < MOST_BYTES


def peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def main() -> None:
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    asked.add_argument("kinds", nargs="*", default=["clip", "track"], metavar="KIND",
                       help=f"{', '.join([*READERS, 'set'])}")  # fmt: skip
    asked.add_argument("--mutants", type=int, default=10_000)
    given_ = asked.parse_args()
    faulthandler.enable()
    for kind in given_.kinds:
        began = time.monotonic()
        if kind == "set":
            fuzz_sets(given_.mutants)
        else:
            fuzz_files(kind, given_.mutants)
        print(
            f"{kind}: {given_.mutants} mutants, no finding, {time.monotonic() - began:.0f} s, "
            f"at most {peak_bytes() / 1e6:.0f} MB"
        )


if __name__ == "__main__":
    main()
