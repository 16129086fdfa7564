"""The pose track on disk: one Parquet row a pose frame.

Columns: ``t_s``; for each landmark ``NAME_x``, ``NAME_y`` (image pixels as displayed),
``NAME_vis`` (0 to 1), ``NAME_wx``, ``NAME_wy``, ``NAME_wz`` (world metres). The file's
metadata key ``formcheck`` holds JSON: ``width``, ``height``, ``fps``, ``source`` and
``model`` (``name`` and ``sha256`` each), ``duration_s``, ``frames`` and ``notes``.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from formcheck.errors import TrackError
from formcheck.maths.arrays import FloatArray
from formcheck.pose.track import LANDMARKS, REQUIRED, PoseTrack

_KEY = b"formcheck"
_POSITION = ("x", "y")
_WORLD = ("wx", "wy", "wz")


def write_track(track: PoseTrack, path: Path) -> None:
    """Save a track, written beside and renamed. Coordinates are kept as 32-bit floats."""
    columns: dict[str, FloatArray] = {"t_s": track.t_s}
    for i, name in enumerate(LANDMARKS):
        for axis, suffix in enumerate(_POSITION):
            columns[f"{name}_{suffix}"] = track.xy_px[:, i, axis].astype(np.float32)
        columns[f"{name}_vis"] = track.visibility[:, i].astype(np.float32)
        if track.world_m is not None:
            for axis, suffix in enumerate(_WORLD):
                columns[f"{name}_{suffix}"] = track.world_m[:, i, axis].astype(np.float32)
    described = {
        "width": track.width,
        "height": track.height,
        "fps": track.fps,
        "duration_s": track.duration_s,
        "frames": track.frames,
        "source": {"name": track.source_name, "sha256": track.source_sha256},
        "model": {"name": track.model_name, "sha256": track.model_sha256},
        "notes": list(track.notes),
    }
    table = pa.table(columns).replace_schema_metadata({_KEY: json.dumps(described)})
    partial = path.with_name(f".{path.name}.{os.getpid()}.partial")
    try:
        pq.write_table(table, partial, compression="zstd")
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def read_track(path: Path) -> PoseTrack:
    """Load a track saved by formcheck, or one from another source in the same format.

    Needed are ``t_s``, positions of shoulders, elbows, wrists, hips, knees and ankles, and
    ``width`` and ``height`` in the metadata. A landmark without its own columns is NaN
    throughout; a position without a visibility counts as fully visible; without world columns
    ``world_m`` is None; ``fps``, ``duration_s`` and ``frames`` are taken from ``t_s`` when
    they are not given.

    Raises TrackError, whose message names the file, the problem and the remedy.
    """
    table = _table(path)
    described = _described(path, table)
    t_s = _column(path, table, "t_s")
    _check_times(path, t_s)
    present = set(table.column_names)

    shape = (len(t_s), len(LANDMARKS))
    xy = np.full((*shape, 2), np.nan)
    visibility = np.full(shape, np.nan)
    world = np.full((*shape, 3), np.nan)
    for i, name in enumerate(LANDMARKS):
        if f"{name}_x" not in present or f"{name}_y" not in present:
            continue
        for axis, suffix in enumerate(_POSITION):
            xy[:, i, axis] = _column(path, table, f"{name}_{suffix}")
        if f"{name}_vis" in present:
            visibility[:, i] = _column(path, table, f"{name}_vis")
        if all(f"{name}_{suffix}" in present for suffix in _WORLD):
            for axis, suffix in enumerate(_WORLD):
                world[:, i, axis] = _column(path, table, f"{name}_{suffix}")

    if np.nanmin(visibility, initial=0.0) < 0 or np.nanmax(visibility, initial=1.0) > 1:
        raise TrackError(f"{path}: a visibility lies outside 0 to 1; scale the _vis columns.")
    unseen = ~np.isfinite(xy).all(axis=2)
    xy[unseen] = np.nan
    visibility[~unseen & ~np.isfinite(visibility)] = 1.0
    visibility[unseen] = np.nan

    step_s = float(np.median(np.diff(t_s)))
    fps = _number(path, described, "fps", 1.0 / step_s)
    source, model = described.get("source") or {}, described.get("model") or {}
    return PoseTrack(
        t_s=t_s,
        xy_px=xy,
        visibility=visibility,
        world_m=world if np.isfinite(world).any() else None,
        width=int(_number(path, described, "width")),
        height=int(_number(path, described, "height")),
        fps=fps,
        duration_s=_number(path, described, "duration_s", float(t_s[-1] - t_s[0]) + step_s),
        frames=int(_number(path, described, "frames", float(len(t_s)))),
        source_name=str(source.get("name") or path.name),
        source_sha256=source.get("sha256"),
        model_name=model.get("name"),
        model_sha256=model.get("sha256"),
        notes=tuple(str(note) for note in described.get("notes") or ()),
    )


def _table(path: Path) -> pa.Table:
    if not path.exists():
        raise TrackError(f"{path}: there is no such file; check the name.")
    if path.is_dir():
        raise TrackError(f"{path} is a folder; give the landmarks.parquet inside it.")
    try:
        table = pq.read_table(path)
    except PermissionError as error:
        raise TrackError(f"{path}: no permission to read it; change its permissions.") from error
    except (pa.ArrowException, OSError) as error:
        raise TrackError(
            f"{path} is not a readable Parquet file; make it again from the clip."
        ) from error
    wanted = ["t_s", *(f"{name}_{axis}" for name in REQUIRED for axis in _POSITION)]
    missing = [name for name in wanted if name not in table.column_names]
    if missing:
        more = f" and {len(missing) - 3} more" if len(missing) > 3 else ""
        raise TrackError(
            f"{path} lacks the columns {', '.join(missing[:3])}{more}; a pose track needs t_s and "
            "x and y of both shoulders, elbows, wrists, hips, knees and ankles."
        )
    if table.num_rows < 2:
        raise TrackError(f"{path} holds {table.num_rows} pose frame(s); a set needs many.")
    return table


def _described(path: Path, table: pa.Table) -> dict[str, Any]:
    remedy = (
        "write the file metadata key “formcheck” as JSON with at least width and height in pixels."
    )
    try:
        described = json.loads((table.schema.metadata or {})[_KEY])
    except KeyError as error:
        raise TrackError(f"{path} does not say its picture size; {remedy}") from error
    except ValueError as error:
        raise TrackError(f"{path} has metadata that is not JSON; {remedy}") from error
    if not isinstance(described, dict):
        raise TrackError(f"{path} has metadata that is not a JSON object; {remedy}")
    return described


def _number(path: Path, described: dict[str, Any], key: str, otherwise: float = 0.0) -> float:
    value = described.get(key)
    if value is None:
        value = otherwise
    if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
        raise TrackError(
            f"{path}: “{key}” in the metadata must be a number above zero; correct it there."
        )
    return float(value)


def _column(path: Path, table: pa.Table, name: str) -> FloatArray:
    try:
        values = table[name].cast(pa.float64()).to_numpy()
    except pa.ArrowException as error:
        raise TrackError(f"{path}: column {name} is not numeric; store it as float.") from error
    return np.asarray(values, dtype=np.float64)


def _check_times(path: Path, t_s: FloatArray) -> None:
    if not np.isfinite(t_s).all():
        raise TrackError(f"{path}: t_s has gaps; every pose frame needs its time in seconds.")
    if not (np.diff(t_s) > 0).all():
        raise TrackError(f"{path}: t_s does not increase; sort the rows by time, each time once.")
