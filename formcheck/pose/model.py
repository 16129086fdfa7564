"""Which landmark model to use, checked before use."""

from __future__ import annotations

import zipfile
import zlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from formcheck.errors import ModelError
from formcheck.files import open_regular
from formcheck.pose.digest import sha256_of

DEFAULT_MODEL = "heavy"
# Twice as many looks make the angles of a set 0.1 degree better and its phases 0.01 s, for
# twice the time; a third fewer begin to cost depth in fast sets (tests/truth/model_trade.py).
POSE_RATE_HZ = 15.0
# How a process gets ready to look for the pose: named here, since naming it must import nothing.
SEARCHES = "formcheck.pose.landmarker:get_ready"
_MEMBERS = {"pose_detector.tflite", "pose_landmarks_detector.tflite"}
_TFLITE = b"TFL3"  # the schema's file identifier
_LARGEST_BYTES = 200_000_000
# SHA-256 of the bundles that come with formcheck (see models/README.md).
_SHIPPED = {
    "full": "007693c09b2a7e4d680464868144adf3b6209cef4a7304b048632cd8249bcfaa",
    "heavy": "b491f134d0f25b84cf077f9d23b25cdfcc20b9fbdc4e1498aeb401307032968c",
}
SHIPPED_MODELS = tuple(_SHIPPED)
_ONES_THAT_SHIP = f"--model {' or '.join(_SHIPPED)}, which ship"
# In an installed package; in a checkout.
_FOLDERS = (Path(__file__).parents[1] / "models", Path(__file__).parents[2] / "models")


@dataclass(frozen=True)
class PoseModel:
    """A landmark bundle that was checked."""

    path: Path
    sha256: str

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def shipped(self) -> bool:
        """Whether it is one that comes with formcheck."""
        return self.sha256 in _SHIPPED.values()


def find_model(asked: str = DEFAULT_MODEL) -> PoseModel:
    """The bundle asked for: ``full``, ``heavy``, or the path of another one.

    Raises ModelError when it is missing, damaged, or not a pose landmark bundle.
    """
    if asked in _SHIPPED:
        return _shipped(asked)
    path = Path(asked).absolute()
    try:
        with open_regular(path, _LARGEST_BYTES) as file, zipfile.ZipFile(file) as bundle:
            members = {member.filename: member for member in bundle.infolist()}
            if not set(members) >= _MEMBERS:
                missing = sorted(_MEMBERS - set(members))
                raise ModelError(
                    f"{path} lacks {' and '.join(missing)}, so it is no pose landmark bundle; give "
                    f"{_ONES_THAT_SHIP}."
                )
            for name in _MEMBERS:
                if members[name].file_size > _LARGEST_BYTES:
                    raise ModelError(f"{path}: {name} in it is too large for a landmark network.")
                # Reading to the end compares the checksum, too.
                if bundle.read(name)[4:8] != _TFLITE:
                    raise ModelError(
                        f"{path}: {name} in it is no TensorFlow Lite network; give "
                        f"{_ONES_THAT_SHIP}."
                    )
    except FileNotFoundError as error:
        raise ModelError(
            f"“{asked}” is no landmark model: give {' or '.join(_SHIPPED)}, or the path of a "
            ".task bundle."
        ) from error
    except (zipfile.BadZipFile, zlib.error, OSError, ValueError, RuntimeError, EOFError) as error:
        raise ModelError(
            f"{path} is not a readable landmark bundle; give {_ONES_THAT_SHIP}."
        ) from error
    return PoseModel(path, sha256_of(path))


def _shipped(name: str) -> PoseModel:
    sha256 = _SHIPPED[name]
    file = f"pose_{name}.task"
    path = next((folder / file for folder in _FOLDERS if (folder / file).is_file()), None)
    if path is None:
        raise ModelError(
            f"The landmark model {file} is missing from this installation; install formcheck again."
        )
    state = path.stat()
    if _digest(path, state.st_size, state.st_mtime_ns) != sha256:
        raise ModelError(
            f"{path} is damaged: its SHA-256 is not that of the {name} model; install formcheck "
            "again."
        )
    return PoseModel(path, sha256)


@lru_cache(maxsize=4)
def _digest(path: Path, size: int, changed_ns: int) -> str:
    """SHA-256 of a model, worked out once for a file that did not change."""
    return sha256_of(path)
