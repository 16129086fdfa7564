"""Every notebook runs from top to bottom, and is kept without outputs."""

from __future__ import annotations

from pathlib import Path

import pytest

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MPLBACKEND", "agg")
    notebook = nbformat.read(path, as_version=4)
    nbclient.NotebookClient(
        notebook, timeout=120, resources={"metadata": {"path": str(FOLDER)}}
    ).execute()


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_carries_no_outputs(path: Path) -> None:
    for cell in nbformat.read(path, as_version=4).cells:
        assert not cell.get("outputs") and not cell.get("execution_count")
