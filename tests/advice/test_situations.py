"""The situations of situations.toml, from a made track to the words of the advice."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from formcheck.analysis import Analysis, analyse
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.pose.store import read_track
from formcheck.pose.track import PoseTrack
from formcheck.report.advice_words import caution_words, variation_words, why_words
from tests.coached import SINKS_BACK, STAYS_DOWN, TOP_DEG, Coached, Move, OnlyLowered, rep
from tests.filmed import moved

DATA = Path(__file__).parents[1] / "data"
SITUATIONS = tomllib.loads(Path(__file__).with_name("situations.toml").read_text("utf-8"))[
    "situation"
]
# What the words of a set mean: the moves of a rep, and how far its hips hang.
REPS: dict[str, tuple[list[Move], float]] = {
    "clean": (rep(down_s=1.9, bottom_s=0.1, up_s=0.9, top_s=0.9), 0.0),
    "shallow": (rep(bottom_deg=108.0), 0.0),
    # One every three seconds.
    "on the beat": (rep(down_s=1.2, bottom_s=0.1, up_s=0.8, top_s=0.9), 0.0),
    "shallow on the beat": (rep(108.0, down_s=1.2, bottom_s=0.1, up_s=0.8, top_s=0.9), 0.0),
    "barely": (rep(89.0, down_s=1.9, up_s=0.9), 0.0),
    "soft": (rep(top_deg=140.0), 0.0),
    "sag": (rep(), 22.0),
    "piked": (rep(), -26.0),
    "dropped": (rep(down_s=0.45, up_s=0.7, top_s=1.0), 0.0),
    "pressed fast": (rep(down_s=3.2, bottom_s=0.9, up_s=0.6, top_s=0.9), 0.0),
    "paused": (rep(down_s=1.9, bottom_s=3.0, up_s=0.9, top_s=0.9), 0.0),
    "negatives": (rep(down_s=5.0, bottom_s=0.2, up_s=0.9, top_s=0.9), 0.0),
    "fast": (rep(down_s=0.7, bottom_s=0.0, up_s=0.5, top_s=0.1), 0.0),
    "grinding": (rep(down_s=1.9, bottom_s=0.1, up_s=3.0), 0.0),
    "sticking": (
        [(1.9, 80.0), (0.1, 80.0), (0.8, 118.0), (0.6, 121.0), (1.2, 170.0), (0.9, 170.0)],
        0.0,
    ),
    "broken off": (rep(bottom_deg=142.0), 0.0),
    "fails": (STAYS_DOWN, 0.0),
    "sinks back": (SINKS_BACK, 0.0),
}


def done(text: str) -> Coached:
    """The set that a line of words describes."""
    if held := re.fullmatch(r"hold (\d+) s", text):
        return Coached(course=[(float(held[1]) - 3.0, 170.0)])
    if lowered := re.fullmatch(r"(\d+) only lowered", text):
        moves: list[Move] = [(4.0, 80.0), (1.0, 80.0), (2.2, TOP_DEG), (1.4, TOP_DEG)]
        return OnlyLowered(course=moves * int(lowered[1]))
    if flared := re.fullmatch(r"(\d+) flared", text):
        return Coached(course=REPS["clean"][0] * int(flared[1]), flare_deg=88.0)
    if one_arm := re.fullmatch(r"(\d+) (archer|one-arm)( on one arm)?", text):
        archer = one_arm[2] == "archer"
        same = archer and one_arm[3] is not None
        return Coached(
            course=REPS["clean"][0] * int(one_arm[1]),
            arms="archer" if archer else "one",
            working=("left",) if same else ("left", "right") if archer else ("right",),
            hand_spacing=2.6 if archer else 1.35,
        )
    course: list[Move] = []
    sags: list[float] = []
    for part in text.split(", "):
        if rested := re.fullmatch(r"rest (\d+) s", part):
            course.append((float(rested[1]), TOP_DEG))
            continue
        count, _, word = part.partition(" ")
        moves, sag_deg = REPS[word]
        course += moves * int(count)
        sags += [sag_deg] * int(count)
    return Coached(
        course=course,
        sag_deg=sags if any(sags) else (),
        flare_deg=45.0,
    )


def filmed(text: str, view: str) -> list[PoseTrack]:
    """The set as cameras saw it; hips that hang throughout are those of a rendered body, whose
    landmarks are let down."""
    if text != "5 hanging throughout":
        return done(text).tracks(view)
    track = read_track(DATA / "clean_side.parquet")
    arm_px = np.linalg.norm(track.xy("left_wrist") - track.xy("left_shoulder"), axis=1)
    down = (0.0, 0.36 * float(np.nanpercentile(arm_px, 90)))
    return [moved(moved(track, "hip", down), "knee", (0.0, 0.5 * down[1]))]


def judged(one: dict[str, Any]) -> Analysis:
    asked = dict(one.get("asked", {}))
    if "tempo" in asked:
        asked["tempo"] = parse_tempo(asked["tempo"])
    tracks = filmed(one["set"], one.get("view", "side"))
    return analyse(tracks, Prescription(**asked), person=Person(**one.get("person", {})))


def stands(words: str, sentences: Sequence[str]) -> bool:
    """Whether one of the sentences says this; with “not” before it, whether none does."""
    if words.startswith("not "):
        return not stands(words.removeprefix("not "), sentences)
    return any(words in sentence for sentence in sentences)


@pytest.mark.parametrize("one", SITUATIONS, ids=lambda one: one["name"])
def test_what_a_coach_would_say(one: dict[str, Any]) -> None:
    step = judged(one).next_step
    what, why = variation_words(step), why_words(step)
    said = "\n".join((f"{step.direction}: {what}", *why))
    assert step.direction == one["next"], said
    for words in one.get("do", []):
        assert stands(words, [what]), f"“{words}”:\n{said}"
    for words in one.get("because", []):
        assert stands(words, why), f"“{words}”:\n{said}"
    assert sum("end the set" in sentence.lower() for sentence in why) <= 1, said


def test_there_are_thirty_and_no_two_alike() -> None:
    names = [one["name"] for one in SITUATIONS]
    assert len(set(names)) == len(names) >= 30


@pytest.mark.parametrize("one", SITUATIONS[:12:3], ids=lambda one: one["name"])
def test_the_caution_stands_beside_every_advice_once(one: dict[str, Any]) -> None:
    cautions = caution_words(judged(one).next_step)
    assert len(set(cautions)) == len(cautions)
    assert "not a medical judgement" in " ".join(cautions)
