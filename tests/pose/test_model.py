from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest

from formcheck.errors import ModelError
from formcheck.pose import model
from formcheck.pose.model import find_model


@pytest.mark.parametrize("name", ["full", "heavy"])
def test_shipped_models_pass_their_hash(name: str) -> None:
    found = find_model(name)
    assert found.name == f"pose_{name}.task"
    assert found.sha256.startswith({"full": "007693c0", "heavy": "b491f134"}[name])


def test_a_damaged_shipped_model_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = Path(shutil.copy(find_model("full").path, tmp_path))
    with copy.open("r+b") as file:
        file.seek(5_000_000)
        file.write(b"\x00\xff\x00\xff")
    monkeypatch.setattr(model, "_FOLDERS", (tmp_path,))
    with pytest.raises(ModelError, match="is damaged"):
        find_model("full")


def test_a_missing_shipped_model_is_said_to_be_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(model, "_FOLDERS", (tmp_path,))
    with pytest.raises(ModelError, match=r"pose_full\.task is missing"):
        find_model("full")


def test_another_bundle_is_taken_by_its_path_and_known_by_its_hash(tmp_path: Path) -> None:
    path = tmp_path / "mine.task"
    shutil.copy(find_model("full").path, path)
    found = find_model(str(path))
    assert (found.name, found.sha256) == ("mine.task", find_model("full").sha256)


def test_what_is_no_bundle_is_refused(tmp_path: Path) -> None:
    (tmp_path / "text.task").write_text("hello")
    with zipfile.ZipFile(tmp_path / "half.task", "w") as half:
        half.writestr("pose_detector.tflite", b"")
    with zipfile.ZipFile(tmp_path / "junk.task", "w") as junk:
        for name in ("pose_detector.tflite", "pose_landmarks_detector.tflite"):
            junk.writestr(name, b"hello")
    for asked, said in (
        ("huge", "is no landmark model: give full or heavy"),
        (str(tmp_path / "absent.task"), "is no landmark model"),
        (str(tmp_path / "text.task"), "not a readable landmark bundle"),
        (str(tmp_path / "half.task"), "lacks pose_landmarks_detector.tflite"),
        (str(tmp_path / "junk.task"), "is no TensorFlow Lite network"),
        ("/dev/zero", "not a readable landmark bundle"),
        ("", "not a readable landmark bundle"),
    ):
        with pytest.raises(ModelError, match=said):
            find_model(asked)
