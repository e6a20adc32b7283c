"""The crew's unit: chosen once, seen by everybody of the department, and by nobody else."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from readiness.actions.checks import Read
from readiness.models import Membership, Role
from readiness.models.checks import Answer
from tests.cast import D0, SIX, Cast, StationFactory, UnitFactory
from tests.judged import Rigged
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    return rig


def page(client, rig: Rigged, name: str = "crew_unit") -> str:
    answer = client.get(reverse(name, args=[rig.unit.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_unit_is_chosen_once(rig, as_role):
    client = as_role(Role.CREW)
    assert client.get("/crew/").status_code == 200
    answer = client.post("/crew/", {"unit": rig.unit.pk})
    assert answer["Location"] == f"/crew/{rig.unit.pk}/"
    assert client.get("/crew/")["Location"] == f"/crew/{rig.unit.pk}/"
    assert "Now: Engine 1." in client.get("/crew/?choose=1").content.decode(), "and may be chosen anew"


def test_own_stations_units_come_first(rig, as_role):
    other = StationFactory(department=rig.department, name="Abbey")
    UnitFactory(station=other, designation="Aerial 9")
    Membership.objects.filter(user=rig.cast.people[Role.CREW]).update(station=rig.cast.station)
    said = as_role(Role.CREW).get("/crew/").content.decode()
    assert said.index("Engine 1") < said.index("Other stations") < said.index("Aerial 9")


@pytest.mark.parametrize("nonsense", ["x", "", "999999999"])
def test_a_unit_that_is_not_there_cannot_be_chosen(rig, as_role, nonsense):
    client = as_role(Role.CREW)
    assert client.post("/crew/", {"unit": nonsense}).status_code in (302, 404)
    assert client.get("/crew/").status_code == 200, "still the list"


def test_a_retired_unit_is_forgotten(rig, as_role):
    client = as_role(Role.CREW)
    client.post("/crew/", {"unit": rig.unit.pk})
    rig.unit.retired_on = D0
    rig.unit.save()
    assert client.get("/crew/").status_code == 200
    assert client.get(f"/crew/{rig.unit.pk}/").status_code == 404


def test_the_page_says_how_it_stands_and_what_to_do(rig, as_role):
    rig.checked((*rig.good()[:-1], Read(Answer.FAULT, line=rig.line.pk, setting_pct=600, words="clogged")))
    rig.judge()
    said = page(as_role(Role.CREW), rig)
    assert "mark-limited" in said
    for words in (
        "gasoline spill: turn to 3 %",
        "Crosslay 1 stands at 6 % and is parked at 3 % by rule.",
        "Turn the knob.",
        "<strong>Crosslay 1:</strong> fault, clogged.",
        "9 sealed pails of 5.0 gal, Demo AR-AFFF 3x6",
        "45.0 gal",
        "by the book",
        "whole: all 10 looked at",
        f'href="/crew/{rig.unit.pk}/check/">Morning check</a>',
    ):
        assert words in said, words


@pytest.mark.parametrize("role", Role)
def test_who_may_check_and_report_finds_the_buttons(rig, as_role, role):
    said = page(as_role(role), rig)
    assert ("Morning check</a>" in said) == (role != Role.OBSERVER)
    assert ("After use" in said) == (role != Role.OBSERVER)


def test_another_departments_unit_does_not_exist(rig):
    client = as_person(rig.cast.outsider)
    assert client.get(f"/crew/{rig.unit.pk}/").status_code == 404
    assert client.post("/crew/", {"unit": rig.unit.pk}).status_code == 404
    assert "Engine 1" not in client.get("/crew/").content.decode()


def test_a_stranger_is_asked_to_sign_in(rig, client):
    for address in ("/crew/", f"/crew/{rig.unit.pk}/", f"/crew/{rig.unit.pk}/check/", f"/crew/{rig.unit.pk}/checks/"):
        assert client.get(address)["Location"].startswith("/sign-in/"), address


def test_a_unit_without_a_vehicle_foam_or_answer(rig, as_role):
    bare = UnitFactory(station=rig.cast.station, designation="Ladder 2")
    said = as_role(Role.CREW).get(f"/crew/{bare.pk}/").content.decode()
    for words in ("not judged yet", "no vehicle", "Never checked.", "No concentrate aboard."):
        assert words in said, words


def test_a_check_that_ran_out_is_said(rig, as_role, monkeypatch):
    from readiness.actions.clock import StoppedClock
    from readiness.web import access

    monkeypatch.setattr(access, "CLOCK", StoppedClock(SIX + timedelta(hours=25)))
    said = page(as_role(Role.CREW), rig)
    assert "The check ran out" in said
    assert "mark-unverified" in said


def test_queries_do_not_grow_with_pails(rig, as_role):
    client = as_role(Role.CREW)
    page(client, rig)

    def count() -> int:
        with CaptureQueriesContext(connection) as seen:
            page(client, rig)
        return len(seen)

    few = count()
    for n in range(20):
        rig.pail(f"Q{n}")
    assert count() == few
