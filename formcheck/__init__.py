"""Push-up form, measured from video.

The names below are the public ones; each is imported when first used, so that asking for help
on the command line does not load scientific libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from formcheck.analysis import Analysis, analyse, rejudge
    from formcheck.asked.prescription import Prescription
    from formcheck.asked.tempo import parse_tempo
    from formcheck.clip.read import probe
    from formcheck.faults.limits import default_limits, read_limits, with_values
    from formcheck.pose.landmarker import find_pose
    from formcheck.pose.store import read_track, write_track
    from formcheck.report.contract import report_dict

_HOMES = {
    "Analysis": "formcheck.analysis",
    "Prescription": "formcheck.asked.prescription",
    "analyse": "formcheck.analysis",
    "default_limits": "formcheck.faults.limits",
    "find_pose": "formcheck.pose.landmarker",
    "parse_tempo": "formcheck.asked.tempo",
    "probe": "formcheck.clip.read",
    "read_limits": "formcheck.faults.limits",
    "read_track": "formcheck.pose.store",
    "rejudge": "formcheck.analysis",
    "report_dict": "formcheck.report.contract",
    "with_values": "formcheck.faults.limits",
    "write_track": "formcheck.pose.store",
}

__all__ = [
    "Analysis",
    "Prescription",
    "analyse",
    "default_limits",
    "find_pose",
    "parse_tempo",
    "probe",
    "read_limits",
    "read_track",
    "rejudge",
    "report_dict",
    "with_values",
    "write_track",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'formcheck' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
