from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from formcheck.clip.read import ClipInfo, probe
from formcheck.pose import cache
from formcheck.pose.cache import find_pose_once
from formcheck.pose.model import PoseModel, find_model
from formcheck.pose.track import PoseTrack
from tests.clip.clips import make_clip
from tests.pose.test_store import a_track


@pytest.fixture
def searches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the clips whose pose was searched; the search gives the track of another test."""
    done: list[str] = []

    def search(
        info: ClipInfo, model: PoseModel, rate_hz: float, _: int, sha256: str, *__: object
    ) -> PoseTrack:
        done.append(info.path.name)
        return dataclasses.replace(a_track(), source_name=info.path.name, source_sha256=sha256)

    monkeypatch.setattr(cache, "find_pose", search)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return done


def clip(path: Path, frames: int = 5) -> ClipInfo:
    return probe(make_clip(path, [n / 30 for n in range(frames)]))


def test_the_same_content_is_searched_once_whatever_its_name(
    tmp_path: Path, searches: list[str]
) -> None:
    model = find_model("full")
    first = find_pose_once(clip(tmp_path / "a.mp4"), model)
    (tmp_path / "b.mp4").write_bytes((tmp_path / "a.mp4").read_bytes())
    second = find_pose_once(probe(tmp_path / "b.mp4"), model)
    assert searches == ["a.mp4"]
    assert second.source_name == "b.mp4" and second.source_sha256 == first.source_sha256


def test_another_clip_model_or_rate_is_searched_anew(tmp_path: Path, searches: list[str]) -> None:
    info, model = clip(tmp_path / "a.mp4"), find_model("full")
    find_pose_once(info, model)
    find_pose_once(info, model, rate_hz=10)
    find_pose_once(info, dataclasses.replace(model, sha256="00" * 32))
    find_pose_once(clip(tmp_path / "c.mp4", 6), model)
    find_pose_once(info, model, fresh=True)
    assert searches == ["a.mp4", "a.mp4", "a.mp4", "c.mp4", "a.mp4"]


def test_a_damaged_or_unwritable_cache_is_no_error(
    tmp_path: Path, searches: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    info, model = clip(tmp_path / "a.mp4"), find_model("full")
    find_pose_once(info, model)
    for kept in (tmp_path / "cache").rglob("*.parquet"):
        kept.write_bytes(b"damaged")
    find_pose_once(info, model)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "a.mp4"))  # a file, not a folder
    find_pose_once(info, model)
    assert len(searches) == 3


def test_the_oldest_tracks_go(
    tmp_path: Path, searches: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "_KEEP", 2)
    for frames in (5, 6, 7):
        find_pose_once(clip(tmp_path / f"{frames}.mp4", frames), find_model("full"))
    assert len(list((tmp_path / "cache").rglob("*.parquet"))) == 2
