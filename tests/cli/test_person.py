"""``formcheck person``: what is told of people, in any usual unit, and its erasure."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from formcheck.cli import app
from formcheck.log.enter import Recorded, enter
from formcheck.log.store import find_person, open_log, people, sets_of
from tests.log.made_up import FIRST, write_report


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def run(path: Path, *arguments: object, answer: str = "") -> Result:
    return CliRunner().invoke(
        app, ["person", *map(str, arguments), "--log", str(path)], input=answer
    )


def test_inches_and_pounds_are_kept_as_metres_and_kilograms(path: Path) -> None:
    result = run(path, "set", "ana", "--stature", "5 ft 6 in", "--body-mass", "134 lb",
                 "--on", "2026-03-01", "--upper-arm", "12 in", "--forearm", "24.5")  # fmt: skip
    assert result.exit_code == 0, result.output
    with open_log(path) as log:
        ana = find_person(log, "ana")
    assert ana.stature_m == pytest.approx(1.6764)
    ((day, kg),) = ana.body_mass
    assert (day, round(kg, 2)) == ("2026-03-01", 60.78)
    assert ana.upper_arm_m == pytest.approx(0.3048)
    assert ana.forearm_m == pytest.approx(0.245)
    assert "stature 168 cm" in result.stdout


def test_what_is_not_told_stays_and_body_mass_keeps_its_days(path: Path) -> None:
    run(path, "set", "ana", "--stature", "168", "--body-mass", "61", "--on", "2026-01-05")
    run(path, "set", "Ana", "--body-mass", "60", "--on", "2026-03-01", "--sex", "female")
    with open_log(path) as log:
        (ana,) = people(log)
    assert (ana.name, ana.stature_m, ana.sex) == ("ana", 1.68, "female")
    assert ana.body_mass == (("2026-01-05", 61.0), ("2026-03-01", 60.0))
    assert "body mass 60.0 kg, 2026-03-01" in run(path, "show", "ana").stdout


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (("--stature", "tall"), "178 cm, 1.78 m, 70 in or 5 ft 10 in"),
        (("--stature", "1.78"), "is 2 cm"),
        (("--body-mass", "900"), "is 900 kg"),
        (("--on", "soon", "--body-mass", "80"), "2026-09-01"),
    ],
)
def test_what_cannot_be_meant_is_refused(path: Path, arguments: tuple[str, ...], what: str) -> None:
    result = run(path, "set", "ana", *arguments)
    assert result.exit_code == 2
    assert what in " ".join(result.stderr.replace("│", " ").split())
    assert not path.exists()


@pytest.mark.parametrize("name", ["", "a" * 61, "a\u202eb"])
def test_what_is_no_name_is_refused(path: Path, name: str) -> None:
    result = run(path, "set", name, "--stature", "170")
    assert result.exit_code == 2
    assert "cannot be a person" in result.stderr


def entered(path: Path, folder: Path, person: str, sha256: str) -> None:
    enter(write_report(folder, sha256), person, Recorded(FIRST, "given"), path)


def test_erasing_asks_first_and_no_keeps_everything(path: Path, tmp_path: Path) -> None:
    entered(path, tmp_path / "one", "ana", "a" * 64)
    result = run(path, "erase", "ana", answer="n\n")
    assert result.exit_code == 1
    assert str(tmp_path / "one") in result.stdout
    assert (tmp_path / "one" / "report.json").exists()
    with open_log(path) as log:
        assert len(sets_of(log)) == 1


def test_an_erased_person_is_gone_with_the_reports_and_others_stay(
    path: Path, tmp_path: Path
) -> None:
    entered(path, tmp_path / "one", "ana", "a" * 64)
    entered(path, tmp_path / "two", "ben", "b" * 64)
    result = run(path, "erase", "ANA", "--yes")
    assert result.exit_code == 0, result.output
    assert not (tmp_path / "one").exists()
    assert (tmp_path / "two" / "report.json").exists()
    with open_log(path) as log:
        assert [one.person for one in sets_of(log)] == ["ben"]
        assert [one.name for one in people(log)] == ["ben"]
