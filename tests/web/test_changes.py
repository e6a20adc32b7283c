"""The table of changes on its page: who, when, what, old and new, in names and units; for chief and logistics."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from readiness.actions.changes import Changed, record_changes
from readiness.actions.fleet_records import UNITS, VEHICLES, UnitFacts
from readiness.models import Change, Role
from tests.cast import SIX, ConcentrateFactory, LotFactory, StationFactory
from tests.keeping import desk
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def changed(cast):
    """A vehicle with water, at another station."""
    other = StationFactory(department=cast.department, name="Millrace")
    facts = VEHICLES.read(cast.vehicle)._replace(water_l=2839.059, station=other, pump_lpm=None, needs_tow=True)
    VEHICLES.save(desk(cast), facts, cast.vehicle)
    return Change.objects.get()


@pytest.mark.parametrize("role", Role)
def test_who_may_read_it(cast, changed, as_role, role):
    answer = as_role(role).get("/changes/")
    assert answer.status_code == (200 if role in (Role.CHIEF, Role.LOGISTICS) else 403)


def test_old_and_new_in_names_and_units(cast, changed, as_role):
    client = as_role(Role.LOGISTICS)
    text = client.get("/changes/").content.decode()
    assert "<li>station: Quayside → Millrace</li>" in text
    assert "<li>water: 0.0 gal → 750.0 gal</li>" in text  # 2,839.059 L of 3.785411784 L a gallon
    assert "<li>needs tow: no → yes</li>" in text
    assert "change vehicle" in text
    assert "chief." in text, "by the person"
    client.post("/account/units/", {"units": "metric"})
    assert "0.0 L → 2,839.1 L" in client.get("/changes/").content.decode()


def test_another_departments_changes_are_not_shown(cast, changed):
    table = as_person(cast.outsider).get("/changes/").context["table"]
    assert not table.rows


def test_filters(cast, changed, as_role):
    record_changes(
        cast.department,
        cast.acting(Role.LOGISTICS),
        SIX + timedelta(days=2),
        [Changed("recall", cast.lot, None, {"recall_reference": "N-7"})],
    )
    client = as_role(Role.CHIEF)

    def actions(query: str) -> list[str]:
        return [each.record.action for each in client.get(f"/changes/{query}").context["table"].rows]

    assert actions("") == ["recall", "change vehicle"], "the latest first"
    assert actions(f"?by={cast.people[Role.LOGISTICS].pk}") == ["recall"]
    assert actions("?action=change+vehicle") == ["change vehicle"]
    assert actions("?subject_kind=lot") == ["recall"]
    assert actions("?q=N-7") == ["recall"]
    assert actions("?since=2026-06-16") == ["recall"]
    assert actions("?until=2026-06-16") == ["change vehicle"]
    assert actions("?until=2026-06-15&since=2026-06-15") == ["change vehicle"]
    assert client.get("/changes/?since=soon").status_code == 200


def test_the_workbook_holds_every_row(cast, changed, as_role):
    book = load_workbook(io.BytesIO(as_role(Role.CHIEF).get("/changes/?export=xlsx").content))
    heading, row = ([cell.value for cell in line] for line in book.worksheets[0].iter_rows())
    told = dict(zip(heading, row, strict=True))
    assert told["What"] == "change vehicle"
    assert told["Of"] == "vehicle 201"
    assert "station: Quayside → Millrace" in told["Old → new"]


def test_a_record_whose_kind_is_gone_and_one_that_is_no_number(cast, as_role):
    record_changes(
        cast.department,
        cast.acting(Role.CHIEF),
        SIX,
        [Changed("x", cast.unit, {"hose": [[30.48, 1.75]]}, {"hose": []})],
    )
    Change.objects.create(
        department=cast.department,
        at=SIX,
        action="old",
        subject_kind="nothing",
        subject_id="a-b",
        new={"check_interval_h": 12},
    )
    text = as_role(Role.CHIEF).get("/changes/").content.decode()
    assert "hose: 100 ft of 1.75 in → –" in text
    assert "nothing: a-b" in text
    assert "check interval: 12 h" in text
    assert "the command line" in text


def test_queries_do_not_grow_with_rows(cast, as_role):
    client, counted = as_role(Role.CHIEF), []
    for size in (2, 20):
        for n in range(size):
            station = StationFactory(department=cast.department)
            UNITS.save(desk(cast), UnitFacts(f"U{size}-{n}", station))
            lot = LotFactory(concentrate=ConcentrateFactory(department=cast.department))  # named by its concentrate
            record_changes(cast.department, cast.acting(Role.CHIEF), SIX, [Changed("recall", lot, None, {})])
        with CaptureQueriesContext(connection) as queries:
            client.get("/changes/")
        counted.append(len(queries))
    assert counted[0] == counted[1]
