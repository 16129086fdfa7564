"""How the desk is opened: to whom, with which secret, and what is said of it."""

from __future__ import annotations

import http.client
import shutil
import ssl
import subprocess
import threading
from contextlib import closing
from pathlib import Path

import pytest

from formcheck.cli.desk import _say_open
from formcheck.desk import serve
from formcheck.desk.desk import Desk
from formcheck.desk.folder import DeskFolder
from formcheck.desk.serve import DeskAsk, ServeError, run_desk
from formcheck.errors import OutputError
from tests.desk.conftest import Client, opened

OPENSSL = shutil.which("openssl")


def made(tmp_path: Path, network: bool) -> Desk:
    ask = DeskAsk(tmp_path, tmp_path / "log.sqlite", network=network)
    return serve._desk(ask, DeskFolder(tmp_path), 8460)


def test_the_secret_of_this_machine_is_kept_for_its_owner_alone(tmp_path: Path) -> None:
    first, second = made(tmp_path, False), made(tmp_path, False)
    assert first.door.secret == second.door.secret
    assert (tmp_path / "secret").stat().st_mode & 0o077 == 0
    assert first.addresses == ()
    assert first.door.hosts == {"127.0.0.1", "localhost", "::1"}


def test_the_secret_of_the_network_is_fresh_each_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "local_addresses", lambda: ("192.0.2.7",))
    alone = made(tmp_path, False).door.secret
    first, second = made(tmp_path, True), made(tmp_path, True)
    assert len({alone, first.door.secret, second.door.secret}) == 3
    assert first.door.is_ours("192.0.2.7:8460") and not first.door.is_ours("192.0.2.8:8460")
    assert first.addresses == (f"http://192.0.2.7:8460/?secret={first.door.secret}",)


def test_what_is_open_to_whom_is_said_plainly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(serve, "local_addresses", lambda: ("192.0.2.7",))
    _say_open(made(tmp_path, False))
    alone = capsys.readouterr().out
    assert "Only this machine can open it" in alone and "192.0.2.7" not in alone
    _say_open(made(tmp_path, True))
    network = capsys.readouterr().out
    assert "http://192.0.2.7:8460/?secret=" in network
    assert "without it nothing is answered" in network and "not encrypted" in network
    assert "█" in network or "▀" in network  # the code to scan


def test_one_folder_has_one_desk(tmp_path: Path) -> None:
    with opened(tmp_path), pytest.raises(OutputError, match="in use by another desk"):
        run_desk(DeskAsk(tmp_path / "desk", port=0, browser=False), lambda desk: None)


def test_a_port_that_is_taken_is_said(tmp_path: Path) -> None:
    with opened(tmp_path) as desk, pytest.raises(ServeError, match="choose another with --port"):
        run_desk(DeskAsk(tmp_path / "other", port=desk.door.port, browser=False), lambda desk: None)


def test_half_a_certificate_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ServeError, match="both"):
        run_desk(DeskAsk(tmp_path, cert=tmp_path / "cert.pem"), lambda desk: None)


@pytest.mark.skipif(OPENSSL is None, reason="openssl is not installed")
def test_with_a_certificate_it_is_encrypted(tmp_path: Path) -> None:
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    subprocess.run(
        [
            str(OPENSSL), "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
            "-nodes", "-keyout", str(key), "-out", str(cert), "-days", "2", "-subj",
            "/CN=localhost", "-addext", "subjectAltName=DNS:localhost",
        ],
        check=True, capture_output=True,
    )  # fmt: skip
    with opened(tmp_path, cert=cert, key=key) as desk:
        trusts = ssl.create_default_context(cafile=str(cert))
        with closing(
            http.client.HTTPSConnection("localhost", desk.door.port, context=trusts, timeout=20)
        ) as connection:
            connection.request("GET", f"/?secret={desk.door.secret}")
            answer = connection.getresponse()
            assert answer.status == 303
            assert "Secure" in str(answer.getheader("set-cookie"))
        with pytest.raises((http.client.HTTPException, OSError)):
            Client(desk).get("/")


def test_ending_it_does_not_wait_for_pages_that_follow_the_progress(tmp_path: Path) -> None:
    with opened(tmp_path) as desk:
        connection = http.client.HTTPConnection("127.0.0.1", desk.door.port, timeout=10)
        cookie = f"{desk.door.cookie}={desk.door.secret}"
        connection.request("GET", "/progress", headers={"Cookie": cookie})
        assert connection.getresponse().status == 200
        watcher = threading.Thread(target=connection.close)
    watcher.start()
    watcher.join()
