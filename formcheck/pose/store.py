"""The pose track on disk: one Parquet row a pose frame.

Columns: ``t_s``; for each landmark ``NAME_x``, ``NAME_y`` (image pixels as displayed),
``NAME_vis`` (0 to 1), ``NAME_wx``, ``NAME_wy``, ``NAME_wz`` (world metres). The file's
metadata key ``formcheck`` holds JSON: ``width``, ``height``, ``fps``, ``source`` and
``model`` (``name`` and ``sha256`` each), ``duration_s``, ``frames`` and ``notes``; and ``crc32``
of the rest, which a header changed by hand need not have. The columns carry Parquet's own page
checksums. Both are verified, so that a damaged track is never judged as if it were whole.

Columns become arrays and back by way of tensors and buffers: pyarrow's other ways import pandas,
which takes longer than judging does.
"""

from __future__ import annotations

import json
import re
import zlib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from jsonschema import Draft202012Validator

from formcheck.errors import TrackError
from formcheck.files import open_regular
from formcheck.locks import made_beside
from formcheck.maths.arrays import FloatArray
from formcheck.plain import plain
from formcheck.pose.track import LANDMARKS, REQUIRED, PoseTrack

_KEY = b"formcheck"
_POSITION = ("x", "y")
_WORLD = ("wx", "wy", "wz")


# What a track may claim. An hour at 60 Hz is 216,000 rows, and takes 0.7 GB to read.
_LARGEST_BYTES = 500_000_000
_MOST_ROWS = 250_000
_MOST_COLUMNS = 2_000
_LONGEST_S = 3600.0
_FASTEST_HZ = 1000.0
_LARGEST_PX = 16_384
_FURTHEST = 100.0  # times the picture's size from its corner: no camera sees that

_TEXT = {"type": ["string", "null"]}
_KNOWN_BY = {
    "type": ["object", "null"],
    "properties": {"name": _TEXT, "sha256": _TEXT},
    "description": "a table with “name” and “sha256”, both text",
}
_PIXELS = {
    "type": "number",
    "minimum": 1,
    "maximum": _LARGEST_PX,
    "description": f"a number of pixels from 1 to {_LARGEST_PX}",
}
_HEADER_KEYS: dict[str, dict[str, Any]] = {
    "width": _PIXELS,
    "height": _PIXELS,
    "fps": {
        "type": ["number", "null"],
        "minimum": 0.01,
        "maximum": _FASTEST_HZ,
        "description": f"a number above zero, at most {_FASTEST_HZ:g}",
    },
    "duration_s": {
        "type": ["number", "null"],
        "exclusiveMinimum": 0,
        "maximum": _LONGEST_S,
        "description": f"a number above zero, at most {_LONGEST_S:g}",
    },
    "frames": {
        "type": ["integer", "null"],
        "minimum": 1,
        "maximum": int(_LONGEST_S * _FASTEST_HZ),
        "description": "a whole number above zero",
    },
    "source": _KNOWN_BY,
    "model": _KNOWN_BY,
    "notes": {
        "type": ["array", "null"],
        "items": {"type": "string"},
        "maxItems": 100,
        "description": "a list of at most 100 texts",
    },
    "crc32": {"type": "integer", "description": "a whole number"},
}
_HEADER = {"type": "object", "required": ["width", "height"], "properties": _HEADER_KEYS}


def write_track(track: PoseTrack, path: Path) -> None:
    """Save a track, written beside and renamed. Coordinates are kept as 32-bit floats."""
    columns: dict[str, FloatArray] = {"t_s": np.ascontiguousarray(track.t_s)}
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
    header = json.dumps(described | {"crc32": _crc32(described)})
    arrays = [
        pa.Array.from_buffers(
            pa.from_numpy_dtype(values.dtype), len(values), [None, pa.py_buffer(values)]
        )
        for values in columns.values()
    ]
    table = pa.Table.from_arrays(arrays, names=list(columns), metadata={_KEY: header})
    with made_beside(path) as partial, partial.open("wb") as file:  # it takes UTF-8 names alone
        pq.write_table(table, file, compression="zstd", write_page_checksum=True)


def clip_of(path: Path) -> str | None:
    """SHA-256 of the clip that a saved track is of, read without the track. Raises TrackError."""
    try:
        with open_regular(path, _LARGEST_BYTES) as file:
            metadata = pq.read_schema(file).metadata or {}
    except (OSError, pa.ArrowException) as error:
        raise TrackError(f"{path} cannot be read; it is no saved pose track.") from error
    return _digest(_described(path, metadata).get("source") or {})


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
    described = _described(path, table.schema.metadata or {})
    column = _columns(path, table)
    t_s = column["t_s"]
    _check_times(path, t_s)

    shape = (len(t_s), len(LANDMARKS))
    xy = np.full((*shape, 2), np.nan)
    visibility = np.full(shape, np.nan)
    world = np.full((*shape, 3), np.nan)
    for i, name in enumerate(LANDMARKS):
        if f"{name}_x" not in column or f"{name}_y" not in column:
            continue
        for axis, suffix in enumerate(_POSITION):
            xy[:, i, axis] = column[f"{name}_{suffix}"]
        if f"{name}_vis" in column:
            visibility[:, i] = column[f"{name}_vis"]
        if all(f"{name}_{suffix}" in column for suffix in _WORLD):
            for axis, suffix in enumerate(_WORLD):
                world[:, i, axis] = column[f"{name}_{suffix}"]

    if np.nanmin(visibility, initial=0.0) < 0 or np.nanmax(visibility, initial=1.0) > 1:
        raise TrackError(f"{path}: a visibility lies outside 0 to 1; scale the _vis columns.")
    size = np.array([float(described["width"]), float(described["height"])])
    if (np.abs(np.nan_to_num(xy, posinf=0.0, neginf=0.0)) > _FURTHEST * size).any():
        raise TrackError(
            f"{path}: positions lie far outside the picture of {size[0]:g}×{size[1]:g} px; store x "
            "and y in its pixels."
        )
    unseen = ~np.isfinite(xy).all(axis=2)
    xy[unseen] = np.nan
    visibility[~unseen & ~np.isfinite(visibility)] = 1.0
    visibility[unseen] = np.nan

    step_s = float(np.median(np.diff(t_s)))
    source, model = described.get("source") or {}, described.get("model") or {}
    return PoseTrack(
        t_s=t_s,
        xy_px=xy,
        visibility=visibility,
        world_m=world if np.isfinite(world).any() else None,
        width=round(described["width"]),
        height=round(described["height"]),
        fps=float(described.get("fps") or 1.0 / step_s),
        duration_s=float(described.get("duration_s") or float(t_s[-1] - t_s[0]) + step_s),
        frames=int(described.get("frames") or len(t_s)),
        source_name=_name(source) or plain(path.name),
        source_sha256=_digest(source),
        model_name=_name(model),
        model_sha256=_digest(model),
        notes=tuple(plain(note) for note in described.get("notes") or ()),
    )


def _name(known_by: dict[str, Any]) -> str | None:
    name = known_by.get("name")
    return None if name is None else plain(name, 200)


def _digest(known_by: dict[str, Any]) -> str | None:
    given = known_by.get("sha256") or ""
    return given if re.fullmatch("[0-9a-f]{64}", given) else None


def _table(path: Path) -> pa.Table:
    try:
        with open_regular(path, _LARGEST_BYTES) as file:
            parquet = pq.ParquetFile(
                file,
                page_checksum_verification=True,
                thrift_string_size_limit=10_000_000,
                thrift_container_size_limit=100_000,
            )
            held = parquet.metadata
            if held.num_rows > _MOST_ROWS or held.num_columns > _MOST_COLUMNS:
                raise TrackError(
                    f"{path} holds {held.num_rows:,} rows of {held.num_columns:,} columns, and at "
                    f"most {_MOST_ROWS:,} of {_MOST_COLUMNS:,} are read; cut the set out of it."
                )
            _check_columns(path, parquet.schema_arrow)
            names = set(parquet.schema_arrow.names)
            table = parquet.read(columns=[name for name in _COLUMNS if name in names])
    except FileNotFoundError as error:
        raise TrackError(f"{path}: there is no such file; check the name.") from error
    except IsADirectoryError as error:
        raise TrackError(f"{path} is a folder; give the landmarks.parquet inside it.") from error
    except PermissionError as error:
        raise TrackError(f"{path}: no permission to read it; change its permissions.") from error
    except _PARQUET_ERRORS as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise TrackError(f"{path} cannot be read ({error.strerror}).") from error
        raise TrackError(
            f"{path} is not a readable Parquet file, or is damaged; make it again from the clip."
        ) from error
    if table.num_rows < 2:
        raise TrackError(f"{path} holds {table.num_rows} pose frame(s); a set needs many.")
    return table


# All that the Parquet library was seen to raise over damaged files.
_PARQUET_ERRORS = (
    pa.ArrowException, OSError, ValueError, ArithmeticError, MemoryError, TypeError, LookupError,
    RecursionError,
)  # fmt: skip
_COLUMNS = (
    "t_s",
    *(f"{name}_{kind}" for name in LANDMARKS for kind in (*_POSITION, "vis", *_WORLD)),
)


def _check_columns(path: Path, schema: pa.Schema) -> None:
    wanted = ["t_s", *(f"{name}_{axis}" for name in REQUIRED for axis in _POSITION)]
    missing = [name for name in wanted if name not in schema.names]
    if missing:
        more = f" and {len(missing) - 3} more" if len(missing) > 3 else ""
        raise TrackError(
            f"{path} lacks the columns {', '.join(missing[:3])}{more}; a pose track needs t_s and "
            "x and y of both shoulders, elbows, wrists, hips, knees and ankles."
        )
    for name in set(_COLUMNS) & set(schema.names):
        if len(found := schema.get_all_field_indices(name)) > 1:
            raise TrackError(f"{path} has {len(found)} columns named {name}; keep one.")
        kind = schema.field(name).type
        if not (pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_null(kind)):
            raise TrackError(f"{path}: column {name} is not numeric; store it as float.")


def _described(path: Path, metadata: dict[bytes, bytes]) -> dict[str, Any]:
    """The header, held to its schema and its checksum."""
    remedy = (
        "write the file metadata key “formcheck” as JSON with at least width and height in pixels."
    )
    if _KEY not in metadata:
        raise TrackError(f"{path} does not say its picture size; {remedy}")
    try:
        described = json.loads(metadata[_KEY], parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise TrackError(f"{path} has metadata that is not JSON; {remedy}") from error
    if not isinstance(described, dict):
        raise TrackError(f"{path} has metadata that is not a JSON object; {remedy}")
    try:
        problem = next(_header().iter_errors(described), None)
    except (ArithmeticError, RecursionError) as error:
        raise TrackError(f"{path} has metadata of no sense; {remedy}") from error
    if problem is not None:
        missing = next((key for key in ("width", "height") if key not in described), None)
        key = missing or str(problem.path[0])
        must_be = _HEADER_KEYS[key]["description"]
        raise TrackError(f"{path}: “{key}” in the metadata must be {must_be}; correct it there.")
    if described.pop("crc32", None) not in (None, _crc32(described)):
        raise TrackError(
            f"{path} is damaged: its metadata do not match their checksum; make it again from the "
            "clip (who changed them by hand leaves “crc32” out)."
        )
    return described


def _no_number(constant: str) -> float:
    raise ValueError(f"{constant} is no number of JSON's")


@cache
def _header() -> Draft202012Validator:
    return Draft202012Validator(_HEADER)


def _crc32(described: dict[str, Any]) -> int:
    return zlib.crc32(json.dumps(described, sort_keys=True).encode())


def _columns(path: Path, table: pa.Table) -> dict[str, FloatArray]:
    """Every column (N,) by its name, NaN where it has no value."""
    try:
        for i, field in enumerate(table.schema):
            if not (pa.types.is_float64(field.type) or pa.types.is_float32(field.type)):
                table = table.set_column(i, field.name, table[field.name].cast(pa.float64()))
        whole = table.combine_chunks().to_batches()[0].to_tensor(null_to_nan=True, row_major=False)
    except pa.ArrowException as error:
        raise TrackError(f"{path}: a column is not numeric; store it as float.") from error
    values = np.asarray(whole.to_numpy(), dtype=np.float64)
    return dict(zip(table.column_names, values.T, strict=True))


def _check_times(path: Path, t_s: FloatArray) -> None:
    if not np.isfinite(t_s).all():
        raise TrackError(f"{path}: t_s has gaps; every pose frame needs its time in seconds.")
    if not (np.diff(t_s) > 0).all():
        raise TrackError(f"{path}: t_s does not increase; sort the rows by time, each time once.")
    if t_s[0] < 0 or t_s[-1] > _LONGEST_S:
        raise TrackError(
            f"{path}: t_s runs from {t_s[0]:g} to {t_s[-1]:g} s; it must count the seconds from "
            f"the clip's first picture, and end by {_LONGEST_S:g} s."
        )
    if float(np.median(np.diff(t_s))) < 1.0 / _FASTEST_HZ:
        raise TrackError(
            f"{path}: its pose frames lie {np.median(np.diff(t_s)):.1g} s apart; t_s must be in "
            "seconds."
        )
