"""A report folder appears whole or not at all, and touches nothing of the user's."""

from __future__ import annotations

from pathlib import Path

import pytest

from formcheck.errors import OutputError
from formcheck.report import folder
from formcheck.report.folder import check_free, made_whole


def test_a_folder_appears_whole(tmp_path: Path) -> None:
    out = tmp_path / "new" / "report"
    with made_whole(out) as scratch:
        (scratch / "report.json").write_text("{}")
        assert not out.exists()
    assert [path.name for path in out.iterdir()] == ["report.json"]
    assert [path.name for path in tmp_path.iterdir()] == ["new"]


def test_a_failure_leaves_everything_as_it_was(tmp_path: Path) -> None:
    out = tmp_path / "report"
    out.mkdir()
    (out / "report.json").write_text("earlier")
    with pytest.raises(UnicodeEncodeError), made_whole(out) as scratch:
        (scratch / "report.json").write_text("\ud800", encoding="utf-8")
    assert (out / "report.json").read_text() == "earlier"
    assert [path.name for path in out.iterdir()] == ["report.json"]


def test_an_earlier_report_goes_whole_and_other_files_stay(tmp_path: Path) -> None:
    out = tmp_path
    for name in ("report.json", "annotated.mp4", "mine.txt"):
        (out / name).write_text("earlier")
    with made_whole(out) as scratch:
        (scratch / "report.json").write_text("new")
    assert (out / "report.json").read_text() == "new"
    assert sorted(path.name for path in out.iterdir()) == ["mine.txt", "report.json"]


def test_an_existing_report_is_not_replaced_unasked(tmp_path: Path) -> None:
    check_free(tmp_path, overwrite=False)
    check_free(tmp_path / "absent", overwrite=False)
    (tmp_path / "reps.csv").touch()
    with pytest.raises(OutputError, match="--overwrite"):
        check_free(tmp_path, overwrite=False)
    check_free(tmp_path, overwrite=True)


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="is a file"):
        check_free(tmp_path / "file", overwrite=True)


def test_a_folder_that_cannot_be_written_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(folder, "mkdtemp", refuse)  # file modes do not bind the root user
    with pytest.raises(OutputError, match="cannot be written"), made_whole(tmp_path / "report"):
        pass
