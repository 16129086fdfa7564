"""The report contract: one judged set as plain JSON data that meets its schema."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from formcheck.advice.ladder import nearest_rung
from formcheck.advice.step import NextStep
from formcheck.analysis import Analysis, RepResult
from formcheck.errors import FormcheckError
from formcheck.faults.limit_sets import in_force
from formcheck.faults.rules import Fault
from formcheck.maths.quantity import Quantity
from formcheck.measures.values import rep_values
from formcheck.pose.track import Side
from formcheck.report.advice_words import caution_words, variation_words, why_words
from formcheck.report.schema import schema
from formcheck.report.weeks import Weeks
from formcheck.report.words import disagreement_text
from formcheck.reps.look import Look

SCHEMA_NAME = "formcheck.report/1"
NO_REMARKS: Mapping[int, str] = MappingProxyType({})


@dataclass(frozen=True)
class HowAnnotated:
    """How an annotated clip was drawn. ``sources`` where its clips lay, from the report's folder;
    None where a clip is shown under another name, which the path would tell."""

    faces_blurred: bool
    sources: tuple[str | None, ...]

    def field(self) -> dict[str, Any]:
        """As ``report.json`` has it."""
        return {
            "faces_blurred": self.faces_blurred,
            "sources": [{"path": path} for path in self.sources],
        }


class ContractError(FormcheckError):
    """A report does not meet its schema."""


def report_dict(
    analysis: Analysis,
    weeks: Weeks | None = None,
    note: str = "",
    remarks: Mapping[int, str] = NO_REMARKS,
    annotated: HowAnnotated | None = None,
) -> dict[str, Any]:
    """The set as the contract's JSON object: seconds, degrees, shares; null where unmeasured.

    ``note`` is the user's remark on the set, ``remarks`` those beside reps, by index;
    ``annotated`` how its annotated clip was drawn, where it has one.
    Every measured value ``NAME`` is followed by ``NAME_plus_minus``, the half-width of its
    95 % interval in the same unit; ``not_measured`` of a rep gives the reasons for the nulls.
    """
    summary = analysis.summary
    return {
        "schema": SCHEMA_NAME,
        "clips": [_clip(view) for view in analysis.looks],
        "prescription": _prescription(analysis),
        "variation": _variation(analysis),
        "reps": [
            _rep(result, dict(enumerate(analysis.variation.arm_work.working, 1)).get(i))
            for i, result in enumerate(analysis.reps, 1)
        ],
        "faults": [_fault(fault) for fault in analysis.faults],
        "not_judged": [{"key": n.key, "reason": n.reason} for n in analysis.not_judged],
        "set": {
            "attempts": summary.attempts,
            "counted": summary.counted,
            "clean": summary.clean,
            "unclear": summary.unclear,
            "time_under_tension_s": _number(summary.time_under_tension_s),
            "pace_per_min": _number(summary.pace_per_min),
            "speed_loss_percent": _number(summary.speed_loss_percent),
            "range_loss_deg": _number(summary.range_loss_deg),
            "first_breakdown_rep": summary.first_breakdown_rep,
            "own_line_deg": _number(analysis.line.own.measured_deg),
            "speed_unit": analysis.speed_unit,
            "tempo": _tempo(analysis),
            "test": _test(analysis),
            "left": _side(analysis, "left"),
            "right": _side(analysis, "right"),
        },
        "limits_in_force": in_force(analysis.limits, analysis.prescription.standard).name,
        "limits": {key: _number(limit.value) for key, limit in analysis.limits.items()},
        "next_step": _next_step(analysis.next_step),
        "pairing": _pairing(analysis),
        "notes": [*analysis.notes, *(n for v in analysis.looks for n in v.track.notes)],
        "note": note,
        "remarks": remarks_field(remarks),
        "annotated": None if annotated is None else annotated.field(),
        **(weeks.fields() if weeks else {}),
    }


def remarks_field(remarks: Mapping[int, str]) -> list[dict[str, Any]]:
    """Remarks beside reps as ``report.json`` has them."""
    return [{"rep": rep, "says": remarks[rep]} for rep in sorted(remarks)]


def check(report: dict[str, Any]) -> None:
    """Raise ContractError where the report breaks the contract.

    A report is checked before it is written, since values and faults may come from outside, and
    since the folder is what logs and summaries are made from later.
    """
    broken = best_match(Draft202012Validator(schema()).iter_errors(report))
    if broken is not None:
        place = "/".join(map(str, broken.absolute_path)) or "the report"
        raise ContractError(f"report.json breaks its contract at {place}: {broken.message}.")


def _number(value: float | None, digits: int = 6) -> float | None:
    return round(float(value), digits) if value is not None and math.isfinite(value) else None


def _clip(view: Look) -> dict[str, Any]:
    track = view.track
    return {
        "file": track.source_name,
        "sha256": track.source_sha256,
        "view": view.view.kind,
        "near_side": view.view.near_side,
        "yaw_deg": _number(view.view.yaw_deg, 1),
        "view_stated": view.view.stated,
        "offset_s": _number(view.offset_s),
        "duration_s": _number(track.duration_s),
        "fps": _number(track.fps),
        "width": track.width,
        "height": track.height,
        "frames": track.frames,
        "frames_with_pose": track.frames_with_pose,
        "pose_frames": len(track.t_s),
        "model": track.model_name,
        "model_sha256": track.model_sha256,
    }


def _prescription(analysis: Analysis) -> dict[str, Any]:
    asked = {**vars(analysis.prescription), **vars(analysis.person)}
    hip = asked.pop("hip_offset")
    asked["hip_offset_share"] = _number(hip.share) if hip else None
    asked["hip_offset_share_plus_minus"] = _number(hip.plus_minus) if hip else None
    asked["tempo"] = str(asked["tempo"]) if asked["tempo"] is not None else None
    if asked["rep_range"] is not None:
        asked["rep_range"] = "{}-{}".format(*asked["rep_range"])
    return asked


def _next_step(step: NextStep) -> dict[str, Any]:
    return {
        "direction": step.direction,
        "variation": variation_words(step),
        "change": step.move.kind,
        "load_change_percent": _number(step.load_change_percent),
        "surface_end": step.surface_end,
        "surface_change_cm": _number(step.surface_change_cm),
        "added_load_change_kg": _number(step.added_load_change_kg),
        "why": list(why_words(step)),
        "codes": [reason.code for reason in step.why],
        "cautions": list(caution_words(step)),
    }


def _tempo(analysis: Analysis) -> dict[str, Any]:
    """Every phase over the set: asked, done, how steadily."""
    asked = analysis.prescription.tempo
    return {
        phase: {
            "asked_s": getattr(asked, phase, None),
            "done_s": _number(kept.done_s),
            "from_s": _number(kept.from_s),
            "to_s": _number(kept.to_s),
            "reps": kept.reps,
        }
        for phase, kept in analysis.summary.tempo_kept.items()
    }


def _side(analysis: Analysis, side: Side) -> dict[str, Any] | None:
    """What one arm did, where one arm worked at a time."""
    kept = analysis.summary.sides.get(side)
    if kept is None:
        return None
    return {**vars(kept), "elbow_bottom_deg": _number(kept.elbow_bottom_deg)}


def _test(analysis: Analysis) -> dict[str, Any] | None:
    """How the named test went."""
    test = analysis.test
    if test is None:
        return None
    return {
        "standard": test.standard.key,
        "name": test.standard.name,
        "year": test.standard.year,
        "source": test.standard.source,
        "superseded": test.standard.superseded or None,
        "not_seen": test.standard.not_seen or None,
        "score": test.score,
        "ended_by": test.ended_by,
        "ended_at_rep": test.ended_at_rep,
    }


def _variation(analysis: Analysis) -> dict[str, Any]:
    variation = analysis.variation
    return {
        "support": variation.support,
        "surface": variation.surface,
        **_measured("inclination_deg", variation.inclination_deg),
        "hands": variation.hands,
        "arms": variation.arms,
        **_measured("surface_height_arm_lengths", variation.surface_height),
        "surface_height_cm": _number(variation.surface_height_cm),
        "rung": rung.key if (rung := nearest_rung(analysis.next_step.exercise)) else None,
        "working_arms": [side for side in variation.arm_work.working if side],
        "pattern": variation.arm_work.pattern,
        **_measured("assisting_reach_arm_lengths", variation.arm_work.assisting_reach),
        "holds": list(variation.holds),
        "support_hold": _support_hold(analysis),
        "declared": dict(variation.declared),
        "camera_roll_deg": _number(variation.slope_deg, 2),
        "confidence": {key: _number(value) for key, value in variation.confidence.items()},
        "disagreements": [disagreement_text(d) for d in variation.disagreements],
    }


def _support_hold(analysis: Analysis) -> dict[str, Any] | None:
    hold, broken = analysis.hold, analysis.hold_verdict
    if hold is None:
        return None
    return {
        "start_s": _number(hold.start_s),
        "held_s": _number(hold.held_s),
        **_measured("line_deg", hold.line_deg),
        "drift_deg_per_min": _number(hold.drift_deg_per_min),
        "broke_at_s": _number(broken.broke_at_s),
        "unclear_at_s": _number(broken.unclear_at_s),
    }


def _pairing(analysis: Analysis) -> dict[str, Any] | None:
    """How the two views were joined: seconds of the second clip's zero on the first's clock."""
    paired = analysis.pairing
    if paired is None:
        return None
    return {
        "offset_s": _number(paired.offset_s),
        "offset_s_plus_minus": _number(paired.plus_minus_s),
        "matched_reps": len(paired.matches),
        "sure": _number(paired.sure, 2),
        "evidence": list(paired.evidence),
    }


def _measured(name: str, quantity: Quantity | None) -> dict[str, float | None]:
    if quantity is None or not quantity.known:
        return {name: None}
    return {name: _number(quantity.value), f"{name}_plus_minus": _number(quantity.plus_minus)}


def _rep(result: RepResult, working: Side | None) -> dict[str, Any]:
    rep, values = result.rep, result.values
    measured: dict[str, float | None] = {}
    for name in rep_values():
        measured |= _measured(name, values.get(name))
    return {
        "index": rep.index,
        "attempt": result.attempt,
        "working_arm": working,
        "why_not_counted": result.why_not_counted,
        "corrections": list(result.corrections),
        "start_s": _number(rep.start_s),
        "bottom_start_s": _number(rep.bottom_start_s),
        "bottom_s": _number(rep.bottom_s),
        "bottom_end_s": _number(rep.bottom_end_s),
        "top_s": None if rep.failed else _number(rep.top_s),
        "end_s": _number(rep.end_s),
        **measured,
        "not_measured": {
            name: quantity.reason
            for name, quantity in values.items()
            if not quantity.known and quantity.reason
        },
        "faults": _keys(result.faults, "fault"),
        "borderline": _keys(result.faults, "borderline"),
    }


def _keys(faults: tuple[Fault, ...], verdict: str) -> list[str]:
    return list(dict.fromkeys(fault.key for fault in faults if fault.verdict == verdict))


def _fault(fault: Fault) -> dict[str, Any]:
    return {
        "rep": fault.rep,
        "key": fault.key,
        "at_s": _number(fault.at_s),
        "value": _number(fault.value),
        "uncertainty": _number(fault.uncertainty),
        "limit": _number(fault.limit),
        "unit": fault.unit,
        "verdict": fault.verdict,
        "view": fault.view,
    }
