"""The wheel alone, away from the repository, does everything; what it says is there, is there."""

from __future__ import annotations

import ast
import os
import re
import signal
import subprocess
import sys
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "formcheck"
# What a repository has and a wheel has not.
ONLY_IN_THE_REPOSITORY = re.compile(
    r"(README|DEVELOPERS|SECURITY|CONTRIBUTING)\.md|(models|notebooks|tests|sample_clips)/|\.ci\b"
)
MODELS = "models/README.md"  # which a wheel has


class Installed:
    """The package installed in a folder of its own, and a place to work that knows no other."""

    def __init__(self, folder: Path) -> None:
        self.package, self.work = folder / "installed", folder / "work"
        self.work.mkdir()
        self.environment = {
            **{name: value for name, value in os.environ.items() if name != "PYTHONSTARTUP"},
            "PYTHONPATH": str(self.package),
            "PYTHONSAFEPATH": "1",
            "XDG_CACHE_HOME": str(folder / "cache"),
            "XDG_DATA_HOME": str(folder / "data"),
        }
        self.command = self.package / "bin" / "formcheck"

    def run(self, *arguments: str) -> str:
        done = subprocess.run(
            [self.command, *arguments], capture_output=True, text=True, check=False,
            cwd=self.work, env=self.environment,
        )  # fmt: skip
        assert done.returncode == 0, (arguments, done.stdout, done.stderr)
        return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from the source distribution, which is built from here."""
    out = tmp_path_factory.mktemp("dist")
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", out, ROOT],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    return next(out.glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("elsewhere")
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target",
         folder / "installed", wheel],
        check=True,
    )  # fmt: skip
    return Installed(folder)


@pytest.mark.slow
def test_the_wheel_does_everything_without_the_repository(installed: Installed) -> None:
    where = "import formcheck; print(formcheck.__file__)"
    told = subprocess.run(
        [sys.executable, "-c", where], env=installed.environment, cwd=installed.work,
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert told.stdout.startswith(str(installed.package))

    said = installed.run("demo", "--no-open")
    assert "6 counted" in said and "hips sag (reps 5, 6)" in said
    page = installed.work / "formcheck_demo" / "report.html"
    assert page.is_file() and str(page.relative_to(installed.work)) in said
    assert (page.parent / "annotated.mp4").stat().st_size > 50_000

    clips = installed.work / "clips" / "ana"
    clips.mkdir(parents=True)
    track = page.parent / "landmarks.parquet"
    sample = next(installed.package.glob("formcheck/sample_clips/*.mp4"))
    (clips / "monday.mp4").write_bytes(sample.read_bytes())

    installed.run("set", str(track), "--out", "again", "--person", "ana", "--tempo", "2-0-1-0")
    assert "ana" in installed.run("log", "show")
    installed.run("batch", "clips", "--out", "reports", "--no-drawing", "--workers", "1")
    assert (installed.work / "reports" / "summary.html").is_file()
    assert "shallow" in installed.run("limits")


@pytest.mark.slow
def test_the_wheel_opens_the_desk(installed: Installed) -> None:
    desk = subprocess.Popen(
        [installed.command, "desk", "--no-open", "--port", "0", "--folder", "desk"],
        cwd=installed.work, env=installed.environment, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert desk.stdout is not None
        address = desk.stdout.readline().split()[-1]
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        page = opener.open(address, timeout=20).read().decode()
        assert "formcheck" in page and "<form" in page
    finally:
        desk.send_signal(signal.SIGINT)
        assert desk.wait(20) in (0, 128 + signal.SIGINT)


@pytest.mark.slow
def test_the_wheel_holds_what_ships_and_nothing_of_the_workshop(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as opened:
        names = opened.namelist()
    assert {
        "formcheck/models/pose_heavy.task",
        "formcheck/sample_clips/hip_sag_side.mp4",
        "formcheck/report/page/templates/report.html.j2",
        "formcheck/py.typed",
    } <= set(names)
    assert not [name for name in names if re.match(r"(tests|notebooks|\.ci|models)/", name)]


def messages() -> Iterator[tuple[str, str]]:
    """Each text in the package's code that a user may be shown, with its place."""
    for path in PACKAGE.rglob("*.py"):
        if "docs" in path.relative_to(PACKAGE).parts:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        documents = {
            id(node.body[0].value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            and node.body
            and isinstance(node.body[0], ast.Expr)
        }
        for node in ast.walk(tree):
            if (
                isinstance(node, ast.Constant)
                and isinstance(node.value, str)
                and id(node) not in documents
            ):
                yield f"{path.relative_to(ROOT)}:{node.lineno}", node.value
    for path in PACKAGE.rglob("*.j2"):
        yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")


def test_no_message_points_at_what_wheels_lack() -> None:
    said = list(messages())
    assert len(said) > 1000
    assert [
        (place, text)
        for place, text in said
        if ONLY_IN_THE_REPOSITORY.search(text.replace(MODELS, ""))
    ] == []
