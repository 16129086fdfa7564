"""What a request brings with it, read no further than it may be long, and not for ever."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any
from urllib.parse import parse_qsl

from starlette.requests import ClientDisconnect, Request

from formcheck.desk.folder import DeskError

SMALL_BYTES = 64_000  # of a form
LARGE_BYTES = 400_000  # of the names of all clips in a folder
SILENT_S = 20.0  # without a byte of what was announced


async def pieces(request: Request, most: int) -> AsyncIterator[bytes]:
    """The body as it comes. Raises DeskError when it is too long or stands still."""
    read = 0
    stream = aiter(request.stream())
    while True:
        try:
            piece = await asyncio.wait_for(anext(stream), SILENT_S)
        except StopAsyncIteration:
            return
        except TimeoutError:
            raise DeskError("nothing more came; send it again.", 408) from None
        except ClientDisconnect:
            raise DeskError("the connection was lost; send it again.") from None
        read += len(piece)
        if read > most:
            raise DeskError(f"at most {most} bytes are taken here.", 413)
        yield piece


async def said_in_json(request: Request, most: int = SMALL_BYTES) -> dict[str, Any]:
    """An object in JSON. Raises DeskError."""
    body = b"".join([piece async for piece in pieces(request, most)])
    try:
        said = json.loads(body)
    except (ValueError, RecursionError):
        said = None
    if not isinstance(said, dict):
        raise DeskError("this is not what a page of the desk sends.")
    return said


async def said_in_form(request: Request) -> dict[str, str]:
    """The fields of a form, of each name the last. Raises DeskError."""
    body = b"".join([piece async for piece in pieces(request, SMALL_BYTES)])
    try:
        text = body.decode("utf-8")
        return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=100, errors="strict"))
    except ValueError:
        raise DeskError("this is not what a page of the desk sends.") from None
