from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from formcheck.asked.prescription import Prescription
from formcheck.batch.roster import Roster, RosterError, read_roster, write_roster
from formcheck.errors import OutputError
from tests.batch.folders import clip_file

CLIPS = [clip_file(p) for p in ("anna/mon/a.mp4", "anna/tue/b.mp4", "bo/c.mp4", "d.mp4")]


def roster(folder: Path, text: str, name: str = "roster.csv") -> Roster:
    (folder / name).write_text(text, encoding="utf-8")
    return read_roster(folder / name, CLIPS)


def test_the_nearest_row_wins_field_by_field(tmp_path: Path) -> None:
    read = roster(
        tmp_path,
        "clip,folder,person,tempo,target_reps,body_mass_kg\n"
        ",,anna,3-1-X-1,10,61.5\n"
        ",anna/mon,,2-0-2-0,8,\n"
        "anna/mon/a.mp4,,,,6,\n",
    )
    told = read.told(CLIPS[0], Prescription())
    assert (told.name, str(told.prescription.tempo), told.prescription.target_reps) == (
        "anna", "2-0-2-0", 6,
    )  # fmt: skip
    assert told.person.body_mass_kg == 61.5
    other = read.told(CLIPS[1], Prescription())
    assert (str(other.prescription.tempo), other.prescription.target_reps) == ("3-1-X-1", 10)


def test_without_a_roster_the_first_folder_is_the_person_and_defaults_serve() -> None:
    asked = Prescription(target_reps=12)
    assert Roster().told(CLIPS[0], asked).name == "anna"
    assert Roster().told(CLIPS[3], asked).name is None
    assert Roster().told(CLIPS[0], asked).prescription == asked


def test_a_row_names_the_person_of_a_clip(tmp_path: Path) -> None:
    read = roster(tmp_path, "clip,person,stature_m\nd.mp4,Dora,\n,Dora,1.70\n")
    told = read.told(CLIPS[3], Prescription())
    assert told.name == "Dora" and told.person.stature_m == 1.70


def test_csv_with_semicolons_and_commas_in_numbers_is_read(tmp_path: Path) -> None:
    read = roster(tmp_path, "\ufeffperson;stature_m;rings\r\nbo;1,82;yes\r\n")
    told = read.told(CLIPS[2], Prescription())
    assert told.person.stature_m == 1.82 and told.prescription.rings


def test_toml_says_the_same(tmp_path: Path) -> None:
    read = roster(
        tmp_path,
        '[person.bo]\nstature_m = 1.82\nrings = true\n[clip."bo/c.mp4"]\ntempo = "21X1"\n',
        "roster.toml",
    )
    told = read.told(CLIPS[2], Prescription())
    assert told.person.stature_m == 1.82 and told.prescription.rings
    assert str(told.prescription.tempo) == "2-1-X-1"


def test_a_workbook_says_the_same(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["person", "stature_m", "target_reps"], ["bo", 1.82, 12.0]):
        book.active.append(row)
    book.save(tmp_path / "roster.xlsx")
    told = read_roster(tmp_path / "roster.xlsx", CLIPS).told(CLIPS[2], Prescription())
    assert told.person.stature_m == 1.82 and told.prescription.target_reps == 12


def test_which_arm_worked_goes_with_the_arms_of_its_own_row(tmp_path: Path) -> None:
    read = roster(
        tmp_path,
        "clip,person,arms,working_arm\n,anna,one,left\nanna/tue/b.mp4,,archer,\n,bo,,\n",
    )
    asked = Prescription(arms="archer", working_arm="right")
    told = [read.told(clip, asked).prescription for clip in CLIPS]
    assert [(one.arms, one.working_arm) for one in told] == [
        ("one", "left"), ("archer", None), ("archer", "right"), ("archer", "right"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("person,arms\nbo,both\n", "row 2: arms cannot be “both”; give two, archer, one"),
        ("person,working_arm\nbo,left\n", "row 2: a working arm needs arms, archer or one"),
        ("person,arms,working_arm\nbo,two,left\n", "row 2: a working arm needs arms, archer"),
        ("person,shoe_size\nbo,44\n", "row 1: there is no column “shoe_size”"),
        ("person,tempo,tempo\nbo,21X1,\n", "row 1: the column “tempo” stands there twice"),
        ("person,tempo\nbo,quick\n", "row 2: tempo cannot be “quick”"),
        ("person,stature_m\nbo,182\n", "row 2: stature_m cannot be “182”; give a number, 0.5"),
        ("person,target_reps\nbo,2.5\n", "row 2: target_reps cannot be “2.5”; give a whole"),
        ("person,hands\nbo,apart\n", "row 2: hands cannot be “apart”; give diamond, close"),
        ("person,rings\nbo,perhaps\n", "row 2: rings cannot be “perhaps”; give yes or no"),
        ("person,rep_range\nbo,12-8\n", "row 2: rep_range cannot be “12-8”"),
        ("person,body_mass_kg\nbo,nan\n", "row 2: body_mass_kg cannot be “nan”"),
        ("person,tempo\nbo,21X1\nbo,31X1\n", "row 3: the person “bo” stands in row 2 already"),
        ("clip,tempo\nx.mp4,21X1\n", "row 2: there is no clip “x.mp4”"),
        ("folder,tempo\nwed,21X1\n", "row 2: there is no folder “wed”"),
        ("clip,tempo\n,21X1\n", "row 2: give a clip, a folder or a person"),
        ("clip,folder\nd.mp4,bo\n", "row 2: give a clip or a folder, not both"),
        ("person,tempo\nbo,21X1,7\n", "row 2: there are more cells than columns"),
    ],
)
def test_each_mistake_is_told_with_its_row(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(RosterError) as refused:
        roster(tmp_path, text)
    assert said in str(refused.value) and str(refused.value).count("\n") == 0


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(RosterError) as refused:
        roster(tmp_path, "person,tempo,hands\nbo,quick,apart\nbo,21X1,wide\n")
    assert len(str(refused.value).splitlines()) == 3


def test_rows_about_clips_still_to_come_are_no_mistake_while_watching(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text("clip,tempo\nlater.mp4,21X1\n")
    assert len(read_roster(tmp_path / "r.csv").rows) == 1


@pytest.mark.parametrize("kind", ["csv", "xlsx", "toml"])
def test_a_roster_written_to_fill_in_reads_back(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"roster.{kind}"
    write_roster(path, [(clip, clip.place.split("/")[0], "1") for clip in CLIPS[:2]])
    told = read_roster(path, CLIPS).told(CLIPS[0], Prescription())
    assert (told.name, told.set) == ("anna", "1")
    with pytest.raises(OutputError, match="there already"):
        write_roster(path, [])


def test_a_file_name_is_no_formula_in_a_written_roster(tmp_path: Path) -> None:
    evil = clip_file("=HYPERLINK.mp4")
    write_roster(tmp_path / "r.csv", [(evil, None, None)])
    assert "\n=" not in (tmp_path / "r.csv").read_text(encoding="utf-8-sig")
    assert read_roster(tmp_path / "r.csv", [evil]).rows[0].of == evil.place


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".toml"])
def test_no_name_of_a_folder_is_a_formula_in_a_roster_and_each_comes_back_as_it_was(
    suffix: str, tmp_path: Path
) -> None:
    names = ["=1+1", "+1", "-1", "@a", "'=1", "plain"]
    clips = [clip_file(f"{name}/a.mp4") for name in names]
    path = tmp_path / f"roster{suffix}"
    write_roster(path, [(clip, name, name) for clip, name in zip(clips, names, strict=True)])
    told = [read_roster(path, clips).told(clip, Prescription()) for clip in clips]
    assert [(one.name, one.set) for one in told] == [(name, name) for name in names]
    if suffix == ".xlsx":
        cells = [cell for row in openpyxl.load_workbook(path)["roster"].iter_rows() for cell in row]
        assert not [cell.value for cell in cells if cell.data_type == "f"]
    if suffix == ".csv":
        every = path.read_text(encoding="utf-8-sig").replace("\n", ",").split(",")
        assert not [cell for cell in every if cell.startswith(("=", "+", "-", "@"))]
