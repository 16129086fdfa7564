"""A set from its clip to its report, and what people say of it, over the real addresses."""

from __future__ import annotations

import base64
import json
import os
import re
import threading
from pathlib import Path

from formcheck.agree.compare import compare
from formcheck.agree.labels import read_labels
from formcheck.agree.measured import read_sets, report_folders
from formcheck.desk.desk import Desk
from formcheck.desk.groups import group_summary
from formcheck.desk.work import DeskJob, Step
from formcheck.faults.catalogue import fault_kinds
from formcheck.job import SetJob, judge_set
from formcheck.log.store import open_log, sets_of
from tests.desk.conftest import FRONT, SAG, SIDE, TRACKS, Client, Steps, judge_here, opened


def test_two_clips_of_a_set_become_the_report_that_the_command_writes(
    desk: Desk, client: Client, tmp_path: Path
) -> None:
    set_id = client.judged(SIDE, FRONT, tempo="2-1-X-1", target_reps="5")
    here = json.loads((desk.folder.report(set_id) / "report.json").read_text())
    asked = json.loads((desk.folder._sets / set_id / "set.json").read_text())["asked"]
    assert asked["tempo"] == "2-1-X-1"
    from formcheck.asked.prescription import Prescription
    from formcheck.asked.tempo import parse_tempo

    prescription = Prescription(tempo=parse_tempo("2-1-X-1"), target_reps=5)
    judge_set(
        SetJob((SIDE, FRONT), tmp_path / "there", prescription, names=(SIDE.name, FRONT.name))
    )
    there = json.loads((tmp_path / "there" / "report.json").read_text())
    assert here == there
    page = client.get(f"/sets/{set_id}")
    assert page.status == 200
    report = client.get(f"/sets/{set_id}/report/report.html")
    answer = re.search(r"<h1>(.*)</h1>", report.text)
    assert answer is not None and "counted" in answer.group(1)
    assert answer.group(1) in page.text and answer.group(1) in client.get("/sets").text


def test_a_person_is_remembered_and_their_sets_are_in_their_log(desk: Desk, client: Client) -> None:
    set_id = client.judged(SAG, person="Ana", tempo="3-1-X-1", target_reps="6", pain="wrist")
    kept = client.get("/remembered?person=ana").data
    assert (kept["tempo"], kept["target_reps"], kept["pain"]) == ("3-1-X-1", "6", "")
    assert 'value="3-1-X-1"' in client.get("/?person=ana").text
    with open_log(desk.log) as log:
        assert [entry.person for entry in sets_of(log)] == ["Ana"]
    assert "/people/Ana" in client.get("/people").text
    person = client.get("/people/Ana").text
    assert f"/sets/{set_id}" in person
    frame = re.search(r'src="(/trends.person=Ana[^"]*)"', person)
    assert frame is not None
    trends = client.get(frame.group(1).replace("&amp;", "&"))
    assert trends.status == 200 and "Ana" in trends.text


def test_what_hurts_reaches_the_next_step(desk: Desk, client: Client) -> None:
    without = client.judged(SAG)
    hurt = client.judged(SIDE, pain="wrist")
    reports = [
        json.loads((desk.folder.report(one) / "report.json").read_text()) for one in (without, hurt)
    ]
    assert [one["prescription"]["pain"] for one in reports] == [None, "wrist"]


def test_a_rep_seen_differently_becomes_a_label_and_leaves_the_measurement_alone(
    desk: Desk, client: Client
) -> None:
    set_id = client.judged(SAG)
    report = desk.folder.report(set_id) / "report.json"
    before = report.read_bytes()
    said = client.post(
        f"/sets/{set_id}/reps/2", counted="no", fault="hip_sag", seen="unsure", who="coach"
    )
    assert said.status == 303
    assert report.read_bytes() == before
    labels = read_labels(desk.labels.path, fault_kinds())
    assert {(one.set, one.rep, one.fault, one.verdict, one.who) for one in labels} == {
        (set_id, 2, "counted", "no", "coach"),
        (set_id, 2, "hip_sag", "unsure", "coach"),
    }
    shown = client.get(f"/sets/{set_id}").text
    assert "coach does not count it" in shown
    assert "coach is unsure whether it has: hips sag" in shown
    sets = read_sets(report_folders([desk.folder.reports]))
    assert {verdict.label for verdict in compare(labels, sets)} == set(labels)


def test_who_changes_their_mind_replaces_only_their_own_label(desk: Desk, client: Client) -> None:
    set_id = client.judged(SAG)
    for who, counted in (("coach", "no"), ("ana", "yes"), ("coach", "yes")):
        client.post(f"/sets/{set_id}/reps/1", counted=counted, who=who)
    found = {(one.who, one.verdict) for one in desk.labels.of(set_id)}
    assert found == {("ana", "yes"), ("coach", "yes")}


def test_a_label_needs_somebody_who_says_so(desk: Desk, client: Client) -> None:
    set_id = client.judged(SAG)
    assert client.post(f"/sets/{set_id}/reps/1", counted="no", who=" ").status == 400
    assert client.post(f"/sets/{set_id}/reps/1", counted="no", who="=1+1").status == 400
    assert client.post(f"/sets/{set_id}/reps/99", counted="no", who="ana").status == 404
    assert client.post(f"/sets/{set_id}/reps/1", fault="no_fault", who="ana").status == 400
    assert desk.labels.of(set_id) == ()


def test_a_remark_is_printed_in_the_report_as_text_and_stays_when_judged_again(
    desk: Desk, client: Client
) -> None:
    set_id = client.judged(SAG)
    client.post(f"/sets/{set_id}/reps/3", remark="<b>Brace</b> well before")
    page = desk.folder.report(set_id) / "report.html"
    assert "&lt;b&gt;Brace&lt;/b&gt; well before" in page.read_text()
    data = desk.folder.report(set_id) / "report.json"
    assert json.loads(data.read_text())["remarks"] == [
        {"rep": 3, "says": "<b>Brace</b> well before"}
    ]
    assert client.post(f"/sets/{set_id}/again", tempo="3-1-X-1").status == 303
    client.wait_for(set_id)
    text = page.read_text()
    assert "Brace" in text and "3-1-X-1" in text
    client.post(f"/sets/{set_id}/reps/3", remark="")
    assert "Brace" not in page.read_text() and json.loads(data.read_text())["remarks"] == []


def test_clips_that_are_not_one_set_fail_with_a_sentence_that_names_them(client: Client) -> None:
    set_id = client.send(SAG, FRONT)
    client.wait_for(set_id, "failed")
    shown = client.get(f"/sets/{set_id}").text
    assert "Judge it again" in shown
    assert str(client.desk.folder.root) not in shown
    before = {one.id for one in client.desk.folder.all()}
    assert "Judge them as two sets" in shown
    assert client.post(f"/sets/{set_id}/apart").status == 303
    parts = [one for one in client.desk.folder.all() if one.id not in before]
    assert sorted(one.clips[0].name for one in parts) == sorted([SAG.name, FRONT.name])
    for one in parts:
        client.wait_for(one.id)
    assert "So each clip was judged on its own" in client.get(f"/sets/{parts[0].id}").text
    assert client.get(f"/sets/{set_id}").status == 404
    assert client.post(f"/sets/{parts[0].id}/apart").status == 409


def test_which_arms_worked_can_be_said_in_the_form(client: Client) -> None:
    """What a side view of an archer set asks for: “say whether this is an archer push-up”."""
    archer = TRACKS / "coached" / "same_arm_archer_side.parquet"
    untold, told = client.judged(archer), client.judged(archer, arms="archer")
    reports = [
        json.loads(client.get(f"/sets/{one}/report/report.json").text) for one in (untold, told)
    ]
    assert [one["variation"]["arms"] for one in reports] == [None, "archer"]
    assert [one["set"]["counted"] for one in reports] == [0, 4]
    far = client.judged(archer, arms="archer", working_arm="right")
    report = json.loads(client.get(f"/sets/{far}/report/report.json").text)
    assert [rep["working_arm"] for rep in report["reps"]] == ["right"] * 4
    assert report["set"]["counted"] == 0, "the camera stands on the left"
    assert client.announce(("a.mp4", 5), working_arm="left").status == 400


def test_what_counts_and_the_reps_left_can_be_said_in_the_form(client: Client) -> None:
    strict = client.judged(SAG, person="Di", counts="range-and-line", reps_left="0")
    report = json.loads(client.get(f"/sets/{strict}/report/report.json").text)
    assert report["prescription"]["reps_left"] == 0
    assert report["set"]["counted"] == 4, "hips sag in two of six"
    kept = client.get("/remembered?person=di").data
    assert (kept["counts"], kept["reps_left"]) == ("range-and-line", "")
    for field, value in (("counts", "line"), ("reps_left", "-1")):
        assert client.announce(("a.mp4", 5), **{field: value}).status == 400


def test_limits_test_and_model_of_the_form_are_what_a_set_is_held_to_and_are_remembered(
    client: Client,
) -> None:
    set_id = client.judged(SAG, person="Cy", limits="strict", standard="hand-release")
    report = json.loads(client.get(f"/sets/{set_id}/report/report.json").text)
    assert report["limits_in_force"] == "strict"
    assert report["prescription"]["standard"] == "hand-release"
    asked = json.loads(client.get("/remembered?person=cy").text)
    assert (asked["limits"], asked["standard"], asked["model"]) == (
        "strict", "hand-release", "",
    )  # fmt: skip
    for field, value in (("limits", "/etc/passwd"), ("standard", "x"), ("model", "../huge")):
        assert client.announce(("a.mp4", 5), **{field: value}).status == 400


def test_a_folder_is_paired_and_named_and_summed_up_as_a_batch_does_it(
    desk: Desk, client: Client
) -> None:
    clips = {
        "bo/20260907_181530.parquet": SIDE, "bo/20260907_181533.parquet": FRONT,
        "ana/tue_side.parquet": SAG, "ana/tue_front.parquet": TRACKS / "clean_front.parquet",
    }  # fmt: skip
    said = {
        "name": "group", "asked": {"person": "Nobody", "tempo": "2-1-X-1"},
        "clips": [{"name": place, "size": path.stat().st_size, "changed": 0}
                  for place, path in clips.items()],
    }  # fmt: skip
    rows = "person,tempo,body_mass_kg\nbo,3-1-X-1,62\nEve,,\n"
    said["roster"] = {"name": "Roster.csv", "base64": base64.b64encode(rows.encode()).decode()}
    announced = client.post_json("/groups", said)
    assert announced.status == 201, announced.text
    sets = announced.data["sets"]
    assert sorted(sorted(one["files"]) for one in sets) == [[0], [1], [2, 3]]
    assert client.post_json("/groups", said).data["sets"] == sets  # the same once more
    for one in sorted(sets, key=lambda one: one["files"]):
        assert desk.queue._next() is None  # what may be half of a set waits for the rest
        for n, place in enumerate(one["files"], 1):
            client.put_whole(one["id"], n, list(clips.values())[place])
    group = f"/groups/{announced.data['id']}"
    client.wait_until(lambda: "3 of 3 sets done" in client.get(group).text)
    # ana's clips are no one set: nobody said they were, so they are judged as two.
    table = client.get(f"{group}/summary.csv").text
    assert [line.split(",")[:3] for line in table.splitlines()[1:]] == [
        ["ana/tue-1", "ana", "judged"], ["ana/tue-2", "ana", "judged"],
        ["bo/20260907_181530-2", "bo", "judged"],
    ]  # fmt: skip
    assert "do not show the same set" in table and ",time," in table
    bo = next(one for one in desk.folder.all() if one.asked.person == "bo")
    report = json.loads((desk.folder.report(bo.id) / "report.json").read_text())
    assert (report["prescription"]["tempo"], report["prescription"]["body_mass_kg"]) == (
        "3-1-X-1", 62.0,
    )  # fmt: skip
    page = client.get(f"{group}/summary.html").text
    assert page.count("data:image/jpeg") >= 3 and 'href="/sets/' in page
    assert "Eve" in page  # who is in the roster and sent nothing
    kept = desk.folder.groups()[0]
    summary = group_summary(desk.folder, kept)
    assert group_summary(desk.folder, kept) is summary
    os.utime(desk.folder.report(bo.id) / "report.json")
    assert group_summary(desk.folder, kept) is not summary
    given = client.post_json("/groups", said).data["sets"]
    assert sorted(one["files"] for one in given) == [[0, 1], [2], [3]]  # parted, they stay so
    wrong = {**said, "roster": {"name": "roster.csv", "base64": "cGVyc29uLGFnZQphbmEsOQo="}}
    refused = client.post_json("/groups", wrong)
    assert refused.status == 400 and "roster.csv, row 1: there is no column “age”" in refused.text
    assert client.get(f"{group}/../sets").status == 404
    assert "group" in client.get("/folders").text


def test_what_waits_is_found_by_the_next_desk(tmp_path: Path) -> None:
    never = threading.Event()

    def judge_never(asked: DeskJob) -> Steps:
        while not never.wait(0.05):
            yield None
        return (yield from judge_here(asked))

    with opened(tmp_path, judge_never) as desk:
        ids = [Client(desk).send(SAG), Client(desk).send(SIDE)]
    assert all(not (desk.folder.report(one) / "report.html").exists() for one in ids)
    with opened(tmp_path, judge_here) as desk:
        for one in ids:
            Client(desk).wait_for(one)


def test_a_set_is_cancelled_while_it_is_judged_and_may_be_judged_later(tmp_path: Path) -> None:
    begun, free = threading.Event(), threading.Event()

    def judge_slowly(asked: DeskJob) -> Steps:
        begun.set()
        while not free.is_set():
            yield Step("Finding the pose in it", 1, 100)
        return (yield from judge_here(asked))

    with opened(tmp_path, judge_slowly) as desk:
        client = Client(desk)
        set_id = client.send(SAG)
        assert begun.wait(10)
        assert client.post(f"/sets/{set_id}/cancel").status == 303
        client.wait_for(set_id, "cancelled")
        free.set()
        client.post(f"/sets/{set_id}/again")
        client.wait_for(set_id)


def test_progress_is_told_as_it_changes(tmp_path: Path) -> None:
    go_on = threading.Event()

    def judge_by_halves(asked: DeskJob) -> Steps:
        while not go_on.is_set():
            yield Step("Finding the pose in it", 50, 100)
        return (yield from judge_here(asked))

    import http.client

    with opened(tmp_path, judge_by_halves) as desk:
        set_id = Client(desk).send(SAG)
        connection = http.client.HTTPConnection("127.0.0.1", desk.door.port, timeout=10)
        cookie = f"{desk.door.cookie}={desk.door.secret}"
        connection.request("GET", "/progress", headers={"Cookie": cookie})
        events = connection.getresponse()
        assert events.getheader("content-type", "").startswith("text/event-stream")
        while True:
            line = events.readline().decode()
            told = json.loads(line[6:]).get(set_id) if line.startswith("data: ") else None
            # It may be heard before the first step.
            if told and told["what"] not in ("", "Starting"):
                break
        assert told["what"] == "Finding the pose in it"
        assert told["percent"] == 36  # half of the pose, which is 1 of 1.4 parts
        go_on.set()
        while True:
            line = events.readline().decode()
            if line.startswith("data: ") and set_id not in json.loads(line[6:]):
                break
        connection.close()
        Client(desk).wait_for(set_id)


def test_a_set_is_judged_in_a_process_of_its_own(tmp_path: Path) -> None:
    from formcheck.desk.queue import judge_apart

    with opened(tmp_path, judge_apart) as desk:
        Client(desk).judged(SAG)


def test_a_removed_set_leaves_nothing_but_its_labels(desk: Desk, client: Client) -> None:
    set_id = client.judged(SAG, person="ana")
    client.post(f"/sets/{set_id}/reps/1", counted="no", who="coach")
    assert client.post(f"/sets/{set_id}/remove").status == 303
    assert client.get(f"/sets/{set_id}").status == 404
    assert not list(desk.folder.root.rglob(f"*{set_id}*"))
    with open_log(desk.log) as log:
        assert sets_of(log) == []
    assert len(desk.labels.of(set_id)) == 1


def test_a_batchs_folder_is_shown_and_nothing_beside_it(tmp_path: Path) -> None:
    shown = tmp_path / "group"
    judge_set(SetJob((SAG,), shown / "ana" / "monday"))
    (shown / "summary.html").write_text("<!doctype html><title>Group</title>")
    (shown / "ana" / "monday" / "notes.txt").write_text("private")
    (tmp_path / "report.html").write_text("outside")
    (shown / "out").symlink_to(tmp_path)
    with opened(tmp_path, shown=(shown,)) as desk:
        client = Client(desk)
        assert "/folders/1/ana/monday/report.html" in client.get("/folders").text
        assert client.get("/folders/1/summary.html").status == 200
        assert client.get("/folders/1/ana/monday/report.html").status == 200
        for place in (
            "ana/monday/notes.txt", "out/report.html", "../report.html", "%2e%2e/report.html",
            "/etc/passwd", "ana/../../report.html", "",
        ):  # fmt: skip
            assert client.get(f"/folders/1/{place}").status == 404, place
        assert client.get("/folders/2/summary.html").status == 404


def test_a_persons_measures_go_to_the_log(desk: Desk, client: Client) -> None:
    said = client.post("/people", name="Ben", stature="5 ft 10 in", body_mass="180 lb", sex="male")
    assert said.status == 303 and said.headers["location"].endswith("/people/Ben")
    shown = client.get("/people/Ben").text
    assert 'value="178 cm"' in shown
    assert client.post("/people", name="Ben", stature="17 km").status == 400
    assert client.get("/people/Nobody").status == 404
