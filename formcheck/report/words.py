"""Every sentence the report says about a fault, and how to film what could not be judged.

One entry a fault key: the page, the clip and the terminal all speak from here.
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True)
class FaultWords:
    """``name`` heads a paragraph, ``call`` is shown in the clip as it happens (two or three
    words), ``judged`` names what is looked at, ``measured`` the number, ``cue`` is what to tell the
    trainee."""

    name: str
    call: str
    judged: str
    measured: str
    what: str
    why: str
    cue: str


FAULTS: dict[str, FaultWords] = {
    "shallow": FaultWords(
        name="Not deep enough",
        call="Too shallow",
        judged="Depth",
        measured="elbow at the bottom",
        what="The elbows did not bend far enough at the bottom.",
        why="The hardest part of the range went untrained, so the rep is easier than it counts.",
        cue="Chest down between the hands; go lower before you go faster. If depth runs out, "
        "end the set or raise the hands.",
    ),
    "soft_lockout": FaultWords(
        name="Soft lockout",
        call="Not locked out",
        judged="Lockout",
        measured="elbow at the top",
        what="The elbows stayed bent at the top.",
        why="An unfinished top makes every rep shorter and hides how tired the arms are.",
        cue="Push the floor away until the arms are long, then start the next rep.",
    ),
    "hip_sag": FaultWords(
        name="Hips sag",
        call="Hips sag",
        judged="Body line: sag",
        measured="body line, sag",
        what="The hips hang below the line from shoulders to feet.",
        why="The trunk has let go: the lower back hangs in its joints and the arms move less.",
        cue="Squeeze the glutes, ribs down, tuck the tail. Stop the set when the line goes.",
    ),
    "hip_pike": FaultWords(
        name="Hips piked",
        call="Hips high",
        judged="Body line: pike",
        measured="body line, pike",
        what="The hips stick up above the line from shoulders to feet.",
        why="Piking shifts weight to the feet and shortens the way down.",
        cue="Walk the feet back, squeeze the glutes and move shoulders and hips as one plank.",
    ),
    "elbow_flare": FaultWords(
        name="Elbows flared",
        call="Elbows wide",
        judged="Elbow flare",
        measured="upper arm against the trunk",
        what="The upper arms point out to the sides at the bottom.",
        why="The shoulder works near the end of its range, and the triceps give less.",
        cue="Screw the hands into the floor, elbows back: an arrow from above, not a T.",
    ),
    "rushed_eccentric": FaultWords(
        name="Lowered too fast",
        call="Too fast down",
        judged="Lowering",
        measured="lowering",
        what="The way down was quicker than the tempo asks.",
        why="Dropping skips the half of the rep where you are strongest and most in control.",
        cue="Count the way down aloud; pull yourself to the floor.",
    ),
    "slow_eccentric": FaultWords(
        name="Lowered too slowly",
        call="Too slow down",
        judged="Lowering",
        measured="lowering",
        what="The way down took longer than the tempo asks.",
        why="Time spent going down is strength missing on the way up, and sets stop comparing.",
        cue="Keep the count; start down on one and be there on the last beat.",
    ),
    "short_bottom_pause": FaultWords(
        name="Bottom pause cut short",
        call="Pause cut",
        judged="Bottom pause",
        measured="bottom pause",
        what="The rep turned round before the pause at the bottom was over.",
        why="The bounce does the work that the pause is there to take away.",
        cue="Stop dead above the floor, tight, and count it before you press.",
    ),
    "short_top_pause": FaultWords(
        name="Top pause cut short",
        call="Top pause cut",
        judged="Top pause",
        measured="top pause",
        what="The next rep began before the pause at the top was over.",
        why="The pause at the top is where the line is set again and the breath is taken.",
        cue="Arms long, set the line, one breath, then down.",
    ),
    "slow_concentric": FaultWords(
        name="Slow press",
        call="Slow press",
        judged="Press",
        measured="press",
        what="The press up was slower than the tempo asks.",
        why="Asked to drive, you ground: either the intent or the strength has run out.",
        cue="Drive the floor away from the first inch. Slow in spite of trying: end the set.",
    ),
    "uneven_arms": FaultWords(
        name="Arms uneven",
        call="Arms uneven",
        judged="Left against right",
        measured="left against right elbow",
        what="One elbow bends or straightens more than the other.",
        why="One side takes more of the load, rep after rep.",
        cue="Hands level, weight on both palms, chest straight down. Raise the hands if one "
        "side still leads.",
    ),
    "hand_spacing": FaultWords(
        name="Hands not where asked",
        call="Hand spacing",
        judged="Hand spacing",
        measured="hands apart",
        what="The hands stand closer or wider than the variation asks.",
        why="Spacing decides what the arms and the chest have to do; this was another exercise.",
        cue="Mark the floor for both hands and set them down on the marks.",
    ),
    "head_drop": FaultWords(
        name="Head drops",
        call="Head drops",
        judged="Head position",
        measured="head against the trunk line",
        what="The head hangs below the line of the trunk.",
        why="The nose reaches the floor before the chest, and the rep feels deeper than it is.",
        cue="Long neck: look at the floor a hand ahead of the fingers.",
    ),
    "hips_late": FaultWords(
        name="Hips out of step",
        call="Hips out of step",
        judged="Hips with shoulders",
        measured="hips behind shoulders",
        what="Shoulders and hips did not rise together.",
        why="The body peels off the floor in two pieces: the trunk no longer carries.",
        cue="Brace before you press; shoulders and hips leave the bottom on the same beat.",
    ),
    "aborted": FaultWords(
        name="Not finished",
        call="Not finished",
        judged="Unfinished attempts",
        measured="bend before it turned round",
        what="The attempt turned round before the bottom.",
        why="It costs strength and gives no rep.",
        cue="Take one breath at the top and commit, or end the set one rep earlier.",
    ),
}

_SIDE = (
    "Film square from the side: camera level at shoulder height, 3 m or more away, whole body "
    "in the picture."
)
_FRONT = (
    "Film a second clip from the front: camera ahead of the head, between floor and waist "
    "height, both hands and elbows in the picture. Give both clips together."
)
HOW_TO_FILM: dict[str, str] = {
    **dict.fromkeys(
        ("hip_sag", "hip_pike", "hip_deviation_deg", "head_drop", "head_angle_deg", "hips_late",
         "hips_lag_s", "inclination_deg", "surface", "load_fraction", "shallow", "soft_lockout"),
        _SIDE,
    ),
    **dict.fromkeys(
        ("elbow_flare", "elbow_flare_deg", "uneven_arms", "symmetry_deg", "hand_spacing",
         "hand_spacing_ratio", "hands", "arms"),
        _FRONT,
    ),
}  # fmt: skip

CAUTIONS: tuple[str, ...] = (
    "Stop on pain. Sharp pain, dizziness or pressure in the chest ends the set.",
    "This measures movement; it is not a medical judgement. A qualified professional decides "
    "about pain, injury and what is safe for you.",
    "Angles come from one camera: trust the ± more than the last digit.",
)

PHASES: dict[str, str] = {
    "eccentric": "Lower",
    "bottom_pause": "Bottom",
    "concentric": "Press",
    "top_pause": "Top",
}

ATTEMPTS: dict[str, str] = {
    "counted": "counted",
    "not_counted": "not counted",
    "aborted": "not finished",
}

TOO_CLOSE = (
    "Too close to call: the value lies beyond the limit, but by less than its measuring error. "
    "No fault is called; if its range was more likely missed than met, the rep is not counted."
)

_UNITS: dict[str, tuple[str, int]] = {
    # unit in the report → how it is written behind the number, and digits
    "deg": ("°", 0),
    "°": ("°", 0),
    "s": (" s", 2),
    "shoulder widths": (" shoulder widths", 2),
    "arm lengths/s": (" arm lengths/s", 2),
    "m/s": (" m/s", 2),
    "%": (" %", 0),
    "% of the reps beside it": (" % of the reps beside it", 0),
}


_OTHERS = {"load_fraction": "Load on the hands", "surface": "Support and surface"}


def fault_words(key: str) -> FaultWords:
    """The words of a fault; a key without an entry is spoken as it is."""
    plain = _OTHERS.get(key) or key.replace("_", " ").capitalize()
    return FAULTS.get(key) or FaultWords(plain, plain, plain, plain.lower(), "", "", "")


def how_to_film(key: str) -> str:
    """How to film so that this can be judged; empty where filming is not what it lacks."""
    return HOW_TO_FILM.get(key, "")


def with_unit(value: float | None, unit: str) -> str:
    """``104°``, ``0.35 s``; a dash for what was not measured."""
    if value is None or not math.isfinite(value):
        return "–"
    suffix, digits = _UNITS.get(unit, (f" {unit}", 2))
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−") + suffix


def plus_minus(value: float | None, uncertainty: float | None, unit: str) -> str:
    """``104° ± 5°``, ``1.29 ± 0.20 s``; without the half-width where there is none."""
    text = with_unit(value, unit)
    if uncertainty is None or not math.isfinite(uncertainty) or text == "–":
        return text
    suffix, _ = _UNITS.get(unit, (f" {unit}", 2))
    if len(suffix) > 1:
        text = text.removesuffix(suffix)  # say the unit once
    return f"{text} ± {with_unit(uncertainty, unit)}"


def visible(text: str) -> str:
    """Text in which signs that hide or turn its neighbours are written out, like ⟨U+202E⟩."""
    return "".join(
        f"⟨U+{ord(c):04X}⟩" if unicodedata.category(c) in ("Cf", "Cc", "Cs") else c for c in text
    )


def limit_text(value: float, limit: float, unit: str) -> str:
    """``at most 90°``: the side of the limit that was left."""
    if not math.isfinite(limit):
        return "–"
    return f"{'at most' if value > limit else 'at least'} {with_unit(limit, unit)}"
