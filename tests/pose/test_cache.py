from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import pytest

from formcheck.clip.info import ClipInfo
from formcheck.clip.read import probe
from formcheck.pose import cache
from formcheck.pose.cache import find_pose_once
from formcheck.pose.model import PoseModel, find_model
from formcheck.pose.track import PoseTrack
from tests.clip.clips import make_clip
from tests.pose.test_store import a_track
from tests.test_layers import FOLDER, imports_of, room_of, sources_of


@pytest.fixture
def searches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the clips whose pose was searched; the search gives the track of another test."""
    done: list[str] = []

    def search(
        info: ClipInfo, model: PoseModel, rate_hz: float, _: int, sha256: str, *__: object
    ) -> PoseTrack:
        done.append(info.path.name)
        return dataclasses.replace(
            a_track(),
            source_name=info.path.name,
            source_sha256=sha256,
            model_sha256=model.sha256,
        )

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


@pytest.mark.parametrize("part", ["_search", "COUNTING_MODEL"])
def test_another_search_is_no_reason_to_remember_a_version(
    part: str, tmp_path: Path, searches: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    info, model = clip(tmp_path / "a.mp4"), find_model("full")
    find_pose_once(info, model)
    monkeypatch.setattr(cache, part, (lambda: "another") if part == "_search" else "heavy")
    find_pose_once(info, model)
    assert len(searches) == 2


def test_the_search_is_known_by_all_modules_it_is_made_of_and_by_their_libraries(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sources = sources_of(FOLDER)
    found, ahead = set(), ["formcheck.pose.landmarker"]
    while ahead:
        module = ahead.pop()
        if module in sources and module not in found and room_of(module) not in ("apart", "errors"):
            found.add(module)
            ahead.extend(needed.module for needed in imports_of(module, sources))
    files = {f"{module.removeprefix('formcheck.').replace('.', '/')}.py" for module in found}
    assert files == set(cache.DECISIVE_MODULES)

    cache._search.cache_clear()
    before = cache._search()
    monkeypatch.setattr(cache, "version", lambda library: "0.0")
    cache._search.cache_clear()
    assert cache._search() != before
    monkeypatch.undo()
    cache._search.cache_clear()


def test_an_entry_that_is_another_clips_is_not_believed(
    tmp_path: Path, searches: list[str]
) -> None:
    one, other = clip(tmp_path / "a.mp4"), clip(tmp_path / "b.mp4", 6)
    model = find_model("full")
    find_pose_once(one, model)
    (entry,) = (tmp_path / "cache").rglob("*.parquet")
    find_pose_once(other, model)
    (others,) = set((tmp_path / "cache").rglob("*.parquet")) - {entry}
    others.write_bytes(entry.read_bytes())
    assert find_pose_once(other, model).source_name == "b.mp4"
    assert searches == ["a.mp4", "b.mp4", "b.mp4"]


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


def test_where_nobody_is_at_home_nothing_is_kept(
    tmp_path: Path, searches: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody(_: object = None) -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setattr(Path, "home", nobody)
    monkeypatch.setattr("pathlib.Path.expanduser", nobody)
    find_pose_once(clip(tmp_path / "a.mp4"), find_model("full"))
    assert searches == ["a.mp4"]


def test_what_a_killed_run_left_in_the_cache_goes(tmp_path: Path, searches: list[str]) -> None:
    left = tmp_path / "cache" / "formcheck" / "tracks" / ".a.parquet.1.partial"
    left.parent.mkdir(parents=True)
    left.touch()
    os.utime(left, (0, 0))
    find_pose_once(clip(tmp_path / "a.mp4"), find_model("full"))
    assert not left.exists()


def test_the_tracks_used_longest_ago_go(
    tmp_path: Path, searches: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    model = find_model("full")
    infos = [clip(tmp_path / f"{frames}.mp4", frames) for frames in (5, 6, 7)]
    find_pose_once(infos[0], model)
    (entry,) = (tmp_path / "cache").rglob("*.parquet")
    monkeypatch.setattr(cache, "KEEP_BYTES", int(2.5 * entry.stat().st_size))
    find_pose_once(infos[1], model)
    for path in (tmp_path / "cache").rglob("*.parquet"):
        os.utime(path, (1, 1))
    find_pose_once(infos[0], model)  # used again, so the other goes
    find_pose_once(infos[2], model)
    assert len(list((tmp_path / "cache").rglob("*.parquet"))) == 2
    find_pose_once(infos[0], model)
    assert searches == ["5.mp4", "6.mp4", "7.mp4"]
