"""Two clips of one set: the time between them, and whether it is one set at all.

Two phones were started at different moments and see the body from different sides, so nothing in
the pictures matches; what matches is the motion. Both clips give the elbow angle over time. One
curve is slid over the other, and every offset at which they fit is looked at again: do the phases
of each rep fall on the same moments, are the same reps deep, do the elbows flare in the same
reps? An offset at which one clip moves while the other holds still is no match.

People's reps differ from each other, and so most sets can be told apart. A set done like clockwork
fits any other set done at that tempo; then the pair is accepted and said to be less sure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from formcheck.asked.prescription import Arms
from formcheck.errors import FormcheckError
from formcheck.maths.arrays import BoolArray, FloatArray, IntArray
from formcheck.maths.peaks import peaks
from formcheck.maths.quantity import median_known
from formcheck.maths.stretches import without_gaps
from formcheck.reps.find import Rep, find_reps
from formcheck.reps.look import Look
from formcheck.signals.body_model import SIDES
from formcheck.signals.curves import Signals
from formcheck.signals.one_arm import resting_hand, seen_height

# One standard deviation of what two views of one set differ by, after a constant is allowed for;
# as found on rendered pairs.
CURVE_SD_DEG = 7.0
MOMENT_SD_S = np.array([0.12, 0.10, 0.045, 0.06])  # leaves top, lands, drives, reaches top
# Where one arm works at a time the views are laid together by how high the shoulders are: its
# moments differ by so much more, its curve over an archer by so much less; over one arm alone the
# trunk turns, too. On nine rendered pairs one set reads 0.3 to 1.4, on 24 made-up ones, half with
# the far arm off by 1.3 % of its length, up to 0.7. Of other sets at the same tempo, give or take a
# tenth from rep to rep, one archer in six and one one-arm set in two reads less than is refused.
_MOMENTS: Mapping[Arms, float] = {"two": 1.0, "archer": 1.4, "one": 2.0}
_CURVES: Mapping[Arms, float] = {"two": 1.0, "archer": 0.5, "one": 1.0}
# They read 0.5 at least: what fits no closer may be another set, and that is said.
_OTHERS_FIT = 0.5
DEPTH_SD_DEG = 3.5
FLARE_SD_DEG = 4.0

# What the views differ by in every rep, and its standard deviation: a side view reads
# flare lower than a front view.
DEPTH_BIAS_DEG = (0.0, 5.0)
FLARE_BIAS_DEG = (8.0, 8.0)

# The shoulders' height over the hands, as an angle: at its usual top, and what a whole arm length
# stands for. From there to a right angle the elbow bends by 80 degrees and the shoulders sink by
# 0.29 arm lengths (law of cosines).
_TOP_DEG, _DEG_PER_HEIGHT = 170.0, 80.0 / 0.29
_SAME_START_S = 0.15
_WORTH_SAYING_DEG = 8.0  # about what one view errs by
STRANGE = 1.1  # misfit of landmarks with one body, from which angles of two views may differ
_OUTLIER = 4.0  # a moment further off than so many sds was misread in one view, and counts no more
_GUESSED = 0.3  # of a rep, in which the arm was lost
_RATE_HZ = 30.0
_MOST_OFFSETS, _OFFSETS_APART = 5, int(0.4 * _RATE_HZ)  # of the curves, that are looked into
_WINDOW_S = 1.0
_SHORT_GAP_S = 2.5  # nobody leaves the position and takes it again in less
# A whole second in which the elbow curves differ by this much: one moves, the other holds.
_CONTRADICTION_DEG = 28.0
_WORST_MOMENTS = 3.5  # mean square of the phases' differences, in their standard deviations
_WORST_MEAN_DEPTH_DEG, _WORST_MEAN_FLARE_DEG = 18.0, 30.0  # constant differences of the views
_LEAST_SHARED = 0.5  # of the shorter clip's reps, and of the time both clips hold
# Mean squared difference in standard deviations, about 1 for one set, beyond which it is not one.
# Two reps alone fit many sets, so they must fit closely. Set on nine pairs of one set, of which
# seven read 0.2 to 0.9 and two, misread from the front, more than this; and 1908 of different
# ones, of which 1 in 100 reads less.
_WORST_FIT, _WORST_FIT_OF_TWO = 1.6, 0.9
_AS_GOOD = 0.6  # misfits this near to the least are as good; the longer overlap decides


@dataclass(frozen=True)
class Pairing:
    """Time in the first clip = time in the second + ``offset_s`` (± ``plus_minus_s``, 95 %).

    ``matches`` pairs of positions in the two lists of reps. ``same_set`` the verdict, ``sure``
    0 to 1 how sure of it, ``evidence`` the sentences that carry it. ``fit`` mean squared
    difference in standard deviations, about 1 for one set.
    """

    same_set: bool
    sure: float
    offset_s: float
    plus_minus_s: float
    matches: tuple[tuple[int, int], ...]
    fit: float
    evidence: tuple[str, ...]


class NotOneSetError(FormcheckError):
    """Two clips do not show the same set; the message is the evidence."""


@dataclass(frozen=True)
class _Candidate:
    offset_s: float
    matches: tuple[tuple[int, int], ...]
    overlap_s: float
    curve_deg: float
    worst_second_deg: float
    moments_s: float
    moments: float
    depth_deg: tuple[float, float]
    flare_deg: tuple[float, float]
    fit: float
    misfit: float


def pair_looks(first: Look, second: Look, arms: Arms = "two") -> Pairing:
    """Find the offset between two clips of one set, or the evidence that they are not one set.

    Where one arm works at a time (``arms`` archer or one) the views see different elbows: then they
    are matched by how high the shoulders are.
    """
    if arms != "two":
        first, second = _by_height(first), _by_height(second)
    if not first.reps or not second.reps:
        which = "first" if not first.reps else "second"
        return _refused((f"The {which} clip shows no rep to match.",))
    a, b = _curve(first), _curve(second)
    judged = [
        _judge(first, second, a, b, offset_s, arms) for offset_s in _rough_offsets(first, second)
    ]
    tried = [candidate for candidate in judged if candidate is not None]
    if not tried:
        return _refused(("However the clips are shifted, their reps do not fall together.",))
    best_fit = min(_total(candidate) for candidate in tried)
    as_good = [candidate for candidate in tried if _total(candidate) <= best_fit + _AS_GOOD]
    best = max(as_good, key=lambda candidate: (len(candidate.matches), candidate.overlap_s))
    against = _objections(best)
    if against:
        return Pairing(
            False, 0.9, best.offset_s, float("nan"), best.matches, best.fit, tuple(against)
        )
    rivals = [c for c in as_good if abs(c.offset_s - best.offset_s) > 0.5]
    doubt = _doubt(first, second, best, arms)
    sure = 0.95 - 0.3 * bool(rivals) - 0.25 * bool(doubt)
    return Pairing(
        True,
        sure,
        best.offset_s,
        float(max(0.04, 2 * best.moments_s / np.sqrt(4 * len(best.matches)))),
        best.matches,
        best.fit,
        _support(best, rivals, doubt),
    )


def _by_height(look: Look) -> Look:
    """The look with the height of its shoulders, as an angle, in the place of the elbow, and with
    reps timed by it.

    Both views see that height, and it wavers less than the elbow told from it, which a little
    error bends by many degrees near the top. A hand that rests on the body goes up and down with
    it, and is often hidden there.
    """
    signals = look.signals
    resting = resting_hand(look.track) if look.view.kind == "front" else None
    carries = [side for side in SIDES if side != resting]
    height = seen_height(signals, [signals.near_side] if look.view.from_side else carries)
    as_angle = _TOP_DEG - _DEG_PER_HEIGHT * (1.0 - height)
    unseen = np.full(len(height), np.nan)
    by_height = replace(signals, elbow_deg=as_angle, flare_deg=unseen)
    return replace(look, signals=by_height, reps=_timed_by(by_height, look.reps))


def _timed_by(signals: Signals, reps: Sequence[Rep]) -> tuple[Rep, ...]:
    """The reps with the moments that the curves now have, where they show each as one bend."""
    curve = signals.elbow_deg
    seen = find_reps(signals.t_s, curve, signals.in_position, signals.rate_hz)
    timed = []
    for rep in reps:
        same = [other for other in seen if rep.start_s < other.bottom_s < rep.top_s]
        if len(same) == 1 and not rep.failed:
            rep = replace(
                rep,
                start_s=same[0].start_s,
                bottom_start_s=same[0].bottom_start_s,
                bottom_s=same[0].bottom_s,
                bottom_end_s=same[0].bottom_end_s,
                top_s=same[0].top_s,
            )
        timed.append(rep)
    return tuple(timed)


def _curve(look: Look) -> tuple[FloatArray, FloatArray]:
    """Elbow angle over time; where the person is not in position, as straight as at the top."""
    angle = look.signals.elbow_deg.copy()
    known = look.signals.in_position & np.isfinite(angle)
    straight = float(np.nanpercentile(angle[known], 90)) if known.any() else 170.0
    angle[~known] = straight
    return look.signals.t_s, np.minimum(angle, straight)


def _lost(look: Look, at_s: FloatArray) -> BoolArray:
    """(K,) whether the arm was out of sight at these times."""
    nearest = _nearest(look, at_s)
    lost = (look.signals.bridged | _short_gaps(look))[nearest]
    for rep in look.reps:
        if rep.failed:  # who fails leaves the position, and one view loses it before the other
            lost = lost | (at_s >= rep.bottom_start_s) & ~look.signals.in_position[nearest]
    return np.asarray(lost)


def _comes_or_goes(look: Look, at_s: FloatArray) -> BoolArray:
    """(K,) whether the person is not in position at these times: what the arms do while somebody
    gets down shows in one view and not in the other, and is no rep in either."""
    return np.asarray(~look.signals.in_position[_nearest(look, at_s)])


def _nearest(look: Look, at_s: FloatArray) -> IntArray:
    return np.searchsorted(look.signals.t_s, at_s).clip(0, len(look.signals.t_s) - 1)


def _in_reps(look: Look, at_s: FloatArray) -> BoolArray:
    """(K,) whether these times are within a rep."""
    within = [(at_s >= rep.start_s) & (at_s <= rep.top_s) for rep in look.reps]
    return np.asarray(np.any(within, axis=0))


def _short_gaps(look: Look) -> BoolArray:
    """(M,) out of position for so short a time in mid-set that the tracker lost the body."""
    use = look.signals.in_position
    return without_gaps(use, round(_SHORT_GAP_S * look.signals.rate_hz)) & ~use


def _lost_in(look: Look, rep: Rep) -> bool:
    """Whether the arm was out of sight for a good part of a rep: then its phases are a guess."""
    return bool(
        look.signals.bridged[look.signals.between(rep.start_s, rep.top_s)].mean() > _GUESSED
    )


def _rough_offsets(first: Look, second: Look) -> list[float]:
    """Offsets that bring one clip's reps onto the other's, one for each shift of the count."""
    offsets = []
    ours, theirs = (np.array([_moments(rep) for rep in t.reps]) for t in (first, second))
    for shift in range(1 - len(theirs), len(ours)):
        lo, hi = max(0, shift), min(len(ours), len(theirs) + shift)
        apart = ours[lo:hi] - theirs[lo - shift : hi - shift]
        offsets.append(float(np.nanmedian(apart)))
    # A rep found in one clip only breaks the count, but not the curves.
    return offsets + _curve_offsets(first, second)


def _curve_offsets(first: Look, second: Look) -> list[float]:
    (ta, a), (tb, b) = _curve(first), _curve(second)
    x = np.interp(np.arange(ta[0], ta[-1], 1 / _RATE_HZ), ta, a)
    y = np.interp(np.arange(tb[0], tb[-1], 1 / _RATE_HZ), tb, b)
    x, y = x - x.mean(), y - y.mean()
    count = len(x) + len(y) - 1
    alike = np.fft.irfft(np.fft.rfft(x, count) * np.fft.rfft(y[::-1], count), count)
    highest = peaks(alike)
    highest = highest[np.argsort(alike[highest])[::-1]]
    best: list[int] = []
    for place in highest:
        if len(best) < _MOST_OFFSETS and all(abs(place - one) >= _OFFSETS_APART for one in best):
            best.append(int(place))
    return [(place - len(y) + 1) / _RATE_HZ + float(ta[0] - tb[0]) for place in best]


def _judge(
    first: Look,
    second: Look,
    a: tuple[FloatArray, FloatArray],
    b: tuple[FloatArray, FloatArray],
    rough_s: float,
    arms: Arms,
) -> _Candidate | None:
    """Everything that speaks for or against one offset, refined to the best near it.

    Where one of the ``arms`` works at a time the views see different elbows: what they read of them
    is no evidence, and moments told from the shoulders are less sure.
    """
    moment_sd_s, curve_sd_deg = MOMENT_SD_S * _MOMENTS[arms], CURVE_SD_DEG * _CURVES[arms]
    matches = _matches(first.reps, second.reps, rough_s)
    shared = len(matches) / min(len(first.reps), len(second.reps))
    if not matches or shared < _LEAST_SHARED:
        return None
    offset_s = _refined(first, second, matches, a, b, rough_s)
    begin, end = max(a[0][0], b[0][0] + offset_s), min(a[0][-1], b[0][-1] + offset_s)
    grid = np.arange(begin, end, 1 / _RATE_HZ)
    if len(grid) < 2 * _RATE_HZ:
        return None
    # Where a view lost the arm it does not say that the arm held still.
    lost = _lost(first, grid) | _lost(second, grid - offset_s)
    lost |= _comes_or_goes(first, grid) & ~_in_reps(second, grid - offset_s)
    lost |= _comes_or_goes(second, grid - offset_s) & ~_in_reps(first, grid)
    if lost.mean() > 1.0 - _LEAST_SHARED:
        return None
    x, y = np.interp(grid, *a), np.interp(grid - offset_s, *b)
    apart = x - np.clip(_range(x[~lost]) / max(_range(y[~lost]), 1.0), 0.8, 1.25) * y
    apart = np.where(lost, 0.0, apart - np.median(apart[~lost]))
    window = np.ones(int(_WINDOW_S * _RATE_HZ)) / int(_WINDOW_S * _RATE_HZ)
    worst = float(np.max(np.convolve(np.abs(apart), window, mode="valid")))
    moments = np.array(
        [
            np.subtract(_moments(first.reps[i]), _moments(second.reps[j]))
            for i, j in matches
            if not (_lost_in(first, first.reps[i]) or _lost_in(second, second.reps[j]))
        ]
    )
    if not len(moments):
        return None
    curve = float(np.sqrt(np.mean(apart[~lost] ** 2)))
    moments -= offset_s
    in_sd = float(np.nanmean(np.minimum(np.abs(moments / moment_sd_s), _OUTLIER) ** 2))
    depth = flare = (float("nan"), float("nan"))
    if arms == "two":
        depth = _differences(first, second, matches, "elbow_deg")
        flare = _differences(first, second, matches, "flare_deg")
    terms = [(curve / curve_sd_deg) ** 2, in_sd]
    terms += [
        (spread / sd) ** 2
        for (_, spread), sd in ((depth, DEPTH_SD_DEG), (flare, FLARE_SD_DEG))
        if np.isfinite(spread)
    ]
    return _Candidate(
        offset_s=offset_s,
        matches=matches,
        overlap_s=float(end - begin),
        curve_deg=curve,
        worst_second_deg=worst,
        moments_s=float(np.sqrt(np.nanmean(moments**2))),
        moments=in_sd,
        depth_deg=depth,
        flare_deg=flare,
        fit=float(np.mean(terms)),
        misfit=float(np.sum(terms))
        + _bias_misfit(depth[0], DEPTH_BIAS_DEG)
        + _bias_misfit(flare[0], FLARE_BIAS_DEG),
    )


def _bias_misfit(mean: float, expected: tuple[float, float]) -> float:
    """Misfit of a constant difference, whichever clip is the side view; 0 where not seen."""
    return float(np.nan_to_num(((abs(mean) - expected[0]) / expected[1]) ** 2))


def _total(candidate: _Candidate) -> float:
    return candidate.misfit + max(0.0, candidate.worst_second_deg - _CONTRADICTION_DEG) / 5.0


def _moments(rep: Rep) -> tuple[float, float, float, float]:
    if rep.failed:  # what came after the way down has no moment that two views would share
        return rep.start_s, rep.bottom_start_s, float("nan"), float("nan")
    return rep.start_s, rep.bottom_start_s, rep.bottom_end_s, rep.top_s


def _matches(
    ours: Sequence[Rep], theirs: Sequence[Rep], offset_s: float
) -> tuple[tuple[int, int], ...]:
    """Reps whose bottoms are nearest to each other and less than half a rep apart."""
    found = []
    for i, rep in enumerate(ours):
        j = min(range(len(theirs)), key=lambda k: abs(theirs[k].bottom_s + offset_s - rep.bottom_s))
        there_s = theirs[j].bottom_s + offset_s
        back = min(range(len(ours)), key=lambda k: abs(there_s - ours[k].bottom_s))
        if back == i and abs(there_s - rep.bottom_s) < 0.5 * (rep.top_s - rep.start_s):
            found.append((i, j))
    return tuple(found)


def _refined(
    first: Look,
    second: Look,
    matches: Sequence[tuple[int, int]],
    a: tuple[FloatArray, FloatArray],
    b: tuple[FloatArray, FloatArray],
    rough_s: float,
) -> float:
    """Offset at which the curves fit best during the first clip's ``reps``, within a frame."""
    reps = [first.reps[i] for i, _ in matches]
    use = np.concatenate([np.arange(rep.start_s, rep.top_s, 1 / _RATE_HZ) for rep in reps])
    x = np.where(_lost(first, use), np.nan, np.interp(use, *a))
    tries = rough_s + np.arange(-0.4, 0.401, 1 / _RATE_HZ)
    there = [
        np.where(_lost(second, use - offset), np.nan, np.interp(use - offset, *b))
        for offset in tries
    ]
    miss = np.array([np.nanvar(x - y) if np.isfinite(x - y).any() else np.inf for y in there])
    k = int(np.clip(np.argmin(miss), 1, len(tries) - 2))
    before, middle, after = miss[k - 1 : k + 2]
    bow = before - 2 * middle + after
    vertex = 0.5 * (before - after) / bow if bow > 0 else 0.0
    return float(tries[k] + np.clip(vertex, -1, 1) / _RATE_HZ)


def _differences(
    first: Look, second: Look, matches: Sequence[tuple[int, int]], curve: str
) -> tuple[float, float]:
    """Mean over the reps of the difference at the bottoms, and its spread; NaN if not seen."""
    if max(first.signals.misfit, second.signals.misfit) > STRANGE:
        return float("nan"), float("nan")  # these angles are not to be compared
    apart = [
        _at_bottom(first, first.reps[i], curve) - _at_bottom(second, second.reps[j], curve)
        for i, j in matches
    ]
    known = [value for value in apart if np.isfinite(value)]
    if not known:
        return float("nan"), float("nan")
    return float(np.mean(known)), float(np.std(known)) if len(known) > 1 else float("nan")


def _at_bottom(look: Look, rep: Rep, curve: str) -> float:
    now = np.abs(look.signals.t_s - rep.bottom_s) <= 0.12
    return median_known(getattr(look.signals, curve)[now & ~look.signals.bridged])


def _range(curve: FloatArray) -> float:
    low, high = np.percentile(curve, [5, 95])
    return float(high - low)


def _objections(best: _Candidate) -> list[str]:
    """What speaks against one set, at the offset where least does."""
    against = []
    if best.worst_second_deg > _CONTRADICTION_DEG:
        against.append(
            "Even where they fit best, one clip moves while the other holds still: for a second "
            f"the arms are bent {best.worst_second_deg:.0f}° apart."
        )
    if best.moments > _WORST_MOMENTS:
        against.append(
            f"Where they fit best, the reps begin and end {best.moments_s:.2f} s apart; in two "
            f"views of one set that is about {np.mean(MOMENT_SD_S):.2f} s."
        )
    for what, (mean, spread), worst_mean, sd in (
        ("depth", best.depth_deg, _WORST_MEAN_DEPTH_DEG, DEPTH_SD_DEG),
        ("elbow flare", best.flare_deg, _WORST_MEAN_FLARE_DEG, FLARE_SD_DEG),
    ):
        if spread > 2.3 * sd:
            against.append(
                f"The {what} does not change alike from rep to rep: the clips differ by "
                f"{spread:.0f}°, two views of one set by about {sd:.0f}°."
            )
        elif abs(mean) > worst_mean:
            against.append(f"The {what} differs by {abs(mean):.0f}° in every rep.")
    worst = _WORST_FIT if len(best.matches) > 2 else _WORST_FIT_OF_TWO
    if best.fit > worst and not against:
        against.append(
            f"They fit nowhere well: at best the arms are bent {best.curve_deg:.0f}° apart, and "
            f"the reps begin and end {best.moments_s:.2f} s apart."
        )
    return against


def _clockwork(first: Look, second: Look, best: _Candidate) -> bool:
    """Whether the matched reps are so alike that another set at this tempo would fit as well."""
    drives = [first.reps[i].bottom_end_s for i, _ in best.matches]
    even = len(drives) < 3 or float(np.std(np.diff(drives))) < 0.06
    alike = all(
        not np.std(values) > 2 * sd
        for curve, sd in (("elbow_deg", DEPTH_SD_DEG), ("flare_deg", FLARE_SD_DEG))
        for values in [[_at_bottom(first, first.reps[i], curve) for i, _ in best.matches]]
    )
    return even and alike


def _doubt(first: Look, second: Look, best: _Candidate, arms: Arms) -> str:
    """Why another set at this tempo would fit as well; empty where none would."""
    if _clockwork(first, second, best):
        return "reps this even would fit those of another set at this tempo, too"
    if arms != "two" and best.fit > _OTHERS_FIT:
        return "where one arm works at a time, another set at this tempo can fit as closely"
    return ""


def _support(best: _Candidate, rivals: Sequence[_Candidate], doubt: str) -> tuple[str, ...]:
    reps, offset_s = len(best.matches), best.offset_s
    began = "and began together"
    if abs(offset_s) >= _SAME_START_S:
        later = "later" if offset_s > 0 else "earlier"
        began = f"and the second began {abs(offset_s):.1f} s {later}"
    sentences = [
        f"Both clips show the same {reps} reps, {began}."
        if reps > 1
        else f"Both clips show the same rep, {began}."
    ]
    for what, (mean, spread) in (("depth", best.depth_deg), ("elbow flare", best.flare_deg)):
        if np.isfinite(mean) and abs(mean) > _WORTH_SAYING_DEG:
            sentences.append(
                f"The two views read the {what} {abs(mean):.0f}° apart in every rep; the "
                "surer one is shown."
            )
        elif np.isfinite(spread):
            sentences.append(f"The two views agree on the {what} to {max(spread, 1.0):.0f}°.")
    if rivals:
        sentences.append(
            "The reps are so alike that the clips would fit a whole rep earlier or later, too: "
            "they are laid together where most reps are in both. If that is wrong, what only one "
            "view shows stands beside the rep before or after."
        )
    if doubt:
        sentences.append(f"That both clips show one set rests on your word: {doubt}.")
    return tuple(sentences)


def _refused(evidence: tuple[str, ...]) -> Pairing:
    return Pairing(False, 0.5, float("nan"), float("nan"), (), float("nan"), evidence)
