"""Which clips belong to one set: by the roster, by their names, by the time of recording.

This only says what looks like one set; whether the clips show one is told from the motion when
they are judged.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from formcheck.batch.find import ClipFile

PairedBy = Literal["roster", "names", "time"]

# Words in file and folder names that say where the camera stood.
_VIEW_WORDS = {
    "side": "side", "sideview": "side", "profile": "side", "lateral": "side",
    "front": "front", "frontview": "front", "frontal": "front",
}  # fmt: skip
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_WORD = re.compile(r"[^\W\d_]+|\d+")


@dataclass(frozen=True)
class Together:
    """Clips taken for one set, and what speaks for it (None for a clip on its own)."""

    clips: tuple[ClipFile, ...]
    by: PairedBy | None = None


def words_of(place: str) -> tuple[tuple[str, ...], str | None]:
    """The words of a path without those that name a view, and the view named last.

    ``anna/Set01-frontView.mp4`` gives ``("anna", "set", "1")`` and ``front``.
    """
    view = None
    words: list[str] = []
    for part in place.rsplit(".", 1)[0].split("/"):
        for word in _WORD.findall(_CAMEL.sub(" ", part)):
            plain = word.lower()
            if plain in _VIEW_WORDS:
                view = _VIEW_WORDS[plain]
            elif plain != "view":
                words.append(str(int(word)) if word.isdecimal() else plain)
    return tuple(words), view


def without_view(part: str) -> str:
    """A file or folder name without the words that name a view: ``monday_side_2`` becomes
    ``monday_2``, ``annaFront`` ``anna``, ``side`` nothing."""
    pieces = re.split(r"([^\W\d_]+)", _CAMEL.sub("\0", part))
    kept = ["" if piece.lower() in {*_VIEW_WORDS, "view"} else piece for piece in pieces]
    joined = re.sub(r"([-_. ])[-_. ]+", r"\1", "".join(kept).replace("\0", ""))
    return joined.strip("-_. ")


def put_together(
    clips: Sequence[ClipFile],
    person_of: Callable[[ClipFile], str | None],
    set_of: Callable[[ClipFile], str | None] = lambda clip: None,
) -> list[Together]:
    """Every clip once, in order of their places; ``set_of`` is what the roster says.

    By names: two clips of one person whose paths differ in nothing but the view, one side and
    one front. By time: two clips of one person that were recorded at the same time, when neither
    was recorded with a third. Clips that cannot be read belong to a pair by name only.
    """
    told = _grouped((c for c in clips if set_of(c)), lambda c: (person_of(c), set_of(c)))
    out = [Together(_in_order(group), "roster") for group in told]
    free = [clip for clip in clips if not set_of(clip)]
    ways: tuple[tuple[Callable[[Sequence[ClipFile]], list[list[ClipFile]]], PairedBy], ...]
    ways = ((_by_names, "names"), (_by_time, "time"))
    for pairs, by in ways:
        for own in _grouped(free, person_of):
            out += [Together(_in_order(pair), by) for pair in pairs(own)]
        taken = {clip.place for group in out for clip in group.clips}
        free = [clip for clip in free if clip.place not in taken]
    out += [Together((clip,)) for clip in free]
    return sorted(out, key=lambda group: group.clips[0].place)


def _in_order(clips: Iterable[ClipFile]) -> tuple[ClipFile, ...]:
    return tuple(sorted(clips, key=lambda clip: clip.place))


def _grouped(
    clips: Iterable[ClipFile], key: Callable[[ClipFile], Hashable]
) -> list[list[ClipFile]]:
    groups: dict[Hashable, list[ClipFile]] = defaultdict(list)
    for clip in clips:
        groups[key(clip)].append(clip)
    return list(groups.values())


def _by_names(clips: Sequence[ClipFile]) -> list[list[ClipFile]]:
    seen = [clip for clip in clips if words_of(clip.place)[1] is not None]
    alike = _grouped(seen, lambda clip: words_of(clip.place)[0])
    return [
        group
        for group in alike
        if len(group) == 2 and {words_of(clip.place)[1] for clip in group} == {"side", "front"}
    ]


def _by_time(clips: Sequence[ClipFile]) -> list[list[ClipFile]]:
    partners = {
        clip.place: [other for other in clips if other is not clip and _at_once(clip, other)]
        for clip in clips
    }
    return [
        [clip, partners[clip.place][0]]
        for clip in clips
        if len(partners[clip.place]) == 1
        and len(partners[partners[clip.place][0].place]) == 1
        and clip.place < partners[clip.place][0].place
    ]


def _at_once(one: ClipFile, other: ClipFile) -> bool:
    """Whether both ran at some moment; some phones note the beginning, some the end."""
    if one.unreadable or other.unreadable:
        return False
    for a, b in ((one.recorded_s, other.recorded_s), (one.named_s, other.named_s)):
        if a is not None and b is not None:
            as_begin = a < b + other.duration_s and b < a + one.duration_s
            as_end = a - one.duration_s < b and b - other.duration_s < a
            return as_begin or as_end
    return False
