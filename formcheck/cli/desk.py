"""``formcheck desk``: the page on one's own machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from formcheck.cli.log import LogFile

if TYPE_CHECKING:
    from formcheck.desk.desk import Desk


def desk(
    folder: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Where clips, reports and labels are kept. Default: in your folder for programs' "
            "data.",
        ),
    ] = None,
    reports: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="DIR",
            help="A folder that “formcheck batch” or “formcheck set” wrote, to show too; may be "
            "given again.",
        ),
    ] = None,
    log: LogFile = None,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port to answer on. 0: any that is free.")
    ] = 8460,
    network: Annotated[
        bool,
        typer.Option(
            "--network", help="Let phones and other machines of the local network open it too."
        ),
    ] = False,
    cert: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Certificate (PEM), to encrypt: https.")
    ] = None,
    key: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The certificate's key (PEM).")
    ] = None,
    browser: Annotated[
        bool,
        typer.Option(
            "--open/--no-open", "--browser/--no-browser", help="Open the page in the browser."
        ),
    ] = True,
) -> None:
    """Open a page on this machine: drop clips, read reports, say what you see differently.

    Only this machine can open it, unless --network is given; and nobody without the secret that
    is in its address. Ctrl-C ends it; what was not judged yet is judged next time.
    """
    from formcheck.desk.folder import default_folder
    from formcheck.desk.serve import DeskAsk, run_desk

    run_desk(
        DeskAsk(
            folder or default_folder(),
            log,
            tuple(reports or ()),
            port,
            network,
            cert,
            key,
            browser,
        ),
        _say_open,
    )


def _say_open(desk: Desk) -> None:
    import segno

    from formcheck.desk.serve import shown_addresses

    own, *others = shown_addresses(desk)
    print(f"The desk is open: {own}")
    if others:
        for address in others:
            print(f"From a phone or another machine in this network: {address}")
        segno.make(others[0], error="m").terminal(compact=True)
        print(
            "Whoever has this address can see every person, clip and report of this desk, and add "
            "to them; without it nothing is answered. The address is good until you stop the desk."
        )
        if not desk.door.tls:
            print("What is sent is not encrypted: use it in a network that you trust, or --cert.")
    else:
        print("Only this machine can open it, and only with this address.")
    print("Ctrl-C stops it.", flush=True)
