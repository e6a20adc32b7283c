"""The template out, filled, and in again; and what becomes of files that are no workbook."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from openpyxl import load_workbook

from readiness.actions.reference import load_fuels
from readiness.models import Container, Fuel, Holding, Movement, Station
from readiness.workbooks.sheets import BY_KEY, SHEETS
from readiness.workbooks.template import write_rows
from tests.actions.small_department import every_row, small
from tests.cast import SIX, DepartmentFactory
from tests.commands.calling import failed, refused, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def file(tmp_path: Path) -> Path:
    DepartmentFactory(name="Quay County")
    made = tmp_path / "small.xlsx"
    made.write_bytes(write_rows(small(), "us"))
    return made


def test_template_filled_and_taken_in(tmp_path: Path) -> None:
    DepartmentFactory(name="Quay County")
    file = tmp_path / "mine.xlsx"
    assert said("workbook_template", str(file)).startswith(f"{file} is written. Fill it in, then:")
    book = load_workbook(file)
    for key in ("stations", "vehicles", "units", "concentrates", "lots", "containers", "other_lots"):
        sheet = BY_KEY[key]
        for row in small()[key]:
            book[sheet.title].append([row.get(column.key) for column in sheet.columns])
    book.save(file)
    told = said("import_workbook", str(file))
    assert "Containers: 4 new\n" in told
    assert f"{len(SHEETS)} example rows skipped\n" in told  # one on each sheet
    assert told.endswith("4 movements posted.\n")
    assert sorted(Station.objects.values_list("name", flat=True)) == ["Millrace", "Quayside"]
    assert Holding.objects.filter(container__code="T-1").count() == 2
    assert said("import_workbook", str(file)) == "This workbook was taken in before: nothing was posted again.\n"
    assert Movement.objects.count() == 4


@pytest.mark.parametrize(("units", "heading"), [("us", "Capacity [gal] *"), ("metric", "Capacity [L] *")])
def test_the_template_is_in_the_units_asked_for(tmp_path: Path, units: str, heading: str) -> None:
    file = tmp_path / "mine.xlsx"
    said("workbook_template", str(file), "--units", units)
    assert heading in [cell.value for cell in load_workbook(file)["Containers"][1]]


def test_the_template_never_goes_over_a_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.xlsx"
    file.write_text("a month of work")
    assert refused("workbook_template", str(file)) == f"{file} is there already; name another file."
    assert file.read_text() == "a month of work"
    nowhere = tmp_path / "nowhere" / "mine.xlsx"
    assert refused("workbook_template", str(nowhere)).startswith(f"{nowhere} could not be written: No such file")


def test_a_dry_run_says_what_would_happen_and_saves_nothing(file: Path) -> None:
    before = every_row()
    told = said("import_workbook", str(file), "--dry-run")
    assert told.endswith("4 movements would be posted; nothing was saved.\n")
    assert every_row() == before
    done = said("import_workbook", str(file))
    assert told.splitlines()[:-1] == done.splitlines()[:-1]
    assert Fuel.objects.count() >= 60


def test_faults_are_told_and_nothing_is_saved(file: Path) -> None:
    load_fuels(SIX)
    rows = small()
    rows["units"][0]["station"] = "Quaiside"
    rows["design_spills"][0]["fuel"] = "UN1203"
    file.write_bytes(write_rows(rows, "us"))
    before = every_row()
    lines = failed("import_workbook", str(file)).splitlines()
    assert lines[0] == (
        "Units, row 2, column B (Station): “Quaiside” was read: nothing has this name; add it on the sheet Stations."
    )
    assert lines[1].startswith(
        "Design spills and other duties, row 2, column D (Fuel): “UN1203” was read: several fuels have this number"
    )
    assert lines[2:] == ["2 faults; nothing was saved."]
    assert every_row() == before
    rows["units"][0]["station"] = "Quayside"
    file.write_bytes(write_rows(rows, "us"))
    assert failed("import_workbook", str(file)).splitlines()[-1] == "1 fault; nothing was saved."


def test_files_that_are_no_workbook(file: Path, tmp_path: Path) -> None:
    missing = tmp_path / "gone.xlsx"
    assert refused("import_workbook", str(missing)) == f"{missing} could not be read: No such file or directory."
    assert refused("import_workbook", str(tmp_path)) == f"{tmp_path} could not be read: Is a directory."
    text = tmp_path / "list.csv"
    text.write_text("code,contents\nP-1,5\n")
    assert refused("import_workbook", str(text)).startswith(f"{text}: A text or CSV file was read")
    with zipfile.ZipFile(file, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"macro")
    assert refused("import_workbook", str(file)) == (
        f"{file}: A workbook with macros was read: save it as an Excel workbook (.xlsx) without macros."
    )
    assert not Container.objects.exists()


def test_the_department_is_named_where_there_are_several(file: Path) -> None:
    other = DepartmentFactory(name="Far County", slug="far")
    assert refused("import_workbook", str(file)).startswith("There are several departments; add --department and one")
    assert refused("import_workbook", str(file), "--department", "nobody").startswith(
        "'nobody' was read; the departments are: Far County, Quay County."
    )
    said("import_workbook", str(file), "--department", "far county")
    assert set(Container.objects.values_list("department", flat=True)) == {other.pk}
