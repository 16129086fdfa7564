"""One set into one folder, whoever asks for it."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import av
import pytest

from formcheck.asked.bounds import AskedError
from formcheck.asked.prescription import Prescription
from formcheck.errors import Exit, FormcheckError, OutputError
from formcheck.job import SetJob, judge_set
from formcheck.pose.sides import with_steady_sides
from formcheck.pose.store import read_track, write_track
from formcheck.pose.track import INDEX, LANDMARKS
from formcheck.reps.pairing import NotOneSetError
from tests.clip.clips import make_clip

TRACKS = Path(__file__).parent / "data"
SIDE, FRONT = TRACKS / "flared_pair_side.parquet", TRACKS / "flared_pair_front.parquet"


def with_exchanged_sides(source: Path, target: Path) -> Path:
    """The track with left and right exchanged for a while, as landmark models do."""
    track = read_track(source)
    there = [
        INDEX[name.replace("left", "right") if "left" in name else name.replace("right", "left")]
        for name in LANDMARKS
    ]
    xy_px, visibility = track.xy_px.copy(), track.visibility.copy()
    some = slice(len(xy_px) // 3, len(xy_px) // 2)
    for values in (xy_px, visibility):
        values[some] = values[some][:, there]
    write_track(replace(track, xy_px=xy_px, visibility=visibility, world_m=None), target)
    repaired = read_track(target)
    assert with_steady_sides(repaired) is not repaired
    return target


def test_a_set_whose_sides_had_to_be_repaired_is_judged(tmp_path: Path) -> None:
    track = with_exchanged_sides(SIDE, tmp_path / "mixed_up.parquet")
    outcome = judge_set(SetJob((track,), tmp_path / "report"))
    assert outcome.exit_code == Exit.DONE
    assert (tmp_path / "report" / "report.html").exists()


def test_each_view_is_written_with_its_own_track_in_any_order(tmp_path: Path) -> None:
    mixed_up = with_exchanged_sides(SIDE, tmp_path / "mixed_up.parquet")
    for n, clips in enumerate([(mixed_up, FRONT), (FRONT, mixed_up)]):
        folder = judge_set(SetJob(clips, tmp_path / str(n))).folder
        names = [read_track(folder / f"landmarks{end}.parquet").source_name for end in ("", "_2")]
        assert names == [read_track(SIDE).source_name, read_track(FRONT).source_name]


def test_names_are_shown_in_place_of_file_names(tmp_path: Path) -> None:
    own = read_track(SIDE).source_name
    folder = judge_set(SetJob((SIDE,), tmp_path / "report", names=("P07-1",))).folder
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert report["clips"][0]["file"] == "P07-1"
    for file in folder.iterdir():
        assert own.encode() not in file.read_bytes(), file.name


def test_limits_and_prescription_reach_the_verdict(tmp_path: Path) -> None:
    asked = Prescription(target_reps=5)
    job = SetJob((SIDE,), tmp_path / "report", asked, limits={"elbow_flare": 10.0})
    analysis = judge_set(job).analysis
    assert analysis.prescription == asked
    assert {f.limit for f in analysis.faults if f.key == "elbow_flare"} == {10.0}


@pytest.mark.parametrize(
    ("job", "said"),
    [
        (SetJob(()), "one clip"),
        (SetJob((SIDE, FRONT, SIDE)), "one clip, or two"),
        (SetJob((SIDE, FRONT), views=("side",)), "once for each clip"),
        (SetJob((SIDE,), views=("above",)), "oblique"),  # type: ignore[arg-type]
        (SetJob((SIDE,), names=("a", "b")), "name once for each clip"),
    ],
)
def test_a_job_that_makes_no_sense_is_refused(tmp_path: Path, job: SetJob, said: str) -> None:
    with pytest.raises(AskedError, match=said):
        judge_set(replace(job, out=tmp_path / "report"))
    assert list(tmp_path.iterdir()) == []


def test_two_clips_that_are_not_one_set_leave_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(NotOneSetError) as refused:
        judge_set(SetJob((TRACKS / "hip_sag_side.parquet", FRONT), tmp_path / "report"))
    assert isinstance(refused.value, FormcheckError)
    assert list(tmp_path.iterdir()) == []


def test_progress_says_what_is_being_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    root = Path(__file__).parents[1] / "sample_clips"
    told: list[tuple[str, float, float]] = []
    judge_set(
        SetJob((root / "hip_sag_side.mp4",), tmp_path / "report", model="full", pose_rate_hz=5),
        lambda *now: told.append(now),
    )
    what = [one[0] for one in told]
    assert list(dict.fromkeys(what)) == ["Finding the pose in hip_sag_side.mp4", "Drawing the clip"]
    assert all(0 <= done <= of * 1.01 for _, done, of in told)


def test_a_clip_given_twice_is_told_from_two_views(tmp_path: Path) -> None:
    (tmp_path / "copy.parquet").write_bytes(SIDE.read_bytes())
    with pytest.raises(FormcheckError, match="the same one"):
        judge_set(SetJob((SIDE, tmp_path / "copy.parquet"), tmp_path / "report"))


def test_a_report_is_never_written_over_the_track_it_judges(tmp_path: Path) -> None:
    folder = judge_set(SetJob((SIDE,), tmp_path / "report")).folder
    (folder / "annotated.mp4").write_text("drawn")
    with pytest.raises(OutputError, match="was given to be judged"):
        judge_set(SetJob((folder / "landmarks.parquet",), folder, overwrite=True))
    assert (folder / "annotated.mp4").read_text() == "drawn"


def test_the_default_folder_fits_the_longest_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    clip = tmp_path / "a.parquet"
    track = read_track(SIDE)
    write_track(replace(track, source_name=f"a{'é' * 120}.mp4"), clip)
    folder = judge_set(SetJob((clip,))).folder
    assert folder.exists() and folder.name == f"a{'é' * 99}_report"


def test_place_and_device_of_a_clip_go_into_no_output(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    plain = make_clip(tmp_path / "plain.mp4", [n / 10 for n in range(20)])
    told = {"location": "+59.3293+018.0686/", "make": "Fonemaker", "comment": "kitchen, Elm Row 4"}
    with (
        av.open(str(plain)) as source,
        av.open(str(tmp_path / "told.mp4"), "w", options={"movflags": "use_metadata_tags"}) as sink,
    ):
        sink.metadata.update(told)
        stream = sink.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                sink.mux(packet)
    content = (tmp_path / "told.mp4").read_bytes()
    assert all(text.encode() in content for text in told.values())
    folder = judge_set(SetJob((tmp_path / "told.mp4",), tmp_path / "report", model="full")).folder
    for file in [*folder.iterdir(), *(tmp_path / "cache").rglob("*.parquet")]:
        for text in told.values():
            assert text.encode() not in file.read_bytes(), file.name


@pytest.mark.parametrize(
    "home", ["formcheck.desk.work", "formcheck.batch.work", "formcheck.analysis"]
)
def test_a_process_that_judges_one_set_loads_no_tables_of_many(home: str) -> None:
    code = f"import {home}, sys; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "numpy" in loaded
    assert not {"pandas", "scipy", "matplotlib", "mediapipe"} & set(loaded)
