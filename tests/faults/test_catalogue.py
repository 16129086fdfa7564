from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from formcheck.faults.catalogue import (
    FaultKind,
    add_fault,
    drop_fault,
    fault_kinds,
    hidden_from,
    keys_weighing,
)
from formcheck.faults.limits import Limit, default_limits
from formcheck.measures.values import rep_values
from formcheck.signals.view import ViewKind

KINDS = list(fault_kinds().values())
LIMIT = Limit(5.0, "deg", "at most", "a test", "made up")


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_all_is_said_of_every_fault(kind: FaultKind) -> None:
    assert all((kind.name, kind.judged, kind.what, kind.why, kind.cue, kind.drill, kind.sign))
    assert kind.measure in rep_values()
    for standard in ("elbow-90", "arm-parallel", "chest-low", "chest-floor"):
        criterion = kind.criterion(standard)
        assert criterion.measure in rep_values()
        held_to_what_is_asked = kind.phase is not None or kind.side == "outside"
        assert criterion.limit in default_limits() or held_to_what_is_asked


def test_no_two_faults_share_a_name_or_a_sign() -> None:
    assert len({kind.name for kind in KINDS}) == len({kind.sign for kind in KINDS}) == len(KINDS)


def test_a_name_is_called_in_the_clip_so_it_is_short() -> None:
    assert max(len(kind.name) for kind in KINDS) <= 22


def test_what_a_view_cannot_judge_says_how_to_film_it() -> None:
    for view in get_args(ViewKind):
        for key, reason in hidden_from(view).items():
            assert "film" in reason, (view, key)
            assert fault_kinds()[key].film is not None


def test_a_body_line_is_never_judged_from_the_front_nor_hands_from_the_side() -> None:
    assert {"hip_sag", "hip_pike"} <= hidden_from("front").keys()
    assert {"hand_spacing", "uneven_arms"} <= hidden_from("side").keys()


def test_only_range_and_line_hold_a_step_up_back() -> None:
    assert keys_weighing("range") == {"failed", "aborted", "shallow", "soft_lockout"}
    assert keys_weighing("line") == {"hip_sag", "hip_pike", "hips_late"}
    assert not keys_weighing("range", "line") & {k.key for k in KINDS if k.phase is not None}


def test_a_fault_from_outside_joins_the_catalogue_with_its_limit_and_leaves_with_it() -> None:
    twist = replace(fault_kinds()["hip_sag"], key="twist", limit="")
    add_fault(twist, LIMIT)
    try:
        assert fault_kinds()["twist"] == twist and list(fault_kinds())[-1] == "twist"
        assert default_limits()["twist"] == LIMIT
        with pytest.raises(ValueError, match="already"):
            add_fault(twist)
    finally:
        drop_fault("twist")
    assert "twist" not in fault_kinds() and "twist" not in default_limits()


def test_a_fault_that_nothing_measures_or_limits_is_refused() -> None:
    twist = replace(fault_kinds()["hip_sag"], key="twist", limit="")
    with pytest.raises(ValueError, match="not measured"):
        add_fault(replace(twist, measure="twist_deg"), LIMIT)
    with pytest.raises(ValueError, match="without a limit"):
        add_fault(twist)
    assert "twist" not in fault_kinds()
