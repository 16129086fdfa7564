"""The limits file: documented numbers, and a user's own over them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from formcheck.errors import Exit
from formcheck.faults.limits import (
    LimitsError,
    default_limits,
    parse_limits,
    read_limits,
    with_values,
)

# What the report contract and the rules name; defaults are common practice unless the file says.
DEFAULTS = {
    "shallow": 90.0,
    "soft_lockout": 160.0,
    "hip_sag": 12.0,
    "hip_pike": -15.0,
    "elbow_flare": 70.0,
    "tempo_tolerance": 0.3,
    "tempo_tolerance_share": 0.25,
    "slow_concentric": math.inf,  # X has no number: no ceiling until one is set
}


def complaint(path: Path) -> str:
    with pytest.raises(LimitsError) as caught:
        read_limits(path)
    assert caught.value.exit_code == Exit.USAGE
    said = str(caught.value)
    assert "\n" not in said and said.endswith(".") and path.name in said
    return said


def written(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("key", default_limits())
def test_every_limit_says_its_unit_meaning_reason_and_source(key: str) -> None:
    limit = default_limits()[key]
    for text in (limit.unit, limit.meaning, limit.reason, limit.source):
        assert isinstance(text, str) and text.strip()
    assert isinstance(limit.value, float)


@pytest.mark.parametrize(("key", "value"), DEFAULTS.items())
def test_limits_start_from_the_common_practice_they_state(key: str, value: float) -> None:
    assert default_limits()[key].value == value


def test_a_depth_of_90_degrees_names_the_test_that_asks_for_it() -> None:
    """AFI 36-2905, A7.1.10: upper arm at least parallel to the floor, elbows bent at 90."""
    assert "36-2905" in default_limits()["shallow"].source


@pytest.mark.parametrize("key", ["soft_lockout", "hip_sag", "hip_pike"])
def test_angles_that_no_standard_gives_are_called_common_practice(key: str) -> None:
    assert default_limits()[key].source == "common practice"


def test_without_a_file_the_limits_are_the_shipped_ones() -> None:
    assert read_limits(None) == default_limits()


def test_a_users_value_wins_and_keeps_its_unit_and_the_others(tmp_path: Path) -> None:
    limits = read_limits(written(tmp_path, "[hip_sag]\nvalue = 8\n\n[shallow]\nvalue = 95.5\n"))
    assert limits["hip_sag"] == replace(default_limits()["hip_sag"], value=8.0)
    assert limits["shallow"].value == 95.5
    rest = set(default_limits()) - {"hip_sag", "shallow"}
    assert all(limits[key] == default_limits()[key] for key in rest)


def test_a_bare_number_is_enough(tmp_path: Path) -> None:
    assert read_limits(written(tmp_path, "hip_sag = 9\n"))["hip_sag"].value == 9.0


def test_an_empty_file_changes_nothing(tmp_path: Path) -> None:
    assert read_limits(written(tmp_path, "# nothing yet\n")) == default_limits()


def test_an_unknown_key_is_named_with_the_ones_there_are(tmp_path: Path) -> None:
    said = complaint(written(tmp_path, "[hip_sagg]\nvalue = 8\n"))
    assert "hip_sagg" in said and "hip_sag," in said


@pytest.mark.parametrize(
    "entry",
    [
        "value = 'deep'",
        "value = true",
        "value = [90]",
        "reason = 'mine'",
        "value = nan",
        "value = inf",
    ],
)
def test_a_value_that_is_no_number_is_asked_for_in_its_unit(tmp_path: Path, entry: str) -> None:
    said = complaint(written(tmp_path, f"[shallow]\n{entry}\n"))
    assert "[shallow]" in said and "deg" in said


@pytest.mark.parametrize("text", ["[shallow\nvalue = 90", "shallow: 90", "[shallow]\nvalue = 9 0"])
def test_broken_toml_is_told_where_and_what_to_start_from(tmp_path: Path, text: str) -> None:
    said = complaint(written(tmp_path, text))
    assert "line" in said and "formcheck limits" in said


def test_a_file_that_is_not_text_is_no_limits_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    assert "not a limits file" in complaint(path)


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("hip_sag = 1e308", "between 1 and 45 deg"),
        ("hip_sag = -5", "between 1 and 45 deg"),
        ("hip_pike = 15", "between -60 and -1 deg"),
        ("slow_concentric = 0.1", "between 0.2 and inf s"),
        ("aborted = 101", "between 10 and 95"),
        (f"shallow = {'9' * 400}", "needs a number"),
    ],
)
def test_a_limit_no_body_could_meet_is_refused(tmp_path: Path, text: str, asked: str) -> None:
    assert asked in complaint(written(tmp_path, text))


def test_every_limit_as_shipped_is_possible(tmp_path: Path) -> None:
    text = "\n".join(f"{key} = {limit.value}" for key, limit in default_limits().items())
    assert read_limits(written(tmp_path, text)) == default_limits()


@pytest.mark.parametrize("text", ["[" * 5000, "shallow = " + "[" * 5000, "a." * 5000 + "b = 1"])
def test_nesting_without_end_is_no_limits_file(tmp_path: Path, text: str) -> None:
    complaint(written(tmp_path, text))


def test_no_sign_of_a_limits_file_moves_the_terminals_cursor(tmp_path: Path) -> None:
    said = complaint(written(tmp_path, '"\\u001b[2Jgone" = 1\n'))
    assert "\x1b" not in said and "⟨U+001B⟩[2Jgone" in said


def test_only_a_file_of_a_limits_files_size_is_read(tmp_path: Path) -> None:
    assert "device" in complaint(Path("/dev/zero"))
    assert "at most" in complaint(written(tmp_path, "#" * 1_000_001))


def test_a_missing_file_and_a_folder_cannot_be_read(tmp_path: Path) -> None:
    assert "No such file" in complaint(tmp_path / "nowhere.toml")
    assert "cannot be read" in complaint(tmp_path)


def test_changing_a_limit_leaves_the_shipped_ones_alone() -> None:
    before = default_limits()["shallow"].value
    assert with_values(default_limits(), {"shallow": 110})["shallow"].value == 110.0
    assert default_limits()["shallow"].value == before
    with pytest.raises(TypeError):
        default_limits()["shallow"] = default_limits()["hip_sag"]  # type: ignore[index]


def test_a_limit_that_does_not_exist_cannot_be_changed() -> None:
    with pytest.raises(KeyError, match="hip_sagg"):
        with_values(default_limits(), {"hip_sagg": 8.0})


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("hip_sag = 9\nhip_sagg = 9\n", 2, "hip_sagg"),
        ("[hip_sag]\nvalue = 9\n[shallow]\nunit = 'rad'\nvalue = 90\n", 4, "is in deg, not in"),
        ("\n[hip_sag]\n\nvalue = 900\n", 4, "between 1 and 45"),
        ("[hip_sag]\nvalues = 9\nvalue = 9\n", 2, "no “values”"),
        ("[hip_sag]\nreason = 'mine'\n", 1, "needs a number"),
        ("[hip_sag]\nvalue = 9 0\n", 2, "not a limits file"),
        ("tempo_tolerance = -0.3\n", 1, "must lie between"),
        ("shallow = 1e308\n", 1, "must lie between"),
    ],
)
def test_a_problem_is_told_with_its_line(text: str, line: int, words: str) -> None:
    _, problems = parse_limits(text)
    assert [problem.line for problem in problems] == [line]
    assert words in problems[0].says


def test_the_first_problem_is_told_and_how_many_more_there_are(tmp_path: Path) -> None:
    said = complaint(written(tmp_path, "nothing = 1\nhip_sag = 900\nshallow = 'deep'\n"))
    assert "line 1" in said and "2 more problems" in said


def test_a_users_own_reason_and_source_stay_with_the_value(tmp_path: Path) -> None:
    mine = read_limits(
        written(tmp_path, "[hip_sag]\nvalue = 9\nreason = 'our club'\nsource = 'meeting'\n")
    )["hip_sag"]
    assert (mine.reason, mine.source, mine.value) == ("our club", "meeting", 9.0)


@pytest.mark.parametrize("key", default_limits())
def test_a_shipped_limit_lies_well_within_what_makes_sense(key: str) -> None:
    limit = default_limits()[key]
    assert limit.lowest < limit.value
    assert limit.value < limit.highest or math.isinf(limit.value)  # no limit is one, too
