from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from formcheck.asked.prescription import Prescription
from formcheck.batch.codes import Codes
from formcheck.batch.find import ClipFile
from formcheck.batch.plan import SetPlan, plan_sets
from formcheck.batch.roster import Roster, RosterError, Row
from formcheck.errors import OutputError
from formcheck.job import SetJob
from tests.batch.folders import clip_file

OUT = Path("/out")


def plans(*clips: ClipFile, roster: Roster | None = None, **asked: Any) -> list[SetPlan]:
    each = replace(SetJob((), model="full"), **asked)
    return plan_sets(clips, roster or Roster(), each, OUT)


def key(clip: ClipFile, **asked: Any) -> str:
    return plans(clip, **asked)[0].key


def test_a_set_is_named_after_its_clips_without_the_view() -> None:
    (pair,) = plans(clip_file("anna/mon_side.mp4"), clip_file("anna/mon_front.mp4"))
    assert (pair.name, pair.alone) == ("anna/mon", ("anna/mon_front", "anna/mon_side"))
    assert pair.job.out == OUT / "anna/mon" and pair.person == "anna"
    (pair,) = plans(clip_file("anna/side.mp4"), clip_file("anna/front.mp4"))
    assert pair.name == "anna"


def test_no_two_folders_are_alike() -> None:
    found = plans(
        clip_file("a/x.mp4"), clip_file("a/X.mov"), clip_file("a/x_side.mp4"),
        clip_file("a/x_front.mp4"), clip_file("summary.html.mp4"), clip_file(".formcheck.mp4"),
    )  # fmt: skip
    names = {name.casefold() for plan in found for name in (plan.name, *plan.alone)}
    assert len(names) == 2 + 3 + 2
    assert not names & {"summary.html", ".formcheck"}


def test_the_key_changes_with_all_that_the_report_depends_on() -> None:
    clip = clip_file("a/x.mp4")
    keys = [
        key(clip),
        key(replace(clip, sha256="other")),
        key(clip, model="heavy"),
        key(clip, limits={"hip_sag": 8.0}),
        key(clip, prescription=Prescription(target_reps=5)),
        key(clip, pose_rate_hz=30.0),
        key(clip, drawing=False),
        key(clip, xlsx=True),
        key(clip, note="cold day"),
    ]
    assert len(set(keys)) == len(keys)


def test_the_key_stays_wherever_the_work_is_done() -> None:
    clip = clip_file("a/x.mp4")
    moved = replace(clip, path=Path("/elsewhere/a/x.mp4"), recorded_s=5.0)
    assert key(clip) == key(moved, processes=4) == key(clip, fresh=True)


def test_clips_that_cannot_be_tried_are_refused_by_their_place() -> None:
    broken = replace(clip_file("a/x_side.mp4"), unreadable="/clips/a/x_side.mp4 is cut off.")
    found = plan_sets(
        [broken, clip_file("a/x_front.mp4"), clip_file("b/long.mp4", 3000.0)],
        Roster(), SetJob((), model="full"), OUT, longest_s=600.0,
    )  # fmt: skip
    assert [plan.name for plan in found] == ["a/x_front", "a/x_side", "b/long"]
    assert [plan.refused is None for plan in found] == [True, False, False]
    assert found[1].refused == "a/x_side.mp4 is cut off."
    assert "b/long.mp4 is 50 min long, more than the 10 min allowed" in (found[2].refused or "")


def test_three_clips_of_one_set_are_a_mistake_of_the_roster() -> None:
    clips = [clip_file(f"a/{n}.mp4") for n in range(3)]
    rows = tuple(Row("clip", clip.place, {"set": "1"}, "row") for clip in clips)
    with pytest.raises(RosterError, match="two cameras at most"):
        plans(*clips, roster=Roster(rows))


def coded(clips: list[ClipFile], codes: Codes, roster: Roster | None = None) -> list[SetPlan]:
    return plan_sets(clips, roster or Roster(), SetJob((), model="full"), OUT, codes)


def test_codes_stand_for_people_sets_and_clips(tmp_path: Path) -> None:
    clips = [clip_file("anna/mon_side.mp4"), clip_file("anna/mon_front.mp4"), clip_file("bo.mp4")]
    found = coded(clips, Codes(tmp_path / "k.csv", OUT))
    (pair, other) = sorted(found, key=lambda plan: plan.clips[0].place)
    for plan in (pair, other):
        assert not {"anna", "mon", "bo"} & set(plan.name.split("/"))
        assert all(name.startswith(plan.person) for name in (*plan.shown, *plan.job.names))
    assert pair.told("/clips/anna/mon_side.mp4 is bad; anna/mon_side.mp4, mon_side.mp4") == (
        "{0} is bad; {0}, {0}".format(pair.shown[1])
    )


def test_a_name_keeps_its_code_when_others_come(tmp_path: Path) -> None:
    path = tmp_path / "key.csv"
    codes = Codes(path, OUT)
    before = coded([clip_file("mia/a.mp4")], codes)[0]
    codes.write()
    assert path.stat().st_mode & 0o077 == 0
    after = coded([clip_file("anna/a.mp4"), clip_file("mia/0.mp4"), clip_file("mia/a.mp4")],
                  Codes(path, OUT))  # fmt: skip
    assert before.name in [plan.name for plan in after if plan.clips[0].place == "mia/a.mp4"]
    assert len({plan.name for plan in after}) == 3


def test_the_roster_may_give_a_code_once(tmp_path: Path) -> None:
    rows = tuple(Row("person", name, {"code": "K7"}, "row") for name in ("anna", "bo"))
    codes = Codes(tmp_path / "key.csv", OUT)
    assert coded([clip_file("anna/a.mp4")], codes, Roster(rows))[0].person == "K7"
    with pytest.raises(RosterError, match="K7"):
        coded([clip_file("bo/a.mp4")], codes, Roster(rows))


def test_the_key_never_lies_among_the_results(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="apart"):
        Codes(tmp_path / "out" / "sub" / "key.csv", tmp_path / "out")
    (tmp_path / "letter.csv").write_text("dear,anna\n")
    with pytest.raises(OutputError, match="no list of codes"):
        Codes(tmp_path / "letter.csv", OUT)
