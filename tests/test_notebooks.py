"""Every notebook runs from top to bottom within a minute, by the public names only."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import formcheck

pytestmark = pytest.mark.slow

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
ROOT = Path(__file__).parents[1]
MOST_S = 60.0  # of the kernel's own time, the fits that it was spared included
BEFORE = f"import sys; sys.path.insert(0, {str(ROOT)!r})\nfrom tests import solved\n"
BEFORE += "spared = solved.remember(solved.Path(solved.os.environ[solved.FOLDER]))"
AFTER = "print(solved.time.process_time() + spared.saved_s)"


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) == 4


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs_within_a_minute(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MPLBACKEND", "agg")
    notebook = nbformat.read(path, as_version=4)
    notebook.cells.insert(0, nbformat.v4.new_code_cell(BEFORE))
    notebook.cells.append(nbformat.v4.new_code_cell(AFTER))
    nbclient.NotebookClient(
        notebook, timeout=300, resources={"metadata": {"path": str(FOLDER)}}
    ).execute()
    assert float(notebook.cells[-1].outputs[0]["text"]) < MOST_S


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_uses_public_names_only(path: Path) -> None:
    code = "\n".join(
        cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"
    )
    assert not re.search(r"from (formcheck|tests)[. ]", code)
    assert set(re.findall(r"\bformcheck\.(\w+)", code)) <= set(formcheck.__all__)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_carries_no_outputs(path: Path) -> None:
    for cell in nbformat.read(path, as_version=4).cells:
        assert not cell.get("outputs") and not cell.get("execution_count")
