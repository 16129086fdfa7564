"""What the desk works with, put together once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from starlette.requests import Request

from formcheck.desk.folder import DeskError, DeskFolder, DeskSet, Group
from formcheck.desk.guard import Door
from formcheck.desk.labels import FILE, Labels
from formcheck.desk.queue import Queue
from formcheck.log.store import default_log


@dataclass(frozen=True)
class Desk:
    """``log`` the training log; ``shown`` folders of reports made elsewhere, such as a batch's;
    ``addresses`` that open the desk from other machines, none when it answers this one only."""

    folder: DeskFolder
    queue: Queue
    door: Door
    log: Path
    shown: tuple[Path, ...] = ()
    addresses: tuple[str, ...] = ()

    @property
    def labels(self) -> Labels:
        return Labels(self.folder.root / FILE)


def desk_of(request: Request) -> Desk:
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


def set_of(request: Request) -> DeskSet:
    """The set that the address names. Raises DeskError."""
    one = desk_of(request).folder.find(request.path_params["set_id"])
    if one is None:
        raise DeskError("There is no such set on this desk.", 404)
    return one


def group_of(request: Request) -> Group:
    """The folder of clips that the address names. Raises DeskError."""
    wanted = request.path_params["group_id"]
    for one in desk_of(request).folder.groups():
        if one.id == wanted:
            return one
    raise DeskError("There is no such folder on this desk.", 404)


def log_path(log: Path | None) -> Path:
    return log or default_log()
