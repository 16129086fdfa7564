"""What comes to harm: each is refused with a clear status, the desk goes on answering, and
nothing outside its folder is touched."""

from __future__ import annotations

import io
import json
import os
import socket
import stat
import time
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.desk import patience
from formcheck.desk.desk import Desk
from formcheck.desk.folder import PART_BYTES, Bounds
from tests.battery.cases import CLIPS, TRACKS
from tests.desk.conftest import SAG, Answer, Ask, Client, opened


def stranger(client: Client) -> Client:
    return replace(client, knows=False)


def bomb() -> bytes:
    """A hundred megabytes of nothing, packed small."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("clip.mp4", b"\0" * 100_000_000)
    return packed.getvalue()


def put_first(client: Client, name: str, data: bytes) -> Answer:
    set_id = client.announce((name, len(data))).data["id"]
    return client.put(set_id, 1, data[:PART_BYTES], 0, len(data))


def announced(client: Client) -> str:
    return str(client.announce(("clip.mp4", SAG.stat().st_size + len(os.urandom(1)))).data["id"])


def with_part(change: Callable[[Client, str, bytes], Answer]) -> Ask:
    """Something wrong with a part of a clip that was announced properly."""

    def ask(client: Client) -> Answer:
        data = SAG.read_bytes()
        set_id = client.announce(("clip.parquet", len(data))).data["id"]
        return change(client, set_id, data)

    return ask


SET = "20260101-000000-00000000"
STRANGERS: dict[str, Ask] = {
    f"a stranger asks {method} {path}": (
        lambda client, method=method, path=path: stranger(client).ask(method, path)  # type: ignore[misc]
    )
    for method, path in (
        ("GET", "/"), ("GET", "/sets"), ("GET", f"/sets/{SET}"), ("GET", "/people"),
        ("GET", "/people/ana"), ("GET", "/folders"), ("GET", "/phone"), ("GET", "/progress"),
        ("GET", "/look/desk.js"), ("GET", "/not-there"), ("GET", "/favicon.ico"), ("POST", "/sets"),
        ("PUT", f"/sets/{SET}/clips/1"), ("POST", f"/sets/{SET}/remove"), ("POST", "/people"),
        ("DELETE", "/sets"), ("OPTIONS", "/sets"), ("GET", "/?secret=guessed"),
        ("GET", "/?secret="),
    )
}  # fmt: skip
REFUSED: dict[str, tuple[Ask, set[int]]] = {
    **{name: (ask, {403}) for name, ask in STRANGERS.items()},
    "a secret that is nearly right": (
        lambda c: replace(c, knows=False).ask("GET", f"/?secret={c.desk.door.secret[:-1]}"),
        {403},
    ),
    "the token in place of the secret": (
        lambda c: replace(
            c, knows=False, headers={"Cookie": f"{c.desk.door.cookie}={c.desk.door.token}"}
        ).get("/"),
        {403},
    ),
    "another host": (lambda c: replace(c, host="attacker.example").get("/"), {421}),
    "another host with our port": (
        lambda c: replace(c, host=f"attacker.example:{c.desk.door.port}").get("/"),
        {421},
    ),
    "our host with another port": (lambda c: replace(c, host="127.0.0.1:1").get("/"), {421}),
    "a host that only begins like ours": (
        lambda c: replace(c, host=f"127.0.0.1.attacker.example:{c.desk.door.port}").get("/"),
        {421},
    ),
    "no origin with a change": (lambda c: replace(c, origin=None).announce(("a.mp4", 9)), {403}),
    "a change from another site": (
        lambda c: replace(c, origin="https://attacker.example").announce(("a.mp4", 9)),
        {403},
    ),
    "a change from another port": (
        lambda c: replace(c, origin="http://127.0.0.1:1").announce(("a.mp4", 9)),
        {403},
    ),
    "a change from a sandboxed frame": (
        lambda c: replace(c, origin="null").announce(("a.mp4", 9)),
        {403},
    ),
    "a form without a token": (lambda c: c.post("/people", token="", name="ana"), {403}),
    "a form with a wrong token": (lambda c: c.post("/people", token="x" * 64, name="ana"), {403}),
    "an announcement without a token": (lambda c: c.ask("POST", "/sets", b"{}"), {403}),
    "a path that climbs": (lambda c: c.get("/sets/../../etc/passwd"), {404}),
    "a path that climbs, encoded": (lambda c: c.get("/sets/%2e%2e%2f%2e%2e%2fetc%2fpasswd"), {404}),
    "a set that is a path": (lambda c: c.get("/sets/..%2f..%2fsets/report/report.json"), {404}),
    "a report's file that climbs": (
        lambda c: c.get(f"/sets/{announced(c)}/report/..%2f..%2f..%2flog.sqlite"),
        {404},
    ),
    "a report's file that is none": (
        lambda c: c.get(f"/sets/{announced(c)}/report/set.json"),
        {404},
    ),
    "our own files": (lambda c: c.get("/look/..%2fserve.py"), {404}),
    "a NUL in the path": (lambda c: c.get("/sets/%00"), {404}),
    "a file of 2 GB": (lambda c: c.announce(("long.mp4", 2_000_000_000)), {413}),
    "a file of minus one byte": (lambda c: c.announce(("clip.mp4", -1)), {400}),
    "a size that is no number": (
        lambda c: c.ask(
            "POST",
            "/sets",
            b'{"asked":{},"clips":[{"name":"a","size":"9","changed":0}]}',
            X_Token=c.desk.door.token,
        ),
        {400},
    ),
    "three clips of one set": (lambda c: c.announce(*[("a.mp4", 9)] * 3), {400}),
    "no clip": (lambda c: c.announce(), {400}),
    "a zip bomb named mp4": (lambda c: put_first(c, "clip.mp4", bomb()), {415}),
    "a program named mp4": (lambda c: put_first(c, "clip.mp4", b"\x7fELF" + bytes(2000)), {415}),
    "a playlist named mp4": (
        lambda c: put_first(c, "clip.mp4", b"#EXTM3U\nfile:///etc/passwd\n" * 40),
        {415},
    ),
    "a page named mp4": (
        lambda c: put_first(c, "clip.mp4", b"<script>alert(1)</script>" * 80),
        {415},
    ),
    "a part that is longer than it says": (
        with_part(
            lambda c, s, d: c.put(s, 1, d[:500], 0, len(d), Content_Range=f"bytes 0-99/{len(d)}")
        ),
        {413},
    ),
    "a part that is shorter than it says": (
        with_part(
            lambda c, s, d: c.put(s, 1, d[:50], 0, len(d), Content_Range=f"bytes 0-99/{len(d)}")
        ),
        {422},
    ),
    "a part that does not add up": (
        with_part(lambda c, s, d: c.put(s, 1, d[:500], 0, len(d), X_CRC32="00000000")),
        {422},
    ),
    "a part beyond the end": (
        with_part(lambda c, s, d: c.put(s, 1, d[:500], len(d), len(d))),
        {409, 413},
    ),
    "a part that leaves a hole": (
        with_part(lambda c, s, d: c.put(s, 1, d[:500], 1000, len(d))),
        {409},
    ),
    "a part of another size": (
        with_part(lambda c, s, d: c.put(s, 1, d[:500], 0, len(d) + 1)),
        {409},
    ),
    "a part that runs backwards": (
        with_part(
            lambda c, s, d: c.put(s, 1, d[:500], 0, len(d), Content_Range=f"bytes 9-2/{len(d)}")
        ),
        {409},
    ),
    "a part without a range": (
        with_part(lambda c, s, d: c.put(s, 1, d[:500], 0, len(d), Content_Range="")),
        {400},
    ),
    "a clip that was not announced": (
        with_part(lambda c, s, d: c.put(s, 7, d[:500], 0, len(d))),
        {404},
    ),
    "a set that was not announced": (lambda c: c.put(SET, 1, b"x", 0, 1), {404}),
    "words that are no JSON": (
        lambda c: c.ask("POST", "/sets", b"\xff{", X_Token=c.desk.door.token),
        {400},
    ),
    "brackets without end": (
        lambda c: c.ask("POST", "/sets", b"[" * 60_000, X_Token=c.desk.door.token),
        {400},
    ),
    "a megabyte of form": (lambda c: c.post("/people", name="a" * 1_000_000), {413}),
    "ten thousand fields": (
        lambda c: c.post("/people", **{f"f{n}": "" for n in range(5000)}),
        {400, 413},
    ),
    "a tempo that is none": (lambda c: c.announce(("a.mp4", 9), tempo="9-9"), {400}),
    "a standard that is none": (
        lambda c: c.announce(("a.mp4", 9), range_standard="../../x"),
        {400},
    ),
    "a person's name that hides": (lambda c: c.announce(("a.mp4", 9), person="a\u202eb"), {400}),
    "a person's name without end": (lambda c: c.announce(("a.mp4", 9), person="a" * 5000), {400}),
    "reps without end": (lambda c: c.announce(("a.mp4", 9), target_reps="9" * 400), {400}),
    "a weight that is none": (lambda c: c.announce(("a.mp4", 9), added_load_kg="nan"), {400}),
    "a method that is none": (lambda c: c.ask("DELETE", "/sets"), {405}),
    "a head without end": (lambda c: c.ask("GET", "/", X_Long="a" * 4_000_000), {400}),
    "a request to be another's proxy": (
        lambda c: replace(c, host="attacker.example").ask("GET", "http://attacker.example/"),
        {421},
    ),
}


def test_there_are_fifty_of_them() -> None:
    assert len(REFUSED) >= 50


@pytest.mark.parametrize("what", REFUSED)
def test_it_is_refused_with_a_clear_status(what: str, shared: Desk) -> None:
    ask, statuses = REFUSED[what]
    client = Client(shared)
    try:
        status = ask(client).status
    except (ConnectionResetError, BrokenPipeError):
        status = 400  # closed on us while we were still talking
        assert what == "a head without end"
    assert status in statuses
    assert client.get("/sets").status == 200


def test_nothing_is_written_outside_the_desks_folder(tmp_path: Path) -> None:
    names = ("../../../escaped.mp4", "/tmp/escaped.mp4", "..\\escaped.mp4", "a\0b.mp4", ".", "")
    with opened(tmp_path) as desk:
        client = Client(desk)
        data = SAG.read_bytes()
        for n, name in enumerate(names):
            sent = data if n == 0 else data + bytes(n)  # each another clip
            set_id = client.announce((name, len(sent))).data["id"]
            assert client.put(set_id, 1, sent, 0, len(sent)).status == 200
            one = desk.folder.find(set_id)
            assert one is not None
            until = time.monotonic() + 30
            while desk.folder.standing(one).state == "waiting" and time.monotonic() < until:
                time.sleep(0.05)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["desk"]
    places = (Path("/tmp"), Path.cwd(), *tmp_path.parents)
    assert not [path for place in places for path in place.glob("*escaped*")]
    found = {path.name for path in (tmp_path / "desk").rglob("*")}
    assert not any("escaped" in name for name in found)


HOSTILE = '"><script>document.title="ran"</script><img src=x onerror=document.title="ran">\u202e'


def test_scripts_in_names_and_remarks_are_shown_as_text(desk: Desk, client: Client) -> None:
    data = SAG.read_bytes()
    set_id = client.announce((HOSTILE, len(data)), person="<i>ana</i>", note=HOSTILE).data["id"]
    client.put(set_id, 1, data, 0, len(data))
    client.wait_for(set_id)
    client.post(f"/sets/{set_id}/reps/1", remark=HOSTILE, counted="no", who="<b>who</b>")
    pages = ["/", "/sets", f"/sets/{set_id}", "/people", "/people/%3Ci%3Eana%3C%2Fi%3E",
             f"/sets/{set_id}/report/report.html"]  # fmt: skip
    for page in pages:
        shown = client.get(page)
        assert shown.status == 200, page
        assert "<script>document" not in shown.text and "<img src=x" not in shown.text, page
        assert "<i>ana" not in shown.text and "<b>who" not in shown.text, page
        assert "\u202e" not in shown.text, page


def test_every_answer_carries_a_strict_policy(shared: Desk) -> None:
    client = Client(shared)
    for answer in (client.get("/"), client.get("/not-there"), stranger(client).get("/")):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
    set_id = client.judged(SAG)
    report = client.get(f"/sets/{set_id}/report/report.html")
    policy = report.headers["content-security-policy"]
    assert "script-src 'sha256-" in policy and "frame-ancestors 'self'" in policy
    assert "file:" not in policy


def test_the_cookie_is_for_this_session_and_our_own_pages_only(shared: Desk) -> None:
    answer = replace(Client(shared), knows=False).get(f"/?secret={shared.door.secret}")
    assert answer.status == 303 and answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert "expires" not in cookie and "max-age" not in cookie


def test_connections_that_never_finish_do_not_keep_others_out(
    shared: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(patience, "HEAD_S", 1.0)
    client = Client(shared)
    open_ones = []
    for n in range(200):
        one = socket.create_connection(("127.0.0.1", shared.door.port))
        one.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1" if n % 2 else b"")
        open_ones.append(one)
    began = time.monotonic()
    assert client.get("/sets").status == 200
    assert time.monotonic() - began < 5.0
    closed = 0
    for one in open_ones:
        one.settimeout(10.0)
        closed += one.recv(1) == b""
        one.close()
    assert closed == 200
    assert client.get("/sets").status == 200


def test_a_part_that_stands_still_is_given_up(
    desk: Desk, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from formcheck.desk import bodies

    monkeypatch.setattr(bodies, "SILENT_S", 0.5)
    data = SAG.read_bytes()
    set_id = client.announce(("clip.parquet", len(data))).data["id"]
    port, door = desk.door.port, desk.door
    head = (
        f"PUT /sets/{set_id}/clips/1 HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
        f"Origin: http://127.0.0.1:{port}\r\nCookie: {door.cookie}={door.secret}\r\n"
        f"X-Token: {door.token}\r\nContent-Length: {len(data)}\r\n"
        f"Content-Range: bytes 0-{len(data) - 1}/{len(data)}\r\n"
        f"X-CRC32: {zlib.crc32(data):08x}\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", port), timeout=20) as one:
        one.sendall(head.encode() + data[:1000])
        assert b" 408 " in one.recv(200).splitlines()[0]
    assert client.put(set_id, 1, data, 0, len(data)).status == 200
    client.wait_for(set_id)


def test_no_more_sets_are_taken_than_can_wait(tmp_path: Path) -> None:
    with opened(tmp_path, bounds=Bounds(sets_under_way=3)) as desk:
        client = Client(desk)
        statuses = [client.announce((f"{n}.mp4", 100 + n)).status for n in range(5)]
        assert statuses == [201, 201, 201, 429, 429]


def test_a_full_disk_is_said_before_anything_is_sent(tmp_path: Path) -> None:
    with opened(tmp_path, bounds=Bounds(free_bytes=1 << 60)) as desk:
        assert Client(desk).announce(("a.mp4", 100)).status == 507


def test_a_clip_that_only_looks_like_one_fails_alone(desk: Desk, client: Client) -> None:
    data = b"\x00\x00\x00\x18ftypmp42" + os.urandom(5000)
    set_id = client.announce(("broken.mp4", len(data))).data["id"]
    client.put(set_id, 1, data, 0, len(data))
    client.wait_for(set_id, "failed")
    shown = client.get(f"/sets/{set_id}").text
    assert "broken.mp4" in shown and str(desk.folder.root) not in shown
    client.judged(SAG)


def test_every_bad_clip_and_track_is_refused_or_fails_alone_in_its_sentence(
    desk: Desk, client: Client, tmp_path: Path
) -> None:
    waiting = {}
    # The desk reads a clip as “formcheck set” does, which is given them all (tests/battery).
    every = 1 if "FORMCHECK_ALL_BAD" in os.environ else 4
    for bad in (CLIPS + TRACKS)[::every]:
        bad.make(tmp_path / bad.name)
        if not stat.S_ISREG((tmp_path / bad.name).lstat().st_mode if
                            os.path.lexists(tmp_path / bad.name) else 0):  # fmt: skip
            continue  # a browser gives files, and nothing else
        data = (tmp_path / bad.name).read_bytes()
        announced = client.announce((bad.name, len(data)))
        if announced.status != 201:
            assert announced.status == 400 and "is empty" in announced.text
            continue
        put = client.put(announced.data["id"], 1, data[:PART_BYTES], 0, len(data))
        if put.status != 200:
            assert put.status == 415 and "is no clip that can be read" in put.text
        elif len(data) <= PART_BYTES:
            waiting[announced.data["id"]] = bad
    assert len(waiting) > 28 // every
    client.wait_until(
        lambda: all(desk.folder.standing(one).state != "waiting" for one in desk.folder.all())
    )
    for set_id, bad in waiting.items():
        one = desk.folder.find(set_id)
        assert one is not None
        standing = desk.folder.standing(one)
        assert standing.state == "failed", bad.name
        assert bad.said.split("⟩")[-1].replace(bad.name, "") in standing.says, bad.name
        assert "went wrong" not in standing.says and str(desk.folder.root) not in standing.says
    client.judged(SAG)


def test_the_secret_is_nowhere_but_in_the_cookie(shared: Desk) -> None:
    client = Client(shared)
    for page in ("/", "/sets", "/people", "/folders", "/phone"):
        assert shared.door.secret not in client.get(page).text
    assert json.dumps(shared.door.token)[1:-1] in client.get("/").text
