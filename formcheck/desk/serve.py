"""Open the desk: an address of this machine alone, or of the local network; until Ctrl-C."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import secrets
import socket
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import psutil
import uvicorn

from formcheck.batch.records import write_whole
from formcheck.desk.app import desk_app
from formcheck.desk.browser import open_page
from formcheck.desk.desk import Desk, log_path
from formcheck.desk.folder import DeskFolder
from formcheck.desk.guard import Door, hosts_of
from formcheck.desk.patience import PatientProtocol
from formcheck.desk.queue import Queue
from formcheck.errors import FormcheckError
from formcheck.files import read_small

PORT = 8460  # not registered with IANA for anything at the time of writing (from memory)
_SECRET_BYTES = 24
_SECRET_FILE = "secret"
_LOOPBACK, _EVERYWHERE = "127.0.0.1", "0.0.0.0"
_CLOSE_S = 2


class ServeError(FormcheckError):
    """The desk cannot be opened as asked."""


@dataclass(frozen=True)
class DeskAsk:
    """``folder`` what the desk keeps, ``log`` None for the usual one, ``shown`` other folders of
    reports. ``port`` 0 for any free one. ``network`` whether other machines may open it.
    ``cert``, ``key`` files for TLS, or neither."""

    folder: Path
    log: Path | None = None
    shown: tuple[Path, ...] = ()
    port: int = PORT
    network: bool = False
    cert: Path | None = None
    key: Path | None = None
    browser: bool = True


def run_desk(ask: DeskAsk, on_open: Callable[[Desk], None]) -> None:
    """Keep the desk open until the process is asked to end. ``on_open`` hears when it answers.

    Raises ServeError, OutputError.
    """
    _check(ask)
    folder = DeskFolder(ask.folder.absolute())
    with folder.held(), _listening(ask) as listener:
        desk = _desk(ask, folder, listener.getsockname()[1])
        server_of(desk, on_open, ask.browser, ask.cert, ask.key).run([listener])


def server_of(
    desk: Desk,
    on_open: Callable[[Desk], None],
    browser: bool = False,
    cert: Path | None = None,
    key: Path | None = None,
) -> uvicorn.Server:
    """The desk as a server that is yet to be run, on a socket that listens."""
    app, closing = desk_app(desk)
    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        ws="none",
        lifespan="on",
        loop="asyncio",
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=_CLOSE_S,
        ssl_certfile=cert,
        ssl_keyfile=key,
    )
    return _Server(config, desk, closing, browser, on_open)


class _Server(uvicorn.Server):
    """Tells when it answers, and its queue and pages at once when it is to end."""

    def __init__(
        self,
        config: uvicorn.Config,
        desk: Desk,
        closing: threading.Event,
        browser: bool,
        on_open: Callable[[Desk], None],
    ) -> None:
        super().__init__(config)
        self._desk, self._closing = desk, closing
        self._browser, self._on_open = browser, on_open

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self._on_open(self._desk)
        if self._browser:
            address = self._desk.door.address(_LOOPBACK)
            threading.Thread(target=open_page, args=[address], daemon=True).start()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._desk.queue.close()
        self._closing.set()
        super().handle_exit(sig, frame)


def _desk(ask: DeskAsk, folder: DeskFolder, port: int) -> Desk:
    found = local_addresses() if ask.network else ()
    log = log_path(ask.log)
    names = (socket.gethostname(), f"{socket.gethostname()}.local") if ask.network else ()
    door = Door(
        secrets.token_urlsafe(_SECRET_BYTES) if ask.network else _kept_secret(folder.root),
        hosts_of((*found, *names)),
        port,
        tls=ask.cert is not None,
    )
    return Desk(
        folder,
        Queue(folder, log),
        door,
        log,
        tuple(path.absolute() for path in ask.shown),
        tuple(door.address(one) for one in found),
    )


def _kept_secret(root: Path) -> str:
    """The secret of a desk that only this machine can open: kept, so that what the browser holds
    is good after a restart too. Only its owner can read it."""
    path = root / _SECRET_FILE
    with contextlib.suppress(OSError, UnicodeDecodeError):
        kept = read_small(path, 200).decode("ascii").strip()
        if len(kept) >= _SECRET_BYTES:
            return kept
    before = os.umask(0o077)
    try:
        secret = secrets.token_urlsafe(_SECRET_BYTES)
        write_whole(path, secret.encode("ascii"))
    finally:
        os.umask(before)
    return secret


def local_addresses() -> tuple[str, ...]:
    """IPv4 addresses of this machine in local networks."""
    found = [
        entry.address
        for entries in psutil.net_if_addrs().values()
        for entry in entries
        if entry.family == socket.AF_INET
    ]
    return tuple(
        one
        for one in dict.fromkeys(found)
        if not (address := ipaddress.ip_address(one)).is_loopback and not address.is_link_local
    )


def _check(ask: DeskAsk) -> None:
    if (ask.cert is None) != (ask.key is None):
        raise ServeError("encryption takes both: give --cert and --key.")
    for path in (ask.cert, ask.key):
        if path is not None and not path.is_file():
            raise ServeError(f"{path} is not there; give the file of the certificate and its key.")
    for path in ask.shown:
        if not path.is_dir():
            raise ServeError(f"{path} is no folder; give one that “formcheck batch” wrote.")


@contextlib.contextmanager
def _listening(ask: DeskAsk) -> Iterator[socket.socket]:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        try:
            listener.bind((_EVERYWHERE if ask.network else _LOOPBACK, ask.port))
        except OSError as error:
            raise ServeError(
                f"port {ask.port} cannot be used ({error.strerror}); choose another with --port."
            ) from error
        yield listener
    finally:
        listener.close()


def shown_addresses(desk: Desk) -> Sequence[str]:
    """The addresses to show: of this machine first."""
    return (desk.door.address(_LOOPBACK), *desk.addresses)
