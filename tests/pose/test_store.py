from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from formcheck.errors import TrackError
from formcheck.pose.store import read_track, write_track
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


def save(path: Path, columns: dict[str, list[float]], metadata: object) -> Path:
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
    ],
)
def test_a_bad_track_is_refused_in_one_sentence(
    tmp_path: Path, columns: dict[str, list[float]], metadata: object, said: str
) -> None:
    path = save(tmp_path / "bad.parquet", columns, metadata)
    with pytest.raises(TrackError) as refused:
        read_track(path)
    assert said in str(refused.value)
    assert "bad.parquet" in str(refused.value)
    assert "\n" not in str(refused.value)


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
