"""A desk that really answers, on a free port of this machine, with saved tracks as its clips."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
import zlib
from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from formcheck.batch.work import keep_picture
from formcheck.desk.desk import Desk
from formcheck.desk.folder import PART_BYTES, Bounds, DeskFolder
from formcheck.desk.guard import Door, hosts_of
from formcheck.desk.queue import Judge, Queue
from formcheck.desk.serve import server_of
from formcheck.desk.work import DeskJob, Result, Seen, Step, result_of
from formcheck.job import judge_set

TRACKS = Path(__file__).parents[1] / "data"
SECRET = "a-secret-for-tests-only-0123456789"
SIDE, FRONT = TRACKS / "flared_pair_side.parquet", TRACKS / "flared_pair_front.parquet"
SAG = TRACKS / "hip_sag_side.parquet"


Steps = Generator[Step | Seen | None, None, Result]


def judge_here(asked: DeskJob) -> Steps:
    """The same job in this process: quicker than one of its own."""
    yield Step("Finding the pose in it", 1, 2)
    outcome = judge_set(asked.job)
    yield Step("Drawing the clip", 1, 2)
    keep_picture(outcome, asked.picture)
    return result_of(outcome)


@dataclass
class Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def data(self) -> Any:
        return json.loads(self.body)


@dataclass
class Client:
    """Asks a desk like a browser that holds its cookie, or like one that does not."""

    desk: Desk
    knows: bool = True
    host: str = ""
    origin: str | None = ""
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        port = self.desk.door.port
        sent = {"Host": self.host or f"127.0.0.1:{port}", **self.headers}
        if self.knows:
            sent["Cookie"] = f"{self.desk.door.cookie}={self.desk.door.secret}"
        if method not in ("GET", "HEAD") and self.origin is not None:
            sent["Origin"] = self.origin or f"http://127.0.0.1:{port}"
        sent.update({name.replace("_", "-"): value for name, value in headers.items()})
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=20)) as connection:
            connection.request(method, path, body, sent)
            got = connection.getresponse()
            return Answer(got.status, dict(got.headers), got.read())

    def get(self, path: str) -> Answer:
        return self.ask("GET", path, Accept="text/html")

    def post(self, path: str, token: str | None = None, **fields: str) -> Answer:
        said = {"token": self.desk.door.token if token is None else token, **fields}
        return self.ask(
            "POST", path, urlencode(said).encode(), Accept="text/html",
            Content_Type="application/x-www-form-urlencoded",
        )  # fmt: skip

    def announce(self, *clips: tuple[str, int], **asked: str) -> Answer:
        said = {
            "asked": asked,
            "clips": [{"name": name, "size": size, "changed": 0} for name, size in clips],
        }
        return self.post_json("/sets", said)

    def post_json(self, path: str, said: Mapping[str, Any]) -> Answer:
        return self.ask("POST", path, json.dumps(said).encode(), X_Token=self.desk.door.token)

    def put(
        self, set_id: str, n: int, data: bytes, first: int, size: int, **headers: str
    ) -> Answer:
        return self.ask(
            "PUT", f"/sets/{set_id}/clips/{n}", data,
            **{
                "X_Token": self.desk.door.token,
                "Content_Range": f"bytes {first}-{first + len(data) - 1}/{size}",
                "X_CRC32": f"{zlib.crc32(data):08x}",
                **headers,
            },
        )  # fmt: skip

    def send(self, *paths: Path, **asked: str) -> str:
        """Announce a set and send its clips; its name."""
        announced = self.announce(*((path.name, path.stat().st_size) for path in paths), **asked)
        assert announced.status == 201, announced.text
        set_id, part = str(announced.data["id"]), announced.data["part"]
        for n, path in enumerate(paths, 1):
            self.put_whole(set_id, n, path, part)
        return set_id

    def put_whole(self, set_id: str, n: int, path: Path, part: int = PART_BYTES) -> None:
        data = path.read_bytes()
        for first in range(0, len(data), part):
            put = self.put(set_id, n, data[first : first + part], first, len(data))
            assert put.status == 200, put.text

    def judged(self, *paths: Path, **asked: str) -> str:
        set_id = self.send(*paths, **asked)
        self.wait_for(set_id)
        return set_id

    def wait_for(self, set_id: str, state: str = "judged", within_s: float = 60.0) -> None:
        one = self.desk.folder.find(set_id)
        assert one is not None
        found = one
        self.wait_until(lambda: self.desk.folder.standing(found).state == state, within_s)

    def wait_until(self, so: Callable[[], bool], within_s: float = 60.0) -> None:
        until = time.monotonic() + within_s
        while not so():
            assert time.monotonic() < until, [
                self.desk.folder.standing(one) for one in self.desk.folder.all()
            ]
            time.sleep(0.05)


@contextmanager
def opened(
    root: Path,
    judge: Judge = judge_here,
    bounds: Bounds | None = None,
    shown: tuple[Path, ...] = (),
    cert: Path | None = None,
    key: Path | None = None,
    network: bool = False,
) -> Iterator[Desk]:
    """A desk over a folder, until the block ends."""
    listener = socket.create_server(("127.0.0.1", 0))
    folder = DeskFolder(root / "desk", bounds)
    door = Door(SECRET, hosts_of(()), listener.getsockname()[1], tls=cert is not None)
    log = root / "log.sqlite"
    addresses = (door.address("192.0.2.7"),) if network else ()
    desk = Desk(folder, Queue(folder, log, judge), door, log, shown, addresses)
    ready = threading.Event()
    server = server_of(desk, lambda desk: ready.set(), cert=cert, key=key)
    with folder.held():
        thread = threading.Thread(target=server.run, args=[[listener]], daemon=True)
        thread.start()
        assert ready.wait(30)
        try:
            yield desk
        finally:
            server.handle_exit(2, None)
            thread.join(30)
            listener.close()
            assert not thread.is_alive()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with opened(tmp_path) as desk:
        yield desk


@pytest.fixture
def client(desk: Desk) -> Client:
    return Client(desk)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """One desk for tests that leave it as they found it, or do not mind."""
    with opened(tmp_path_factory.mktemp("desk")) as desk:
        yield desk


Ask = Callable[[Client], Answer]
