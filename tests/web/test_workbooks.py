"""A workbook by a page: the template, the faults in their places, what would go in, and taking it in once."""

from __future__ import annotations

import io
import os
import time

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import resolve, reverse
from openpyxl import load_workbook

from readiness.models import Container, Role, Station, Submission
from readiness.web import kept_files
from readiness.workbooks.template import write_rows
from tests.actions.small_department import every_row, make_fuels, pail, small
from tests.cast import DepartmentFactory, UserFactory
from tests.web.conftest import as_person
from tests.web.entering import words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    """Kept files go to a folder of the test's own."""
    monkeypatch.setattr(kept_files.tempfile, "gettempdir", lambda: str(tmp_path))


@pytest.fixture
def department(db):
    """A department with nothing in it."""
    from readiness.models import Policy

    made = DepartmentFactory()
    Policy.objects.create(department=made)
    make_fuels()
    return made


@pytest.fixture
def officer(department):
    """Its logistics officer's browser."""
    return member(department, Role.LOGISTICS)


def member(department, role):
    """A browser of somebody new with that role."""
    user = UserFactory()
    user.memberships.create(department=department, role=role, from_on="2020-01-01")
    return as_person(user)


def upload(client, data, name="ours.xlsx", **options):
    return client.post(reverse("workbook"), {"file": SimpleUploadedFile(name, data)}, **options)


def ticket_of(answer):
    """The ticket in the address that the upload leads to."""
    return resolve(answer.headers["Location"]).kwargs["ticket"]


def test_a_workbook_is_looked_through_and_nothing_is_saved(department, officer):
    before = every_row()
    answer = upload(officer, write_rows(small(), "us"), follow=True)
    page = words(answer)
    assert "No faults. Nothing is saved yet." in page
    assert "Stations 2 new" in page
    # small_department: P-1, P-2, T-1 and J-1
    assert "4 containers come into the book with what is in them" in page
    after = every_row()
    after["Session"] = before.get("Session", [])
    assert after | {"Session": []} == before | {"Session": []}


def test_confirmed_it_goes_in_once(department, officer):
    answer = upload(officer, write_rows(small(), "us"))
    ticket = ticket_of(answer)
    done = officer.post(reverse("workbook_confirm"), {"file": ticket}, follow=True)
    assert "The workbook is taken in: 4 containers came into the book." in words(done)
    assert Container.objects.filter(department=department).count() == 4
    # the file is dropped: a second tap asks for it anew, and sent anew it is known
    again = officer.post(reverse("workbook_confirm"), {"file": ticket}, follow=True)
    assert "no longer kept here" in words(again)
    assert "was taken in before" in words(upload(officer, write_rows(small(), "us"), follow=True))
    assert Submission.objects.filter(kind="workbook").count() == 1


@pytest.fixture
def faulty():
    """Three containers whose volumes are too large for them, and a unit at a station that is not there."""
    rows = small()
    rows["containers"] += [pail(f"P-{number}", contents="6 gal") for number in (7, 8, 9)]
    rows["units"][0]["station"] = "=Nowhere"
    return write_rows(rows, "us")


def test_faults_stand_in_their_places_and_nothing_is_saved(department, officer, faulty):
    page = words(upload(officer, faulty, follow=True))
    assert "4 faults; nothing was saved." in page
    # small_department has four containers in rows 2 to 5, so P-7 stands in row 6
    assert "Containers 6 " in page
    assert "“=Nowhere”" in page
    assert "What stands in several rows alike" in page
    assert not Station.objects.filter(department=department).exists()


def test_faults_can_be_saved_as_a_workbook(department, officer, faulty):
    address = upload(officer, faulty).headers["Location"]
    answer = officer.get(f"{address}?export=xlsx")
    sheet = load_workbook(io.BytesIO(answer.content))["Faults in the workbook"]
    table = list(sheet.iter_rows(values_only=True))
    assert table[0] == ("Sheet", "Row", "Column", "Heading", "What was read", "What would be right")
    assert [row[1] for row in table[1:] if row[0] == "Containers"] == [6, 7, 8]


def test_faults_are_filtered_by_sheet(department, officer, faulty):
    address = upload(officer, faulty).headers["Location"]
    page = words(officer.get(f"{address}?sheet=Units"))
    assert "“=Nowhere”" in page
    assert "1 row" in page


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"a,b,c\n1,2,3\n", "A text or CSV file was read"),
        (b"%PDF-1.7", "A PDF was read"),
        (b"PK\x03\x04 nonsense", "A damaged file was read"),
        (b"", "An empty file was read"),
    ],
)
def test_what_is_no_workbook_is_refused_with_a_sentence(officer, data, sentence):
    assert sentence in words(upload(officer, data))


def test_no_file_at_all(officer):
    assert "No file was read: choose the workbook." in words(officer.post(reverse("workbook"), {}))


def test_a_ticket_is_good_for_its_sender_and_an_hour_only(department, officer, tmp_path):
    data = write_rows(small(), "us")
    address = upload(officer, data).headers["Location"]
    assert "No faults" in words(officer.get(address))
    for other in (member(department, Role.CHIEF), member(DepartmentFactory(), Role.CHIEF)):
        upload(other, data)  # they have the same file, under a ticket of their own
        assert "no longer kept here" in words(other.get(address))
    assert "no longer kept here" in words(officer.get(reverse("workbook_check", args=["forged"])))
    for kept in next(tmp_path.iterdir()).iterdir():
        kept.write_bytes(b"something else")
    assert "no longer kept here" in words(officer.get(address))
    assert not Station.objects.filter(department=department).exists()


def test_the_folder_is_the_servers_own_and_old_files_go(officer, tmp_path, cast):
    upload(officer, write_rows(small(), "us"))
    folder = next(tmp_path.iterdir())
    assert folder.stat().st_mode & 0o777 == 0o700
    (kept,) = folder.iterdir()
    assert kept.stat().st_mode & 0o777 == 0o600
    old = time.mktime((2026, 6, 14, 0, 0, 0, 0, 0, 0))  # the tests' clock stands at 06:00 on 15 June 2026
    os.utime(kept, (old, old))
    rows = small()
    rows["stations"].append({"name": "Third"})
    upload(officer, write_rows(rows, "us"))
    assert kept not in list(folder.iterdir())


@pytest.mark.parametrize(("units", "heading"), [("us", "Capacity [gal] *"), ("metric", "Capacity [L] *")])
def test_the_template(officer, units, heading):
    answer = officer.get(reverse("workbook_template", args=[units]))
    sheet = load_workbook(io.BytesIO(answer.content))["Containers"]
    assert heading in [cell.value for cell in sheet[1]]
    assert officer.get(reverse("workbook_template", args=["furlongs"])).status_code == 404


def test_who_may_send_a_workbook(cast, as_role):
    for role in Role:
        expected = 200 if role in (Role.LOGISTICS, Role.CHIEF) else 403
        client = as_role(role)
        assert client.get(reverse("workbook")).status_code == expected, role
        assert client.get(reverse("workbook_template", args=["us"])).status_code == expected, role
        assert client.get(reverse("workbook_check", args=["forged"])).status_code == expected, role
        assert client.post(reverse("workbook_confirm"), {"file": "x"}).status_code == expected, role
