"""A desk that is killed at any moment loses nothing that had arrived, and shows nothing by half."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
import zlib
from pathlib import Path

import pytest

from formcheck.desk.desk import Desk
from formcheck.desk.folder import DeskFolder
from formcheck.desk.guard import Door, hosts_of
from formcheck.desk.queue import Queue
from formcheck.report.contract import check
from tests.desk.conftest import FRONT, SAG, SIDE, TRACKS, Client

pytestmark = pytest.mark.slow

KILLS = int(os.environ.get("FORMCHECK_KILLS", "2"))  # ten, when it is measured
SMALL_PART = 20_000
CLIPS = [
    (SAG,), (SIDE, FRONT), *(((TRACKS / f"{name}.parquet"),) for name in (
        "partial_side", "wide_front", "aborted_side", "pike_side",
    )),
]  # fmt: skip
RUN = """
import sys
from pathlib import Path
from formcheck.desk.serve import DeskAsk, run_desk
run_desk(
    DeskAsk(Path(sys.argv[1]) / "desk", Path(sys.argv[1]) / "log.sqlite", port=0, browser=False),
    lambda desk: print(desk.door.port, desk.door.secret, flush=True),
)
"""


def started(root: Path) -> tuple[subprocess.Popen[str], Client]:
    process = subprocess.Popen(
        [sys.executable, "-c", RUN, str(root)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    port, secret = process.stdout.readline().split()
    folder = DeskFolder(root / "desk")
    door = Door(secret, hosts_of(()), int(port))
    return process, Client(Desk(folder, Queue(folder), door, root / "log.sqlite"))


def upload(client: Client, todo: list[tuple[Path, ...]], done: list[str]) -> None:
    """Send sets in small parts until the desk is gone; ``done`` those that arrived for sure."""
    try:
        while todo:
            paths = todo[0]
            clips = [(path.name, path.stat().st_size) for path in paths]
            told = client.announce(*clips).data
            for n, path in enumerate(paths, 1):
                data, have = path.read_bytes(), told["have"][n - 1]
                while have < len(data):
                    part = data[have : have + SMALL_PART]
                    have = client.put(told["id"], n, part, have, len(data)).data["have"]
            done.append(told["id"])
            todo.pop(0)
    except (OSError, ValueError, KeyError):
        return


def shown_whole(client: Client) -> None:
    """Whatever the desk shows as judged is a whole report."""
    for one in client.desk.folder.all():
        state = client.desk.folder.standing(one).state
        report = client.desk.folder.report(one.id)
        if state in ("judged", "empty"):
            check(json.loads((report / "report.json").read_text()))
            assert (
                client.get(f"/sets/{one.id}/report/report.html").text.rstrip().endswith("</html>")
            )
            assert (report / "landmarks.parquet").exists() and (report / "reps.csv").exists()
        elif not (report / "report.json").exists():
            assert client.get(f"/sets/{one.id}/report/report.html").status == 404
        assert state != "failed", client.desk.folder.standing(one).says


def test_every_finished_upload_is_judged_and_no_half_report_is_shown(tmp_path: Path) -> None:
    moments = random.Random(18)
    todo, done = list(CLIPS), list[str]()
    process, client = started(tmp_path)
    try:
        for _ in range(KILLS):
            sender = threading.Thread(target=upload, args=[client, todo, done])
            sender.start()
            time.sleep(moments.uniform(0.05, 4.0))
            process.send_signal(signal.SIGKILL)
            process.wait()
            sender.join()
            process, client = started(tmp_path)
            shown_whole(client)
        upload(client, todo, done)
        assert len(done) == len(CLIPS)
        for set_id in done:
            client.wait_for(set_id, within_s=300.0)
        shown_whole(client)
        assert not list((tmp_path / "desk" / "reports").glob(".*"))
    finally:
        process.terminate()
        assert process.wait(timeout=30) is not None


def test_a_part_half_sent_is_sent_again_and_the_rest_is_not(tmp_path: Path) -> None:
    process, client = started(tmp_path)
    try:
        data = SAG.read_bytes()
        set_id = client.announce(("clip.parquet", len(data))).data["id"]
        client.put(set_id, 1, data[:SMALL_PART], 0, len(data))
        process.send_signal(signal.SIGKILL)
        process.wait()
        with (client.desk.folder._sets / set_id / "1.part").open("ab") as half:
            half.write(b"half a part that was being written")
        process, client = started(tmp_path)
        told = client.announce(("clip.parquet", len(data))).data
        assert (told["id"], told["have"]) == (set_id, [SMALL_PART])
        rest = data[SMALL_PART:]
        assert client.put(set_id, 1, rest, SMALL_PART, len(data)).data["have"] == len(data)
        clip = client.desk.folder._sets / set_id / "1.parquet"
        assert zlib.crc32(clip.read_bytes()) == zlib.crc32(data)
    finally:
        process.terminate()
        process.wait(timeout=30)
