from __future__ import annotations

import pytest

from formcheck.batch.find import ClipFile
from formcheck.batch.pair import Together, put_together, without_view, words_of
from tests.batch.folders import clip_file


def person_of(clip: ClipFile) -> str | None:
    return clip.place.partition("/")[0] if "/" in clip.place else None


def places(groups: list[Together]) -> list[tuple[str, ...]]:
    return [tuple(clip.place for clip in group.clips) for group in groups]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("anna/mon_side.mp4", "anna/mon_front.mov"),
        ("anna/Set01-sideView.mp4", "anna/set1 FrontView.mp4"),
        ("anna/side/1.mp4", "anna/front/1.mp4"),
        ("anna/side.mp4", "anna/front.mp4"),
        ("side_anna.mp4", "front_anna.mp4"),
    ],
)
def test_names_that_differ_in_the_view_alone_are_one_set(one: str, other: str) -> None:
    (group,) = put_together([clip_file(one), clip_file(other)], lambda clip: None)
    assert len(group.clips) == 2 and group.by == "names"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("anna/mon_side.mp4", "anna/tue_front.mp4"),
        ("anna/mon_side.mp4", "anna/mon_side2.mp4"),
        ("anna/inside.mp4", "anna/infront.mp4"),
        ("anna/mon_side.mp4", "bo/mon_front.mp4"),
    ],
)
def test_other_names_are_two_sets(one: str, other: str) -> None:
    groups = put_together([clip_file(one), clip_file(other)], person_of)
    assert [len(group.clips) for group in groups] == [1, 1]


def test_clips_recorded_at_once_are_one_set_whichever_end_a_phone_notes() -> None:
    began = [clip_file("a/x.mp4", recorded_s=100.0), clip_file("a/y.mp4", recorded_s=120.0)]
    ended = [clip_file("a/x.mp4", 60, recorded_s=160.0), clip_file("a/y.mp4", recorded_s=125.0)]
    for clips in (began, ended):
        (group,) = put_together(clips, person_of)
        assert group.by == "time"


def test_sets_one_after_the_other_are_not_paired_by_time() -> None:
    clips = [clip_file("a/x.mp4", recorded_s=100.0), clip_file("a/y.mp4", recorded_s=140.0)]
    assert [group.by for group in put_together(clips, person_of)] == [None, None]


def test_a_third_clip_at_that_time_leaves_all_on_their_own() -> None:
    clips = [clip_file(f"a/{n}.mp4", recorded_s=100.0 + n) for n in range(3)]
    assert [group.by for group in put_together(clips, person_of)] == [None] * 3


def test_two_people_filmed_at_once_are_not_one_set() -> None:
    clips = [clip_file("a/x.mp4", recorded_s=100.0), clip_file("b/y.mp4", recorded_s=101.0)]
    assert [group.by for group in put_together(clips, person_of)] == [None, None]


def test_clock_and_file_name_are_not_compared_with_each_other() -> None:
    clips = [clip_file("a/x.mp4", recorded_s=100.0), clip_file("a/y.mp4", named_s=100.0)]
    assert [group.by for group in put_together(clips, person_of)] == [None, None]


def test_the_roster_has_the_first_word() -> None:
    clips = [clip_file(f"a/{name}.mp4") for name in ("mon_side", "mon_front", "other")]
    told = {"a/mon_side.mp4": "1", "a/other.mp4": "1"}
    groups = put_together(clips, person_of, lambda clip: told.get(clip.place))
    assert places(groups) == [("a/mon_front.mp4",), ("a/mon_side.mp4", "a/other.mp4")]
    assert groups[1].by == "roster"


def test_every_clip_is_in_one_group() -> None:
    names = ("mon_side", "mon_front", "tue", "x_side", "x_front", "x_front_2")
    clips = [clip_file(f"a/{name}.mp4") for name in names]
    groups = put_together(clips, person_of)
    assert sorted(p for group in places(groups) for p in group) == sorted(c.place for c in clips)


def test_numbers_and_signs_do_not_matter_in_names() -> None:
    assert words_of("Anna/Set 007 (front).mp4") == (("anna", "set", "7"), "front")


@pytest.mark.parametrize(
    ("name", "kept"),
    [("monday_side_2", "monday_2"), ("annaFront", "anna"), ("side", ""), ("inside", "inside")],
)
def test_the_view_leaves_a_name_whole(name: str, kept: str) -> None:
    assert without_view(name) == kept
