"""The whole middle in one call: a pose track (or two) in, a judged set out."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from threadpoolctl import ThreadpoolController

from formcheck.advice.decide import SetRecord
from formcheck.advice.step import NextStep, next_step
from formcheck.asked.person import Person
from formcheck.asked.prescription import Prescription
from formcheck.errors import ClipError
from formcheck.faults.catalogue import fault_kinds, hidden_from, keys_weighing
from formcheck.faults.counting import Ruling, TestResult, rule
from formcheck.faults.hold import NOT_BROKEN, HoldVerdict, judge_hold
from formcheck.faults.limits import Limits, default_limits
from formcheck.faults.rules import Fault, judged_by, likely_beyond, rep_faults
from formcheck.maths.quantity import Quantity, not_measured
from formcheck.measures import scapula
from formcheck.measures.bodyline import BodyLine, read_line
from formcheck.measures.depth import MOST_NOISE, range_loss_deg
from formcheck.measures.every import measure_reps
from formcheck.measures.hands import hand_spacing
from formcheck.measures.hidden_hands import HANDS_HIDDEN, without_hands
from formcheck.measures.hold import SupportHold, support_hold
from formcheck.measures.load import arm_loads, load_over_time
from formcheck.measures.speed import speed_loss_percent
from formcheck.measures.symmetry import stance_remarks
from formcheck.measures.tempo_kept import PhaseKept, tempo_kept, time_under_tension_s
from formcheck.measures.working_arm import SideKept, of_working_arm, sides_kept
from formcheck.pose.sides import with_steady_sides
from formcheck.pose.track import PoseTrack, Side
from formcheck.reps.failed import with_failed
from formcheck.reps.find import (
    LEAST_BEND_DEG,
    Attempt,
    Rep,
    find_reps,
    pulse_remarks,
    release_remarks,
    rest_remarks,
)
from formcheck.reps.look import Look
from formcheck.reps.pairing import NotOneSetError, Pairing, pair_looks
from formcheck.reps.release import across_releases, with_releases
from formcheck.signals.curves import Signals, read_signals
from formcheck.signals.ground import without_sway
from formcheck.signals.one_arm import (
    carrying_arm,
    each_arm,
    lost_from_front,
    of_one_arm,
    one_at_a_time,
    resting_hand,
)
from formcheck.signals.view import (
    View,
    ViewKind,
    evenly,
    hands_hidden,
    hands_overhead,
    lies_turned,
    named_as_it_faces,
    recognise_view,
    told_by_body,
    without_rare_side,
)
from formcheck.variation.arms import (
    ONE_AT_A_TIME,
    ArmWork,
    arm_work,
    with_working_arm,
)
from formcheck.variation.recognise import Variation, hand_bounds, recognise_variation

NO_TEMPO = "no tempo was prescribed; give one, e.g. 2-1-X-1"
TRUNK_ROTATION = (
    "how far the trunk turns in one-arm work shows in no view well enough; look at the hips from "
    "the front: they should stay level"
)
NO_HANDS = "no hand position was asked for"
# A straight arm jitters by 25 degrees where landmarks jitter too much for angles (tests/truth), and
# as much where an error of 2 % in its reach is read as a bend.
_LEAST_ROUGH_BEND_DEG = 45.0
# Seen along the body arms bend toward the camera, and 3 % of the reach reads as 25 degrees: an
# attempt bends them by this share of what the set does.
_LEAST_SHARE_ALONG = 0.35
_CLOCK_ORDER: Mapping[ViewKind, int] = {"side": 0, "oblique": 1, "front": 2, "rear": 3}


_PERHAPS_TURNED = (
    "Taken for a push-up against a wall. If the picture lies on its side, turn it upright and "
    "judge it again."
)


class TurnedError(ClipError):
    """The picture of a clip is not upright."""


@dataclass(frozen=True)
class RepResult:
    """A rep, whether it counts, and what was measured on it, by contract field name."""

    rep: Rep
    attempt: Attempt
    why_not_counted: str | None
    values: Mapping[str, Quantity]
    faults: tuple[Fault, ...]  # faults and borderlines of this rep
    corrections: tuple[str, ...] = ()  # that a named test makes of it, see faults.counting
    unseen: bool = False  # it does not count only because its range or line could not be judged


@dataclass(frozen=True)
class NotJudged:
    key: str
    reason: str


@dataclass(frozen=True)
class SetSummary:
    attempts: int
    counted: int
    clean: int
    unclear: int  # of the clean: those with a value too close to a limit
    unjudged: tuple[int, ...]  # reps that do not count only because range or line was not seen
    time_under_tension_s: float
    pace_per_min: float
    speed_loss_percent: float
    range_loss_deg: float
    first_breakdown_rep: int | None
    load_fraction: Quantity
    tempo_kept: Mapping[str, PhaseKept] = field(default_factory=dict)
    sides: Mapping[Side, SideKept] = field(default_factory=dict)  # where one arm worked at a time


@dataclass(frozen=True)
class Measured:
    """All that a verdict rests on: ``values`` of each of the ``reps`` by contract field name.

    ``looks[0]`` keeps the clock that every time refers to. ``hold`` where the set was one.
    """

    looks: tuple[Look, ...]
    reps: tuple[Rep, ...]
    values: tuple[Mapping[str, Quantity], ...]
    variation: Variation
    hold: SupportHold | None
    line: BodyLine
    person: Person
    notes: tuple[str, ...]
    pairing: Pairing | None


@dataclass(frozen=True, eq=False)
class Analysis:
    """A judged set. ``looks[0]`` keeps the clock that every time refers to."""

    measured: Measured
    prescription: Prescription
    limits: Limits
    reps: tuple[RepResult, ...]
    faults: tuple[Fault, ...]
    not_judged: tuple[NotJudged, ...]
    summary: SetSummary
    hold_verdict: HoldVerdict
    next_step: NextStep
    test: TestResult | None = None  # of the named standard that was asked for

    def __repr__(self) -> str:
        clips = " and ".join(look.track.source_name or "a track" for look in self.looks)
        summary = self.summary
        return (
            f"<Analysis of {clips}: {summary.attempts} attempts, {summary.counted} counted, "
            f"{summary.clean} clean>"
        )

    @property
    def looks(self) -> tuple[Look, ...]:
        return self.measured.looks

    @property
    def person(self) -> Person:
        return self.measured.person

    @property
    def variation(self) -> Variation:
        return self.measured.variation

    @property
    def hold(self) -> SupportHold | None:
        return self.measured.hold

    @property
    def line(self) -> BodyLine:
        return self.measured.line

    @property
    def pairing(self) -> Pairing | None:
        return self.measured.pairing

    @property
    def notes(self) -> tuple[str, ...]:
        return () if self.empty else self.measured.notes

    @property
    def empty(self) -> bool:
        """Neither a rep nor a hold was found: there is nothing to judge."""
        return not self.reps and self.hold is None

    @property
    def speed_unit(self) -> str:
        return "m/s" if self.person.metres_known else "arm lengths/s"


def analyse(
    tracks: Sequence[PoseTrack],
    prescription: Prescription | None = None,
    limits: Limits | None = None,
    views: Sequence[ViewKind] | None = None,
    person: Person | None = None,
) -> Analysis:
    """Measure and judge one set seen by one camera, or by two (order free).

    ``views`` is the user's word on what each track shows, where recognition is not wanted.
    The side view keeps the clock. Raises TurnedError for a picture that is not upright,
    ``pairing.NotOneSetError`` when two tracks do not show the same set, and ValueError for no
    track or more than two.
    """
    if len(tracks) not in (1, 2):
        raise ValueError(f"a set is seen by one camera or by two, not by {len(tracks)}")
    asked = prescription or Prescription()
    # Matrices of a few dozen numbers: threads would only wait for each other.
    one_thread = ThreadpoolController().limit(limits=1, user_api="blas")
    with one_thread, warnings.catch_warnings(), np.errstate(invalid="ignore", divide="ignore"):
        # A joint that is not seen is NaN, and a stretch of it an empty median: no news to anyone.
        warnings.simplefilter("ignore", RuntimeWarning)
        looks = [_look(i, track, views[i] if views else None) for i, track in enumerate(tracks)]
        measured = _measure(looks, asked, person or Person())
        return _verdict(measured, asked, limits or default_limits())


def _look(clip: int, track: PoseTrack, stated: ViewKind | None) -> Look:
    """One clip read for itself, with the reps that it shows."""
    steady = named_as_it_faces(without_rare_side(with_steady_sides(track)))
    as_often = evenly(steady)
    view = recognise_view(as_often)
    if stated is not None and stated != view.kind:
        side = view.near_side if stated in ("side", "oblique") else None
        view = View(stated, side, view.yaw_deg, stated=True)
    if lies_turned(as_often, view):
        raise TurnedError(
            f"{track.source_name}: the picture lies on its side or upside down, or somebody lies "
            "on the back and presses a bar, so nothing in it can be judged; if it is a push-up, "
            "turn it upright and give it again."
        )
    signals = _signals_of(steady, view)
    if signals.body and (slanted := told_by_body(view, signals.body.yaw_deg)) != view:
        view, signals = slanted, _signals_of(steady, slanted)
    look = Look(clip, steady, view, signals)
    return look.with_reps(_reps_of(look))


def _signals_of(
    track: PoseTrack,
    view: View,
    hands_above_feet: float | None = None,
    on_knees: bool | None = None,
) -> Signals:
    """The curves; where arms are seen to work one at a time, of the one that works."""
    signals = read_signals(track, view, hands_above_feet, on_knees)
    if view.from_side and view.near_side not in (None, signals.near_side):
        # The near hand is off the floor: the far arm carries alone, and a body that bends both
        # arms alike is misled by the one that rests.
        return of_one_arm(signals, carrying_arm(signals))
    if view.kind != "front":
        return signals
    resting = resting_hand(track)
    # A front view takes the body's size from the width of the shoulders, and a trunk that turns
    # over one arm changes it.
    as_seen = replace(
        signals,
        points_px=signals.drawn_px,
        steady_px=without_sway(signals.drawn_px, signals.near_side, view, signals.in_position),
    )
    if resting is None and not one_at_a_time(as_seen):
        return signals
    elbows = each_arm(as_seen, resting)
    return of_one_arm(as_seen, elbows, lost=lost_from_front(as_seen))


def _measure(looks: Sequence[Look], asked: Prescription, person: Person) -> Measured:
    """Everything that can be measured on a set whose looks are read."""
    paired = None
    if len(looks) == 2:
        looks, paired = _joined(looks)
    looks, variation = _recognised(looks, asked, person)
    work = variation.arm_work
    looks = [with_working_arm(look, work) for look in looks]
    front = next((look for look in looks if look.view.kind == "front"), None)
    body = next((look for look in looks if look.view.from_side), looks[0])
    load = load_over_time(body, variation, asked, person)
    line = read_line(body, variation.support, person.hip_offset)
    values = measure_reps(looks, body, line, load, person)
    of_working_arm(values, looks, work)
    if all(hands_hidden(look.track, look.view) for look in looks):
        variation = without_hands(values, variation, asked)
    for of_rep, arms in zip(values, arm_loads(values, variation, front), strict=True):
        of_rep |= arms
    notes = (
        *(paired.evidence if paired else ()),
        *(stance_remarks(front) if front and work.arms != "one" else ()),
        *(load.remarks if looks[0].reps else ()),
        *((_PERHAPS_TURNED,) if variation.surface == "wall" and asked.surface is None else ()),
        *pulse_remarks(looks[0].reps),
        *release_remarks(looks[0].reps),
        *rest_remarks(looks[0].reps),
    )
    return Measured(
        looks=tuple(looks),
        reps=looks[0].reps,
        values=tuple(values),
        variation=variation,
        hold=support_hold(body, variation.support),
        line=line,
        person=person,
        notes=notes,
        pairing=paired,
    )


def _recognised(
    looks: Sequence[Look], asked: Prescription, person: Person
) -> tuple[Sequence[Look], Variation]:
    """Which push-up it was; a front view is read again where feet or hands were raised."""
    front = next((look for look in looks if look.view.kind == "front"), None)
    variation = recognise_variation(looks, asked, _set_spacing(front), person)
    if front is None:
        return looks, variation
    helped = _with_stance(front, variation)
    return [helped if look is front else look for look in looks], variation


def rejudge(
    analysis: Analysis, limits: Limits, prescription: Prescription | None = None
) -> Analysis:
    """The same measurements held to other limits, or to another tempo, range or target.

    Takes milliseconds. What a prescription says about the body, the load or the variation
    changes measurements: for that, call ``analyse`` again.
    """
    return _verdict(analysis.measured, prescription or analysis.prescription, limits)


def judge_reps(
    reps: Sequence[Rep],
    values: Sequence[Mapping[str, Quantity]],
    asked: Prescription,
    limits: Limits,
    views: Sequence[ViewKind],
) -> tuple[tuple[RepResult, ...], TestResult | None]:
    """The verdict on every rep of a set measured in these views, the first of which has the clock;
    with a named test, how that went."""
    found = [
        rep_verdicts(rep, of_rep, asked, limits, views)
        for rep, of_rep in zip(reps, values, strict=True)
    ]
    rulings, test = rule(reps, values, found, asked, limits)
    results = tuple(
        _result(rep, ruling, of_rep, faults)
        for rep, ruling, of_rep, faults in zip(reps, rulings, values, found, strict=True)
    )
    return results, test


def judge_rep(
    rep: Rep,
    values: Mapping[str, Quantity],
    asked: Prescription,
    limits: Limits,
    views: Sequence[ViewKind],
) -> RepResult:
    """The verdict on one rep for itself, measured in these views; the first has the clock.

    What a named test adds, its pace and its end, takes the whole set.
    """
    found = rep_verdicts(rep, values, asked, limits, views)
    alone = replace(asked, standard=None)
    (ruling,), _ = rule((rep,), (values,), (found,), alone, limits)
    return _result(rep, ruling, values, found)


def _result(
    rep: Rep, ruling: Ruling, values: Mapping[str, Quantity], faults: tuple[Fault, ...]
) -> RepResult:
    return RepResult(
        rep, ruling.attempt, ruling.why, values, faults, ruling.corrections, ruling.unseen
    )


def rep_verdicts(
    rep: Rep,
    values: Mapping[str, Quantity],
    asked: Prescription,
    limits: Limits,
    views: Sequence[ViewKind],
    only: str | None = None,
) -> tuple[Fault, ...]:
    """Faults and borderlines of a rep that at least one of the views can judge; of ``only`` one
    kind, where that is all that is wanted."""
    bounds = hand_bounds(asked.hands) if asked.hands else None
    found = tuple(
        fault
        for fault in rep_faults(rep, values, asked, limits, views[0], bounds, only)
        if any(fault.key not in hidden_from(kind) for kind in views)
    )
    return _unless_unfinished(found)


def _unless_unfinished(found: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """``found``; of an attempt that was probably not finished, no range fault is sure."""
    kinds, ranged = fault_kinds(), keys_weighing("range")
    if not any(kinds[fault.key].alone and likely_beyond(fault) for fault in found):
        return found
    return tuple(
        replace(fault, verdict="borderline")
        if fault.key in ranged and not kinds[fault.key].alone
        else fault
        for fault in found
    )


def _verdict(measured: Measured, asked: Prescription, limits: Limits) -> Analysis:
    looks, variation, hold = measured.looks, measured.variation, measured.hold
    kinds = [look.view.kind for look in looks]
    results, test = judge_reps(measured.reps, measured.values, asked, limits, kinds)
    if results or hold is not None:
        not_judged = _not_judged(results, looks, asked, variation)
    else:
        not_judged = (NotJudged("reps", _why_empty(looks)),)
    summary = _summary(results, variation.arm_work)
    faults = tuple(fault for result in results for fault in result.faults)
    hold_verdict = NOT_BROKEN if hold is None else judge_hold(hold, limits)
    record = SetRecord(
        good=[_good(result) for result in results],
        counted=summary.counted,
        unjudged=summary.unjudged,
        faults=faults,
        not_judged={entry.key for entry in not_judged},
        speed_loss_percent=summary.speed_loss_percent,
        load_fraction=summary.load_fraction,
        gaps_s=[b.rep.start_s - a.rep.top_s for a, b in pairwise(results)],
        eccentric_s=summary.tempo_kept["eccentric_s"].done_s,
        bottom_pause_s=summary.tempo_kept["bottom_pause_s"].done_s,
        press_s=[r.values["concentric_s"].value for r in _whole(results)],
        last_stuck=_last_stuck(results),
        hold=hold,
        hold_verdict=hold_verdict,
        test=test,
        bends_to_90=_bends_to_90(results, asked),
    )
    return Analysis(
        measured=measured,
        prescription=asked,
        limits=limits,
        reps=results,
        faults=faults,
        not_judged=not_judged,
        summary=summary,
        hold_verdict=hold_verdict,
        next_step=next_step(record, variation, asked, measured.person),
        test=test,
    )


def _with_stance(front: Look, variation: Variation) -> Look:
    """The front view read again knowing what the feet and hands stand on."""
    height = variation.surface_height
    raised = height.value if height.known else None
    on_knees = None if variation.support is None else variation.support == "knees"
    if raised is None and on_knees is None:
        return front
    return replace(front, signals=_signals_of(front.track, front.view, raised, on_knees))


def _reps_of(look: Look) -> list[Rep]:
    curves = look.signals
    jittery = curves.noise > MOST_NOISE
    unsure = curves.bridged | jittery
    # Only whole bends are told from jitter, or from one arm's reach, which wavers where it is long.
    rough = jittery or curves.by_reach
    least_deg = _LEAST_ROUGH_BEND_DEG if rough else LEAST_BEND_DEG
    t_s, rate_hz = curves.t_s, curves.rate_hz
    elbow_deg, use, released = across_releases(t_s, curves.elbow_deg, curves.in_position)
    if look.view.along_body and use.any():
        low_deg, high_deg = np.nanpercentile(elbow_deg[use], [5.0, 95.0])
        least_deg = max(least_deg, _LEAST_SHARE_ALONG * float(high_deg - low_deg))
    found = find_reps(t_s, elbow_deg, use, rate_hz, unsure | released, least_deg)
    found = with_releases(found, t_s, released)
    return with_failed(found, t_s, elbow_deg, use, rate_hz, least_deg)


def _joined(looks: Sequence[Look]) -> tuple[list[Look], Pairing]:
    """Two views on one clock, the side view's, with the reps that either of them holds."""
    first, second = sorted(looks, key=lambda look: _CLOCK_ORDER[look.view.kind])
    front = next((look for look in looks if look.view.kind == "front"), None)
    paired = pair_looks(first, second, arm_work(front, None).arms or "two")
    if not paired.same_set:
        raise NotOneSetError(
            f"{first.track.source_name} and {second.track.source_name} do not show the same set: "
            + " ".join((*paired.evidence, "Judge them one at a time."))
        )
    second = replace(second, offset_s=paired.offset_s)
    matched = {j for _, j in paired.matches}
    only_there = [
        rep.shifted(paired.offset_s) for j, rep in enumerate(second.reps) if j not in matched
    ]
    rests = any(rep.lies_down_after for rep in first.reps)
    extra = [
        rep
        for rep in only_there
        if not (rep.failed and rests)
        and all(rep.bottom_s < own.start_s or rep.bottom_s > own.top_s for own in first.reps)
    ]
    filmed = [rep for rep in extra if rep.start_s >= 0 and rep.top_s <= first.track.duration_s]
    if left_out := len(extra) - len(filmed):
        paired = replace(
            paired,
            evidence=(
                *paired.evidence,
                f"{second.track.source_name} shows {left_out} more, outside the time that "
                f"{first.track.source_name} was filming: not in this report.",
            ),
        )
    reps = _in_order(first.reps, filmed)
    return [first.with_reps(reps), second.with_reps(reps)], paired


def _in_order(ours: Sequence[Rep], theirs: Sequence[Rep]) -> list[Rep]:
    """Reps of both views by time, counted anew; none ends after the next one starts.

    A view that lost sight of the set took the rep before for the last: where the other view
    shows the next one, that rep ends there. Where one view saw both, it knows of the break.
    """
    ordered = sorted(
        [(rep, True) for rep in ours] + [(rep, False) for rep in theirs],
        key=lambda entry: entry[0].bottom_s,
    )
    out = []
    for i, (rep, from_ours) in enumerate(ordered):
        if i + 1 < len(ordered):
            follows, also_ours = ordered[i + 1]
            lost_sight = rep.last and from_ours != also_ours
            if lost_sight or rep.end_s > follows.start_s:
                rep = replace(rep, end_s=max(follows.start_s, rep.top_s), last=False)
        out.append(replace(rep, index=i + 1))
    return out


def _set_spacing(front: Look | None) -> Quantity | None:
    """Hand spacing of the whole set: the median over its reps."""
    if front is None or front.signals.body is None:
        return None
    each = [hand_spacing(front, rep) for rep in front.reps]
    known = [q for q in each if q.known]
    if not known:
        return each[0] if each else None
    return Quantity(
        float(np.median([q.value for q in known])),
        float(np.median([q.plus_minus for q in known])),
        view=known[0].view,
    )


def _set_load(results: Sequence[RepResult]) -> Quantity:
    """Mean share of body mass on the hands over the reps."""
    each = [r.values["load_fraction"] for r in results]
    known = [q for q in each if q.known]
    if not known:
        return each[0] if each else not_measured("no rep was found")
    return Quantity(float(np.mean([q.value for q in known])), known[0].plus_minus)


def _why_empty(looks: Sequence[Look]) -> str:
    if not any(look.track.frames_with_pose for look in looks):
        return "nobody is seen in this clip"
    if all(hands_hidden(look.track, look.view) for look in looks):
        return HANDS_HIDDEN
    if all(hands_overhead(look.track) for look in looks):
        return (
            "the hands are above the shoulders here: hanging from a bar or pressing one up is no "
            "push-up"
        )
    if all(look.view.kind == "rear" for look in looks):
        return f"filmed from behind: {hidden_from('rear')['shallow']}"
    return "nobody does a push-up in this clip"


def _not_judged(
    results: Sequence[RepResult],
    looks: Sequence[Look],
    asked: Prescription,
    variation: Variation,
) -> tuple[NotJudged, ...]:
    """What no view shows, what was not asked, and what could not be measured on some reps."""
    out: dict[str, str] = {}
    for key, reason in hidden_from(looks[0].view.kind).items():
        if all(key in hidden_from(look.view.kind) for look in looks):
            out[key] = reason
    for key, measure in judged_by(asked.range_standard).items():
        blind = [
            r
            for r in results
            if r.attempt not in ("aborted", "failed") and not r.values[measure].known
        ]
        if not blind or key in out:
            continue
        reason = blind[0].values[measure].reason or "could not be measured"
        reps = ", ".join(str(r.rep.index) for r in blind)
        out[key] = reason if len(blind) == len(results) else f"rep {reps}: {reason}"
    if variation.support is None or variation.surface is None:
        out["surface"] = variation.inclination_deg.reason or "feet or hands were not seen"
    if results and not (load := _set_load(results)).known:
        out["load_fraction"] = load.reason or "could not be measured"
    out[scapula.KEY] = scapula.REASON
    if variation.arms in ("archer", "one"):
        out["uneven_arms"] = ONE_AT_A_TIME
    if variation.arms == "one":
        out["trunk_rotation"] = TRUNK_ROTATION
    if results and variation.arms is None and all(look.view.from_side for look in looks):
        out["arms"] = variation.arm_work.why_open
    if asked.tempo is None:
        out["tempo"] = NO_TEMPO
    if asked.hands is None and "hand_spacing" not in out:
        out["hand_spacing"] = NO_HANDS
    return tuple(NotJudged(key, reason) for key, reason in out.items())


def _good(result: RepResult) -> bool:
    return result.attempt == "counted" and not any(f.verdict == "fault" for f in result.faults)


def _bends_to_90(results: Sequence[RepResult], asked: Prescription) -> bool:
    """Whether every rep reaches the usual depth, where another was asked."""
    bottoms = [result.values["elbow_bottom_deg"] for result in _whole(results)]
    usual = default_limits()["shallow"].value
    return asked.range_standard != "elbow-90" and all(
        bottom.known and bottom.value <= usual for bottom in bottoms
    )


def _last_stuck(results: Sequence[RepResult]) -> bool:
    """Whether the last press slowed on its way up and went on."""
    pressed = _whole(results)
    return bool(pressed) and pressed[-1].values["sticking_height_percent"].known


def _whole(results: Sequence[RepResult]) -> list[RepResult]:
    """Attempts that went down and were pressed up again."""
    return [r for r in results if r.attempt not in ("aborted", "failed")]


def _summary(results: Sequence[RepResult], work: ArmWork) -> SetSummary:
    reps = [r.rep for r in results]
    full = _whole(results)
    form = keys_weighing("range", "line")
    broke = [
        r.rep.index
        for r in results
        if any(f.verdict == "fault" and f.key in form for f in r.faults)
    ]
    cycles = np.diff([rep.start_s for rep in reps])
    # Where both arms take their turn, one rep against another is one arm against the other.
    alone = {side for side in work.working if side} if work.arms in ("archer", "one") else set()
    alike = [] if len(alone) > 1 else full
    return SetSummary(
        attempts=len(results),
        counted=sum(r.attempt == "counted" for r in results),
        clean=sum(_good(r) for r in results),
        unclear=sum(_good(r) and bool(r.faults) for r in results),
        unjudged=tuple(r.rep.index for r in results if r.unseen),
        time_under_tension_s=time_under_tension_s(reps),
        pace_per_min=60.0 / float(np.mean(cycles)) if len(cycles) else float("nan"),
        speed_loss_percent=speed_loss_percent([r.values["mean_concentric_speed"] for r in alike]),
        range_loss_deg=range_loss_deg([r.values["elbow_bottom_deg"] for r in alike]),
        first_breakdown_rep=min(broke) if broke else None,
        load_fraction=_set_load(results),
        tempo_kept=tempo_kept([r.values for r in full]),
        sides=sides_kept(
            [r.values for r in results],
            [r.attempt == "counted" for r in results],
            [_good(r) for r in results],
            work,
        ),
    )
