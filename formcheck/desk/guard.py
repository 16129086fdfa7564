"""Who may ask what: checked before anything else looks at a request.

Without the secret nothing is answered, not even what is there. A browser that opened the address
with the secret keeps it in a cookie of this session; every change has to bring, besides, a token
that only our own pages hold, from a page of our own origin.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import re
from collections.abc import Collection
from dataclasses import dataclass
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "media-src 'self'; connect-src 'self'; frame-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'self'"
)
TOKEN_HEADER, TOKEN_FIELD = "x-token", "token"
_ALWAYS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with none, browsers name no origin either
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}
_READS = ("GET", "HEAD")
_PORT = re.compile(r"\d{1,5}")


@dataclass(frozen=True)
class Door:
    """Where the desk answers and to whom: ``hosts`` as they may stand in an address, without the
    port; ``secret`` in the address that opens it; ``tls`` whether connections are encrypted."""

    secret: str
    hosts: frozenset[str]
    port: int
    tls: bool = False

    @property
    def scheme(self) -> str:
        return "https" if self.tls else "http"

    @property
    def cookie(self) -> str:
        return f"formcheck_{self.port}"

    @property
    def token(self) -> str:
        """What a change has to bring; it does not give the secret away."""
        return hmac.new(self.secret.encode(), b"change", hashlib.sha256).hexdigest()

    def address(self, host: str) -> str:
        """The address that opens the desk."""
        return f"{self.scheme}://{_bracketed(host)}:{self.port}/?secret={self.secret}"

    def is_ours(self, host_header: str) -> bool:
        host, _, port = host_header.rpartition(":")
        if not host or not _PORT.fullmatch(port):
            return False
        return int(port) == self.port and host.strip("[]").lower() in self.hosts

    def knows(self, secret: str) -> bool:
        return hmac.compare_digest(secret.encode(), self.secret.encode())


class Guard:
    """Refuses what it should not pass on, and puts what protects a page on every answer."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # nothing here talks by other means

        async def protected(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers[name] = value
                headers.setdefault("content-security-policy", POLICY)
            await send(message)

        answer = self._refusal(scope) or self._app
        await answer(scope, receive, protected)

    def _refusal(self, scope: Scope) -> ASGIApp | None:
        """What to answer instead; None where the request may pass."""
        headers = Headers(scope=scope)
        if len(headers.getlist("host")) != 1 or not self._door.is_ours(headers["host"]):
            return _said("This is not an address of this desk.", 421)
        opened = parse_qs(scope["query_string"].decode("latin-1"), max_num_fields=20).get(
            "secret", []
        )
        if len(opened) == 1 and self._door.knows(opened[0]) and scope["method"] == "GET":
            return self._open(scope)
        known = cookie_parser(headers.get("cookie", "")).get(self._door.cookie, "")
        if not self._door.knows(known):
            return _said(
                "Open the desk with the address that “formcheck desk” shows: it holds the secret.",
                403,
            )
        if scope["method"] not in _READS and not self._from_our_page(headers):
            return _said("This did not come from a page of this desk.", 403)
        return None

    def _open(self, scope: Scope) -> ASGIApp:
        response = RedirectResponse(scope["path"] if scope["path"] == "/phone" else "/", 303)
        response.set_cookie(
            self._door.cookie, self._door.secret, httponly=True, samesite="strict",
            secure=self._door.tls,
        )  # fmt: skip
        return response

    def _from_our_page(self, headers: Headers) -> bool:
        return headers.get("origin") == f"{self._door.scheme}://{headers['host']}"


def _said(sentence: str, status: int) -> ASGIApp:
    # What else the connection brings is not worth reading.
    return PlainTextResponse(f"{sentence}\n", status, {"connection": "close"})


def _bracketed(host: str) -> str:
    try:
        return f"[{host}]" if ipaddress.ip_address(host).version == 6 else host
    except ValueError:
        return host


def hosts_of(addresses: Collection[str]) -> frozenset[str]:
    """This machine by any name it is called from itself, and by these addresses."""
    return frozenset({"127.0.0.1", "localhost", "::1", *(one.lower() for one in addresses)})
