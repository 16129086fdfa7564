"""The whole middle on saved tracks of rendered clips: what an analysis promises its readers."""

from __future__ import annotations

import dataclasses
import itertools
import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from formcheck.analysis import NO_HANDS, NO_TEMPO, Analysis, TurnedError, analyse, rejudge
from formcheck.asked.prescription import Prescription
from formcheck.asked.tempo import parse_tempo
from formcheck.faults.catalogue import hidden_from
from formcheck.faults.limits import default_limits, with_values
from formcheck.measures.timing import SET_ENDS
from formcheck.pose.store import read_track
from formcheck.pose.track import INDEX, PoseTrack
from formcheck.reps.pairing import NotOneSetError
from tests.truth.truth import read_truth

DATA = Path(__file__).parent / "data"
SIDE_CLIPS = ("clean_side", "hip_sag_side", "partial_side", "aborted_side", "soft_lockout_side")
DRIVEN = Prescription(tempo=parse_tempo("2-1-X-1"))
# By the contract, for every rep: known, or a reason.
MEASURED = (
    "eccentric_s", "bottom_pause_s", "concentric_s", "top_pause_s", "elbow_bottom_deg",
    "elbow_top_deg", "hip_deviation_deg", "hip_deviation_change_deg", "elbow_flare_deg",
    "hand_spacing_ratio", "symmetry_deg", "head_angle_deg", "hips_lag_s",
    "mean_concentric_speed", "peak_concentric_speed", "load_fraction",
)  # fmt: skip


@cache
def track_of(clip: str) -> PoseTrack:
    return read_track(DATA / f"{clip}.parquet")


@cache
def analysed(clip: str, asked: Prescription = DRIVEN) -> Analysis:
    return analyse([track_of(clip)], asked)


def plain(analysis: Analysis) -> Any:
    """All that was judged, as comparable text (NaN equals NaN)."""
    return repr([analysis.reps, analysis.faults, analysis.not_judged, analysis.summary])


def reasons(analysis: Analysis) -> dict[str, str]:
    return {entry.key: entry.reason for entry in analysis.not_judged}


@pytest.mark.parametrize("clip", [*SIDE_CLIPS, "clean_front", "oblique"])
def test_counts_add_up(clip: str) -> None:
    analysis = analysed(clip)
    kinds = [result.attempt for result in analysis.reps]
    assert (
        analysis.summary.attempts == len(kinds) == len(read_truth(DATA / f"{clip}.truth.json").reps)
    )
    assert analysis.summary.counted == kinds.count("counted")
    assert analysis.summary.clean <= analysis.summary.counted
    assert [result.rep.index for result in analysis.reps] == list(range(1, len(kinds) + 1))


@pytest.mark.parametrize("clip", [*SIDE_CLIPS, "clean_front", "oblique"])
def test_every_value_is_known_with_its_uncertainty_or_says_why_not(clip: str) -> None:
    for result in analysed(clip).reps:
        for name in MEASURED:
            quantity = result.values[name]
            if quantity.known:
                assert math.isfinite(quantity.plus_minus) and quantity.plus_minus > 0
                assert quantity.view in ("side", "front", "oblique") or name == "load_fraction"
            else:
                assert quantity.reason, f"{name} of rep {result.rep.index}"


@pytest.mark.parametrize("clip", [*SIDE_CLIPS, "clean_front", "oblique"])
def test_faults_belong_to_their_reps_and_their_view_can_judge_them(clip: str) -> None:
    analysis = analysed(clip)
    assert analysis.faults == tuple(f for result in analysis.reps for f in result.faults)
    for result in analysis.reps:
        for fault in result.faults:
            assert fault.rep == result.rep.index
            assert fault.key not in hidden_from(analysis.looks[0].view.kind)
            assert result.rep.start_s <= fault.at_s <= result.rep.end_s


def test_from_the_side_uneven_arms_and_hands_are_left_open_with_a_reason() -> None:
    said = reasons(analysed("clean_side", Prescription(hands="normal")))
    assert "film from the front" in said["uneven_arms"]
    assert "film from the front" in said["hand_spacing"]


def test_from_the_front_the_bodys_line_is_never_judged() -> None:
    analysis = analysed("clean_front")
    assert {"hip_sag", "hip_pike", "head_drop", "hips_late"} <= set(reasons(analysis))
    strict = with_values(default_limits(), {"hip_sag": -90.0, "hip_pike": 90.0, "head_drop": -90.0})
    assert not {f.key for f in rejudge(analysis, strict).faults} & {
        "hip_sag", "hip_pike", "head_drop", "hips_late",
    }  # fmt: skip


@pytest.mark.parametrize("clip", ["clean_side", "clean_front"])
def test_a_fault_is_never_both_judged_and_not_judged(clip: str) -> None:
    analysis = analysed(clip)
    whole_set = {key for key, reason in reasons(analysis).items() if not reason.startswith("rep ")}
    assert not whole_set & {fault.key for fault in analysis.faults}


def test_what_was_not_asked_is_not_judged_and_said() -> None:
    analysis = analysed("too_fast_side", Prescription())
    assert reasons(analysis)["tempo"] == NO_TEMPO
    tempo_faults = {"rushed_eccentric", "slow_eccentric", "slow_concentric"}
    tempo_faults |= {"short_bottom_pause", "short_top_pause"}
    assert not tempo_faults & {fault.key for fault in analysis.faults}
    assert reasons(analysed("clean_front"))["hand_spacing"] == NO_HANDS
    assert "tempo" not in reasons(analysed("too_fast_side"))


def test_the_last_reps_top_pause_has_no_end_and_is_not_judged() -> None:
    analysis = analysed("too_fast_side")
    *before, last = analysis.reps
    assert last.values["top_pause_s"].reason == SET_ENDS
    assert "short_top_pause" not in {fault.key for fault in last.faults}
    assert any("short_top_pause" in {f.key for f in result.faults} for result in before)


def test_a_broken_off_attempt_has_no_other_fault_and_does_not_count() -> None:
    analysis = analysed("aborted_side")
    (broken,) = [result for result in analysis.reps if result.attempt == "aborted"]
    assert [fault.key for fault in broken.faults] == ["aborted"]
    assert broken.why_not_counted


def test_a_rep_counts_by_range_alone_and_is_clean_without_any_fault() -> None:
    """Sagging hips spoil a rep but it is still deep and locked out."""
    analysis = analysed("hip_sag_side", Prescription())
    sagging = [r for r in analysis.reps if "hip_sag" in {f.key for f in r.faults}]
    assert sagging and all(result.attempt == "counted" for result in sagging)
    assert analysis.summary.clean < analysis.summary.counted


def test_a_rep_too_high_or_too_soft_says_why_it_does_not_count() -> None:
    for clip, words in [
        ("partial_side", "too shallow"),
        ("soft_lockout_side", "soft lockout"),
    ]:
        failed = [r for r in analysed(clip).reps if r.attempt == "not_counted"]
        assert failed and all(words in (result.why_not_counted or "") for result in failed)


def test_first_breakdown_is_the_first_rep_with_a_fault_of_range_or_line() -> None:
    analysis = analysed("hip_sag_side", Prescription())
    form = {"shallow", "soft_lockout", "aborted", "hip_sag", "hip_pike", "hips_late"}
    broke = [f.rep for f in analysis.faults if f.verdict == "fault" and f.key in form]
    assert analysis.summary.first_breakdown_rep == min(broke)
    assert analysed("clean_side").summary.first_breakdown_rep is None
    assert analysed("too_fast_side").summary.first_breakdown_rep is None, "tempo is not form"


@pytest.mark.parametrize(
    ("clip", "changed"),
    [
        ("partial_side", {"shallow": 130.0}),
        ("clean_side", {"shallow": 40.0, "soft_lockout": 179.0}),
        ("hip_sag_side", {"hip_sag": 5.0, "slow_concentric": 0.2}),
        ("clean_front", {"elbow_flare": 20.0, "uneven_arms": 1.0}),
    ],
)
def test_other_limits_change_verdicts_just_as_a_new_analysis_would(
    clip: str, changed: dict[str, float]
) -> None:
    first, limits = analysed(clip), with_values(default_limits(), changed)
    again = rejudge(first, limits)
    assert plain(again) != plain(first)
    assert plain(again) == plain(analyse([track_of(clip)], DRIVEN, limits))
    assert again.limits is limits and again.prescription is first.prescription


def test_judging_again_measures_nothing_again() -> None:
    first = analysed("partial_side")
    again = rejudge(first, with_values(default_limits(), {"shallow": 130.0}))
    assert again.looks is first.looks or again.looks == first.looks
    for before, after in zip(first.reps, again.reps, strict=True):
        assert after.values is before.values and after.rep is before.rep
    assert again.summary.counted > first.summary.counted


def test_another_tempo_is_judged_without_measuring_again() -> None:
    first = analysed("clean_side")
    slower = dataclasses.replace(first.prescription, tempo=parse_tempo("5-1-X-1"))
    again = rejudge(first, default_limits(), slower)
    assert {f.key for f in again.faults} >= {"rushed_eccentric"}
    assert plain(again) == plain(analyse([track_of("clean_side")], slower))


def test_the_same_track_gives_the_same_analysis_every_time() -> None:
    for clip in ("hip_sag_side", "clean_front"):
        once, twice = (analyse([track_of(clip)], DRIVEN) for _ in range(2))
        assert plain(once) == plain(twice)


def test_the_users_word_on_the_view_wins_over_ours() -> None:
    stated = analyse([track_of("clean_side")], views=["oblique"])
    assert stated.looks[0].view.kind == "oblique" and stated.looks[0].view.stated
    assert "elbow_flare" in reasons(stated)


def test_a_clip_without_a_set_has_no_reps_and_no_faults() -> None:
    track = track_of("clean_side")
    still = np.repeat(track.xy_px[40:41], len(track.t_s), axis=0)
    nobody = np.full_like(track.xy_px, np.nan)
    for xy in (still, nobody):
        analysis = analyse([dataclasses.replace(track, xy_px=xy, world_m=None)])
        assert analysis.reps == () and analysis.faults == ()
        assert analysis.summary.attempts == 0 and analysis.summary.time_under_tension_s == 0.0
        assert math.isnan(analysis.summary.pace_per_min)


@pytest.mark.parametrize("frames", [0, 1, 2, 20])
def test_a_track_of_a_moment_or_none_is_a_set_without_reps(frames: int) -> None:
    track = track_of("clean_side")
    moment = dataclasses.replace(
        track,
        t_s=track.t_s[:frames],
        xy_px=track.xy_px[:frames],
        visibility=track.visibility[:frames],
        world_m=None,
    )
    assert analyse([moment]).summary.attempts == 0


def test_a_side_and_a_front_clip_of_one_set_judge_what_either_shows() -> None:
    both = analyse([track_of("flared_pair_front"), track_of("flared_pair_side")])
    assert [look.view.kind for look in both.looks] == ["side", "front"]
    assert both.pairing is not None and both.pairing.same_set
    assert not {"uneven_arms", "hip_sag", "head_drop", "elbow_flare"} & set(reasons(both))
    from_front = analysed("flared_pair_front")
    for result, alone in zip(both.reps, from_front.reps, strict=True):
        flare = result.values["elbow_flare_deg"]
        assert flare.plus_minus <= alone.values["elbow_flare_deg"].plus_minus
        assert result.values["hip_deviation_deg"].view == "side"


def test_clips_of_two_different_sets_are_not_laid_over_each_other() -> None:
    with pytest.raises(NotOneSetError, match="same set"):
        analyse([track_of("hip_sag_side"), track_of("wide_front")])


@pytest.mark.parametrize("tracks", [0, 3])
def test_no_view_or_more_than_two_are_no_set(tracks: int) -> None:
    with pytest.raises(ValueError, match="one camera or by two"):
        analyse([track_of("clean_side")] * tracks)


def test_pace_and_time_under_tension_follow_from_the_reps() -> None:
    analysis = analysed("clean_side")
    starts = [result.rep.start_s for result in analysis.reps]
    assert analysis.summary.pace_per_min == pytest.approx(60 / np.mean(np.diff(starts)))
    under = sum(result.rep.top_s - result.rep.start_s for result in analysis.reps)
    assert analysis.summary.time_under_tension_s == pytest.approx(under)
    rests = sum(result.rep.top_pause_s for result in analysis.reps[:-1])
    assert under + rests == pytest.approx(analysis.reps[-1].rep.top_s - starts[0])


def pair_with(hidden: tuple[float, float], cut_s: float = math.inf) -> Analysis:
    """The flared pair, its side view blind during ``hidden`` and ended at ``cut_s``."""
    side = track_of("flared_pair_side")
    kept = side.t_s < cut_s
    blind = (side.t_s >= hidden[0]) & (side.t_s <= hidden[1])
    side = dataclasses.replace(
        side,
        t_s=side.t_s[kept],
        xy_px=np.where(blind[:, None, None], np.nan, side.xy_px)[kept],
        visibility=side.visibility[kept],
        world_m=None,
        duration_s=min(side.duration_s, cut_s),
    )
    return analyse([side, track_of("flared_pair_front")], views=["side", "front"])


def test_a_rep_that_one_view_lost_is_taken_from_the_other_between_its_neighbours() -> None:
    whole = pair_with(hidden=(-1.0, -1.0)).reps
    third = whole[2].rep
    reps = [r.rep for r in pair_with(hidden=(third.start_s - 0.3, third.top_s + 0.3)).reps]
    assert [rep.index for rep in reps] == [1, 2, 3, 4, 5]
    assert reps[2].bottom_s == pytest.approx(third.bottom_s, abs=0.3)
    for rep, follows in itertools.pairwise(reps):
        assert rep.top_s <= rep.end_s <= follows.start_s + 1e-9
    assert [rep.last for rep in reps] == [False] * 4 + [True]


def test_reps_after_the_end_of_the_clip_that_keeps_the_clock_are_left_out_and_said() -> None:
    whole = pair_with(hidden=(-1.0, -1.0)).reps
    ended = pair_with(hidden=(-1.0, -1.0), cut_s=whole[3].rep.start_s - 0.2)
    assert ended.summary.attempts == 3
    assert any("2 more" in note for note in ended.notes)


def test_depth_by_the_upper_arm_is_judged_from_the_front_as_it_is() -> None:
    # The exact joints have the elbows 27 to 32 degrees below the shoulders in these sets.
    by_arm = analysed("clean_front", Prescription(range_standard="arm-parallel"))
    assert "shallow" not in reasons(by_arm)
    for result in by_arm.reps:
        assert result.values["upper_arm_bottom_deg"].value == pytest.approx(32.0, abs=7.0)
        assert result.attempt == "not_counted"


def test_the_depth_that_a_rep_lacked_is_named_by_the_limit_it_was_held_to() -> None:
    strict = rejudge(analysed("clean_side"), with_values(default_limits(), {"shallow": 40.0}))
    assert all("bent to 40°" in (result.why_not_counted or "") for result in strict.reps)


# A person standing at ease: (across, down) in picture heights from the middle of the body.
_STANDING = {
    "ear": (0.01, -0.50), "shoulder": (0.0, -0.40), "elbow": (0.01, -0.22), "wrist": (0.02, -0.06),
    "hip": (0.0, -0.10), "knee": (0.0, 0.12), "ankle": (0.0, 0.34),
}  # fmt: skip


def standing_about(like: PoseTrack, seconds: float) -> PoseTrack:
    t_s = np.arange(0.0, seconds, 1 / 15)
    xy_px = np.full((len(t_s), 33, 2), np.nan)
    sway_px = 2.0 * np.sin(t_s / 3)[:, None]
    for joint, place in _STANDING.items():
        for side in ("left", "right"):
            at = np.array([0.4 * like.width, 0.55 * like.height]) + np.array(place) * like.height
            xy_px[:, INDEX[f"{side}_{joint}"]] = at + sway_px
    return dataclasses.replace(
        like, t_s=t_s, xy_px=xy_px, visibility=np.ones((len(t_s), 33)), world_m=None
    )


def test_standing_about_for_longer_than_the_set_hides_no_rep() -> None:
    track = track_of("too_fast_side")
    idle = standing_about(track, 40.0)
    both = dataclasses.replace(
        track,
        t_s=np.concatenate([idle.t_s, track.t_s + 40.0]),
        xy_px=np.concatenate([idle.xy_px, track.xy_px]),
        visibility=np.concatenate([idle.visibility, track.visibility]),
        world_m=None,
    )
    found = analyse([both])
    assert [r.rep.bottom_s - 40.0 for r in found.reps] == pytest.approx(
        [r.rep.bottom_s for r in analysed("too_fast_side").reps], abs=0.05
    )


def test_who_only_stands_does_no_rep_and_holds_no_support() -> None:
    found = analyse([standing_about(track_of("too_fast_side"), 20.0)])
    assert not found.reps
    assert found.hold is None


@pytest.mark.parametrize(
    ("clip", "unknown"),
    [("clean_front", {"load_fraction", "surface"}), ("oblique", {"load_fraction"})],
)
def test_load_and_surface_that_no_view_shows_are_listed_with_the_reason(
    clip: str, unknown: set[str]
) -> None:
    listed = reasons(analysed(clip))
    assert unknown == {"load_fraction", "surface"} & listed.keys()
    assert all(listed[key] for key in unknown)


def test_a_picture_on_its_side_is_refused_or_the_doubt_is_told() -> None:
    track = track_of("clean_side")
    clockwise = np.stack([track.height - track.xy_px[..., 1], track.xy_px[..., 0]], axis=-1)
    other_way = np.stack([track.xy_px[..., 1], track.width - track.xy_px[..., 0]], axis=-1)
    size: dict[str, Any] = {"width": track.height, "height": track.width}
    with pytest.raises(TurnedError, match="turn it upright"):
        analyse([dataclasses.replace(track, xy_px=other_way, **size)])
    doubted = analyse([dataclasses.replace(track, xy_px=clockwise, **size)])
    assert any("turn it upright" in note for note in doubted.notes)
    assert not any("turn it upright" in note for note in analyse([track]).notes)
