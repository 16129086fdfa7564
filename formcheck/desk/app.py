"""The addresses of the desk, and what answers each."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import AsyncIterator

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from formcheck.desk import changes, pages
from formcheck.desk.desk import Desk
from formcheck.desk.folder import DeskError
from formcheck.desk.guard import Guard
from formcheck.errors import FormcheckError, OutputError

_GET, _POST, _PUT = ["GET"], ["POST"], ["PUT"]
ROUTES = (
    Route("/", pages.home, methods=_GET),
    Route("/sets", pages.all_sets, methods=_GET),
    Route("/sets", changes.announce_set, methods=_POST),
    Route("/sets/{set_id}", pages.one_set, methods=_GET),
    Route("/sets/{set_id}/clips/{n:int}", changes.clip_have, methods=_GET),
    Route("/sets/{set_id}/clips/{n:int}", changes.send_part, methods=_PUT),
    Route("/sets/{set_id}/cancel", changes.cancel, methods=_POST),
    Route("/sets/{set_id}/apart", changes.judge_apart, methods=_POST),
    Route("/sets/{set_id}/again", changes.judge_again, methods=_POST),
    Route("/sets/{set_id}/remove", changes.remove, methods=_POST),
    Route("/sets/{set_id}/reps/{rep:int}", changes.see_rep, methods=_POST),
    Route("/sets/{set_id}/report/{name}", pages.report_file, methods=_GET),
    Route("/people", pages.list_people, methods=_GET),
    Route("/people", changes.tell_of_person, methods=_POST),
    Route("/people/{name:path}", pages.person, methods=_GET),
    Route("/trends", pages.trends, methods=_GET),
    Route("/remembered", pages.remembered, methods=_GET),
    Route("/groups", changes.announce_group, methods=_POST),
    Route("/groups/{group_id}", pages.one_group, methods=_GET),
    Route("/groups/{group_id}/{name}", pages.group_file, methods=_GET),
    Route("/folders", pages.list_folders, methods=_GET),
    Route("/folders/{n:int}/{place:path}", pages.folder_file, methods=_GET),
    Route("/phone", pages.phone, methods=_GET),
    Route("/progress", pages.progress, methods=_GET),
    Route("/look/{name}", pages.look, methods=_GET),
)


def desk_app(desk: Desk) -> tuple[ASGIApp, threading.Event]:
    """The guarded application, which runs the queue while it is up; the event tells pages that
    follow the progress that the desk is closing."""
    closing = threading.Event()

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        desk.queue.start()
        try:
            yield
        finally:
            desk.queue.close()
            desk.queue.join()

    app = Starlette(
        routes=ROUTES,
        lifespan=life,
        exception_handlers={
            FormcheckError: _told,
            HTTPException: _told_by_status,
            Exception: _told_our_fault,
        },
    )
    app.state.desk, app.state.closing = desk, closing
    app.state.sending, app.state.watching = set(), set()
    return Guard(app, desk.door), closing


async def _told(request: Request, error: Exception) -> Response:
    if isinstance(error, DeskError):
        status = error.status
    else:
        status = 507 if isinstance(error, OutputError) else 400
    return pages.said_on_page(request, str(error), status)


async def _told_by_status(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    says = {404: "There is no such page.", 405: "That cannot be done here."}.get(status, "No.")
    return pages.said_on_page(request, says, status)


async def _told_our_fault(request: Request, error: Exception) -> Response:
    return pages.said_on_page(request, f"formcheck went wrong ({type(error).__name__}).", 500)
