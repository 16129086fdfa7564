"""What stands between a command and the terminal: sentences, exit codes, streams, signals.

A stream that cannot write a sign gets the nearest one it can; one that was closed ends the
command quietly; being asked to end cleans up first.
"""

from __future__ import annotations

import atexit
import codecs
import contextlib
import errno
import gc
import io
import os
import signal
import sys
import unicodedata
from typing import Any

import typer

from formcheck.cli.help import Group
from formcheck.errors import Exit, FormcheckError

_IN_ASCII = {
    "×": "x", "–": "-", "—": "-", "−": "-", "±": "+/-", "°": " deg", "²": "2", "…": "...",
    "“": '"', "”": '"', "‘": "'", "’": "'", "⟨": "<", "⟩": ">", "≤": "<=", "≥": ">=", "→": "->",
}  # fmt: skip
_ENDED_BY = ("SIGTERM", "SIGHUP")
# Libraries that are imported make half a million objects that stay, and Python looks through all
# of them for rubbish again and again: a third of the time of judging a saved track.
_OBJECTS_BETWEEN_LOOKS = 100_000


class OneSentence(Group):
    """Runs a command; a problem becomes its sentence and its exit code, never a traceback."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        gc.set_threshold(_OBJECTS_BETWEEN_LOOKS)
        atexit.register(gc.freeze)  # nor does it look through all that on the way out
        codecs.register_error("formcheck", _nearest)
        _open_what_is_closed()
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="formcheck")
        try:
            return super().main(*args, **kwargs)
        except OSError as error:
            if error.errno != errno.ENOSPC or error.filename:
                raise
            _forget(sys.stdout)
            _say(f"what there is to say could not be written ({error.strerror}).")
            sys.exit(int(Exit.USAGE))

    def invoke(self, ctx: Any) -> Any:
        # Being asked to end cleans up like Ctrl-C does: no half-written folder stays.
        for name in _ENDED_BY:
            if number := getattr(signal, name, None):
                with contextlib.suppress(ValueError):  # not in the main thread
                    signal.signal(number, lambda by, _: sys.exit(128 + by))
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
        except FormcheckError as error:
            _say(str(error))
            raise typer.Exit(int(error.exit_code)) from error
        except MemoryError as error:
            _say("the memory of this machine ran out; close other programs, and try again.")
            raise typer.Exit(int(Exit.USAGE)) from error
        return result


def _open_what_is_closed() -> None:
    """Where a standard stream was closed, a file opened later would take its place."""
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        if getattr(sys, name) is None:
            nowhere = os.open(os.devnull, os.O_RDWR)
            if nowhere != number:
                os.dup2(nowhere, number)
                os.close(nowhere)
            setattr(sys, name, os.fdopen(number, mode, closefd=False))


def _say(sentence: str) -> None:
    with contextlib.suppress(OSError, ValueError):
        print(f"formcheck: {sentence}", file=sys.stderr, flush=True)


def _forget(stream: Any) -> None:
    """Let a stream that cannot be written drop what it holds, so that it is not tried again."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def _nearest(error: UnicodeError) -> tuple[str, int]:
    """An error handler for encodings that lack a sign: its nearest in ASCII."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return "".join(_in_ascii(sign) for sign in signs), error.end


def _in_ascii(sign: str) -> str:
    if sign in _IN_ASCII:
        return _IN_ASCII[sign]
    apart = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
    return apart or "?"
