"""What can go wrong at the edges, each kind with the exit code the command line gives it."""

from __future__ import annotations

from enum import IntEnum

from formcheck.plain import plain

_LONGEST = 1500  # characters of a sentence: a path may have a thousand


class Exit(IntEnum):
    """Exit codes of the command line."""

    DONE = 0
    USAGE = 2
    CLIP_UNREADABLE = 3
    NO_SET_FOUND = 4
    SOME_FAILED = 5


class FormcheckError(Exception):
    """A problem told to the user in one sentence: which file, what is wrong, what to do.

    A file with several problems gives a sentence each, which become lines. Names and words in
    them may come from anywhere; ``str`` gives them fit to be shown.
    """

    exit_code: Exit = Exit.USAGE

    def __str__(self) -> str:
        return "\n".join(plain(str(sentence), _LONGEST) for sentence in self.args)


class ClipError(FormcheckError):
    """The clip, or the pose track given in its place, cannot be read."""

    exit_code = Exit.CLIP_UNREADABLE


class TrackError(ClipError):
    """The pose track file is not one formcheck can read."""


class ModelError(FormcheckError):
    """The landmark model, or a library it needs, is missing or not what it should be."""


class OutputError(FormcheckError):
    """The output cannot be written where it was asked for."""
