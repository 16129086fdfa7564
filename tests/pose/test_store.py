from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from formcheck.errors import TrackError
from formcheck.pose.store import clip_of, read_track, write_track
from formcheck.pose.track import INDEX, LANDMARKS, REQUIRED, PoseTrack


def a_track(world: bool = True) -> PoseTrack:
    rng = np.random.default_rng(1)
    n = 4
    xy = rng.uniform(0, 640, (n, len(LANDMARKS), 2)).astype(np.float32).astype(float)
    visibility = rng.uniform(0, 1, (n, len(LANDMARKS))).astype(np.float32).astype(float)
    xy[2], visibility[2] = np.nan, np.nan
    metres = rng.normal(size=(n, len(LANDMARKS), 3)).astype(np.float32).astype(float)
    return PoseTrack(
        t_s=np.array([0.0, 1 / 30, 0.07, 0.1]),
        xy_px=xy,
        visibility=visibility,
        world_m=metres if world else None,
        width=640,
        height=360,
        fps=29.97,
        duration_s=0.13,
        frames=4,
        source_name="set.mp4",
        source_sha256="ab" * 32,
        model_name="pose_full.task",
        model_sha256="cd" * 32,
        notes=("two people in frame",),
    )


def foreign_columns(n: int = 5) -> dict[str, list[float]]:
    """Only the needed joints, no visibility, no world; 10 frames a second."""
    columns = {"t_s": [i / 10 for i in range(n)]}
    for name in REQUIRED:
        columns[f"{name}_x"] = [100.0] * n
        columns[f"{name}_y"] = [50.0] * n
    return columns


def save(path: Path, columns: dict[str, Any], metadata: object) -> Path:
    table = pa.table(columns)
    if metadata is not None:
        text = metadata if isinstance(metadata, str) else json.dumps(metadata)
        table = table.replace_schema_metadata({"formcheck": text})
    pq.write_table(table, path)
    return path


SIZE = {"width": 640, "height": 360}


@pytest.mark.parametrize("world", [True, False])
def test_a_saved_track_comes_back_the_same(tmp_path: Path, world: bool) -> None:
    track = a_track(world)
    write_track(track, tmp_path / "landmarks.parquet")
    back = read_track(tmp_path / "landmarks.parquet")
    for name in ("t_s", "xy_px", "visibility"):
        np.testing.assert_array_equal(getattr(back, name), getattr(track, name))
    if track.world_m is None:
        assert back.world_m is None
    else:
        assert back.world_m is not None
        np.testing.assert_array_equal(back.world_m, track.world_m)
    for name in (
        "width", "height", "fps", "duration_s", "frames", "source_name", "source_sha256",
        "model_name", "model_sha256", "notes",
    ):  # fmt: skip
        assert getattr(back, name) == getattr(track, name)


def test_writing_leaves_nothing_but_the_file(tmp_path: Path) -> None:
    write_track(a_track(), tmp_path / "landmarks.parquet")
    assert [p.name for p in tmp_path.iterdir()] == ["landmarks.parquet"]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere names are text")
def test_a_track_may_have_a_name_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"n\xff.parquet")
    write_track(a_track(), path)
    assert len(read_track(path).t_s) and clip_of(path) == "ab" * 32


def test_a_foreign_track_with_only_the_needed_joints_is_read(tmp_path: Path) -> None:
    columns = foreign_columns()
    columns["left_elbow_x"][2] = float("nan")
    track = read_track(save(tmp_path / "other.parquet", columns, SIZE))
    assert track.world_m is None
    assert track.source_name == "other.parquet"
    assert track.fps == pytest.approx(10)
    assert track.duration_s == pytest.approx(0.5)
    assert track.frames == 5
    assert np.isnan(track.xy("nose")).all()
    assert np.isnan(track.xy("left_elbow")[2]).all()
    assert np.isnan(track.visibility[2, INDEX["left_elbow"]])
    assert (track.visibility[:, INDEX["right_elbow"]] == 1.0).all()


def test_null_and_integer_columns_are_read_as_numbers(tmp_path: Path) -> None:
    columns: dict[str, list[float]] = foreign_columns(3)
    columns["left_hip_x"] = [1, 2, 3]
    columns["left_hip_y"] = [None, 2.0, 3.0]  # type: ignore[list-item]
    track = read_track(save(tmp_path / "t.parquet", columns, SIZE))
    assert np.isnan(track.xy("left_hip")[0]).all()
    assert track.xy("left_hip")[1].tolist() == [2.0, 2.0]


def without(name: str) -> dict[str, list[float]]:
    return {key: values for key, values in foreign_columns().items() if key != name}


@pytest.mark.parametrize(
    ("columns", "metadata", "said"),
    [
        (without("t_s"), SIZE, "lacks the columns t_s"),
        (without("left_knee_y"), SIZE, "left_knee_y"),
        (foreign_columns(1), SIZE, "1 pose frame"),
        (foreign_columns(), None, "picture size"),
        (foreign_columns(), "{", "not JSON"),
        (foreign_columns(), [1], "not a JSON object"),
        (foreign_columns(), {"width": 640}, "“height”"),
        (foreign_columns(), {**SIZE, "fps": "fast"}, "“fps”"),
        (foreign_columns() | {"t_s": [0, 1, 1, 2, 3]}, SIZE, "does not increase"),
        (foreign_columns() | {"t_s": [0, 1, float("nan"), 2, 3]}, SIZE, "t_s has gaps"),
        (foreign_columns() | {"left_hip_vis": [50.0] * 5}, SIZE, "outside 0 to 1"),
        (foreign_columns() | {"left_hip_x": ["a"] * 5}, SIZE, "not numeric"),
        (foreign_columns() | {"left_hip_x": [[1.0]] * 5}, SIZE, "not numeric"),
        (foreign_columns() | {"left_hip_x": [1e30] * 5}, SIZE, "far outside the picture"),
        (foreign_columns() | {"t_s": [0, 1, 2, 3, 1e9]}, SIZE, "from the clip's first picture"),
        (foreign_columns() | {"t_s": [1.7e9 + n for n in range(5)]}, SIZE, "first picture"),
        (foreign_columns() | {"t_s": [n * 1e-9 for n in range(5)]}, SIZE, "in seconds"),
        (foreign_columns(), '{"width": 640, "height": NaN}', "not JSON"),
        (foreign_columns(), "[" * 100_000, "not JSON"),
        (foreign_columns(), f'{{"width": 640, "height": {"9" * 400}}}', "“height”"),
        (foreign_columns(), f'{{"width": 640, "height": {"9" * 5000}}}', "not JSON"),
        (foreign_columns(), {**SIZE, "height": "360"}, "“height”"),
        (foreign_columns(), {**SIZE, "height": 1e9}, "“height”"),
        (foreign_columns(), {**SIZE, "fps": True}, "“fps”"),
        (foreign_columns(), {**SIZE, "duration_s": 1e12}, "“duration_s”"),
        (foreign_columns(), {**SIZE, "frames": [3]}, "“frames”"),
        (foreign_columns(), {**SIZE, "source": "set.mp4"}, "“source”"),
        (foreign_columns(), {**SIZE, "model": {"name": 7}}, "“model”"),
        (foreign_columns(), {**SIZE, "notes": "windy"}, "“notes”"),
        (foreign_columns(), {**SIZE, "notes": [{}]}, "“notes”"),
    ],
)
def test_a_bad_track_is_refused_in_one_sentence(
    tmp_path: Path, columns: dict[str, Any], metadata: object, said: str
) -> None:
    path = save(tmp_path / "bad.parquet", columns, metadata)
    with pytest.raises(TrackError) as refused:
        read_track(path)
    assert said in str(refused.value)
    assert "bad.parquet" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_names_and_remarks_of_a_track_are_made_fit_to_be_shown(tmp_path: Path) -> None:
    metadata = {**SIZE, "source": {"name": "a\x1b[2J\ud800\0b", "sha256": "x"}, "notes": ["\u202e"]}
    track = read_track(save(tmp_path / "t.parquet", foreign_columns(), metadata))
    assert track.source_name == "a⟨U+001B⟩[2J⟨U+D800⟩⟨U+0000⟩b"
    assert track.notes == ("⟨U+202E⟩",)
    assert track.source_sha256 is None


def test_a_bit_that_fell_over_anywhere_is_never_read_as_a_whole_track(tmp_path: Path) -> None:
    path = tmp_path / "landmarks.parquet"
    write_track(a_track(), path)
    whole, good = path.read_bytes(), a_track()
    rng = np.random.default_rng(3)
    refused = 0
    for at in rng.integers(0, len(whole), 300):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << rng.integers(8)]) + whole[at + 1 :])
        try:
            track = read_track(path)
        except TrackError:
            refused += 1
            continue
        # What the file's own index says of names, statistics and versions decides nothing.
        np.testing.assert_array_equal(track.xy_px, good.xy_px)
        np.testing.assert_array_equal(track.t_s, good.t_s)
        assert (track.width, track.source_name) == (good.width, good.source_name)
    assert refused > 100


def test_a_header_changed_by_hand_is_told_from_a_damaged_one(tmp_path: Path) -> None:
    path = tmp_path / "landmarks.parquet"
    write_track(a_track(), path)
    table = pq.read_table(path)
    header = json.loads(table.schema.metadata[b"formcheck"])
    header["width"] = 1280
    pq.write_table(table.replace_schema_metadata({"formcheck": json.dumps(header)}), path)
    with pytest.raises(TrackError, match=r"damaged.*leaves “crc32” out"):
        read_track(path)
    del header["crc32"]
    pq.write_table(table.replace_schema_metadata({"formcheck": json.dumps(header)}), path)
    assert read_track(path).width == 1280


def test_a_track_of_a_million_rows_in_a_small_file_is_refused_before_it_is_read(
    tmp_path: Path,
) -> None:
    rows = 1_000_000
    same = pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int8)), pa.array([1.0]))
    columns = dict.fromkeys(foreign_columns(), same)
    path = tmp_path / "many.parquet"
    pq.write_table(pa.table(columns).replace_schema_metadata({"formcheck": json.dumps(SIZE)}), path)
    assert path.stat().st_size < 300_000
    before = pa.total_allocated_bytes()
    with pytest.raises(TrackError, match="1,000,000 rows"):
        read_track(path)
    assert pa.total_allocated_bytes() - before < 50_000_000


def test_a_pipe_or_a_device_is_no_track(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.parquet")
    for path in (tmp_path / "pipe.parquet", Path("/dev/zero")):
        with pytest.raises(TrackError, match="a device or a pipe"):
            read_track(path)


def test_files_that_are_no_parquet_are_refused(tmp_path: Path) -> None:
    (tmp_path / "text.parquet").write_text("hello")
    (tmp_path / "empty.parquet").touch()
    for path, said in (
        (tmp_path / "text.parquet", "not a readable Parquet"),
        (tmp_path / "empty.parquet", "not a readable Parquet"),
        (tmp_path / "absent.parquet", "no such file"),
        (tmp_path, "is a folder"),
    ):
        with pytest.raises(TrackError, match=said):
            read_track(path)
