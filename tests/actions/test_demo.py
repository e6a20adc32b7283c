"""The demo's county: what stands aboard, once only, in a database of its own, on whichever day it is loaded."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth import authenticate

from readiness.actions.clock import StoppedClock
from readiness.actions.demo import PASSWORD, NotTheDemo, load_demo
from readiness.actions.demo_traps import PINS, TABLET_OF
from readiness.actions.permissions import role_in
from readiness.actions.tablets import acting_by_pin, people_at
from readiness.models import (
    Assignment,
    Container,
    Department,
    Device,
    HandOverNote,
    InspectionRule,
    Label,
    Lot,
    Membership,
    Movement,
    Role,
    Sample,
    Station,
    Unit,
    User,
    Vehicle,
)
from readiness.models.inspections import Rhythm
from readiness.models.movements import Identity
from readiness.reports.inspections import OVERDUE, inspections_due
from readiness.reports.recounts import recount
from readiness.workbooks.demo_rows import demo_rows
from tests.cast import D0, DepartmentFactory

pytestmark = pytest.mark.django_db

SHIFT_CHANGE = datetime(2026, 6, 15, 11, 0, tzinfo=UTC)  # 06:00 of D0 in the county's time zone
CLOCK = StoppedClock(SHIFT_CHANGE)
GAL_ML = 3_785.411784  # US gallon: 231 cubic inches of 16.387064 mL

# The county worked by hand, the column of what is aboard: gallons on each unit and the vehicle it runs on.
ABOARD = {
    "Engine 1": 45,  # 9 pails
    "Engine 2": 30,
    "Engine 3": 90,  # 18 pails
    "Engine 4": 100,  # 20 pails
    "Engine 5": 60,  # 12 pails
    "Engine 6": 20 + 40,
    "Engine 7": 40,  # 8 pails
    "Foam Tender 1": 1000,
    "Hazmat 1": 16 + 4 + 20,
    "Crash 1": 210,
    "Foam Trailer 1": 330,
    "Brush 4": 10,
    "Kit on Brush 4": 2.5,
    "Ladder 2": 0,
}


def test_the_county_as_worked_by_hand() -> None:
    loaded = load_demo(CLOCK)
    assert (loaded.again, loaded.department.demo_d0) == (False, D0)
    assert sorted(Station.objects.values_list("name", flat=True)) == [
        "Hollin Ridge",
        "Millrace",
        "Quayside",
        "Vesper Field",
    ]
    assert Unit.objects.count() == len(ABOARD) == 14
    assert 115 <= Container.objects.count() <= 125
    for designation, gallons in ABOARD.items():
        running = Assignment.objects.get(unit__designation=designation, to_at=None)
        aboard = Container.objects.filter(place__unit=running.unit) | Container.objects.filter(
            place__vehicle=running.vehicle
        )
        ml = [each.contents_ml for each in aboard]
        assert sum(ml) == pytest.approx(gallons * GAL_ML, abs=len(ml) + 1), designation
    assert recount().differences == ()


def test_what_the_county_says_besides() -> None:
    load_demo(CLOCK)
    mixed = Container.objects.get(mixed=True)
    assert mixed.place.vehicle.assignments.get().unit.designation == "Hazmat 1"
    assert mixed.holdings.count() == 2
    heel = Container.objects.get(place__vehicle__assignments__unit__designation="Engine 2")
    assert heel.unreachable_ml == 3_785  # 1 gal
    soon = Lot.objects.filter(makers_date=date(2026, 9, 30))
    assert Container.objects.filter(holdings__lot__in=soon, place__unit__designation="Engine 1").count() == 2
    assert Sample.objects.filter(taken_on=date(2026, 2, 10), lot__makers_date=date(2025, 3, 31), passed=True).exists()
    ladder = Unit.objects.get(designation="Ladder 2")
    assert ladder.no_duty_by
    assert ladder.no_duty_review_on.strftime("%Y-%m") == "2027-01"
    trailer = Vehicle.objects.get(assignments__unit__designation="Foam Trailer 1")
    assert (trailer.needs_tow, trailer.tow.state, trailer.tow.out_since) == (True, "out", date(2026, 6, 12))
    assert Unit.objects.filter(assignments__vehicle__shop_no="209").get().designation == "Engine 7"


def test_what_a_station_has() -> None:
    """A tablet, two PINs that sign there, a note that nobody has read, a rule of each rhythm, and printed labels."""
    department = load_demo(CLOCK).department
    tablet = Device.objects.get()
    assert (str(tablet.station), tablet.key_hash != "") == (TABLET_OF, True)
    signs = {row.user.username: acting_by_pin(tablet, row.pk, PINS[row.role], clock=CLOCK) for row in people_at(tablet)}
    assert {name: acting.identity for name, acting in signs.items()} == {"crew": Identity.PIN, "officer": Identity.PIN}
    note = HandOverNote.objects.get()
    assert (note.unit.designation, note.done_at, note.reads.count()) == ("Engine 1", None, 0)
    assert set(InspectionRule.objects.values_list("rhythm", flat=True)) == set(Rhythm.values)
    assert InspectionRule.objects.get(rhythm="week").weekday is not None, "a volunteer house looks on its drill night"
    overdue = {each.rule for each in inspections_due(department, D0) if each.state == OVERDUE}
    assert overdue == {"Tank opened and looked at for sludge"}
    assert Label.objects.filter(container__place__unit__designation="Engine 1").count() == 9


def test_a_second_load_is_harmless() -> None:
    load_demo(CLOCK)
    counts = (Movement.objects.count(), Container.objects.count(), User.objects.count())
    later = load_demo(StoppedClock(SHIFT_CHANGE + timedelta(days=3)))
    assert (later.again, later.department.demo_d0) == (True, D0)
    assert (Movement.objects.count(), Container.objects.count(), User.objects.count()) == counts


def test_the_demo_stays_out_of_a_database_with_a_department() -> None:
    DepartmentFactory()
    with pytest.raises(NotTheDemo, match="holds a department of your own, so the demo stays out of it"):
        load_demo(CLOCK)
    assert (Department.objects.count(), Movement.objects.count()) == (1, 0)


def test_one_sign_in_for_each_role() -> None:
    department = load_demo(CLOCK).department
    assert sorted(Membership.objects.values_list("role", flat=True)) == sorted(Role.values)
    for member in Membership.objects.all():
        user = authenticate(username=member.user.username, password=PASSWORD)
        assert user == member.user
        assert role_in(user, department) == member.role
    assert authenticate(username="chief", password="another word") is None


def test_another_day_zero_gives_the_same_rows_with_their_dates_moved() -> None:
    """The rows of both files are compared cell by cell; the later one is then loaded on its own day."""
    folder = Path(settings.FIXTURES_DIR) / "demo"
    later = D0 + timedelta(days=400)
    now, then = demo_rows(folder, D0), demo_rows(folder, later)
    moved = 0
    for sheet, rows in now.items():
        for one, other in zip(rows, then[sheet], strict=True):
            for key, text in one.items():
                if other[key] != text:
                    assert date.fromisoformat(other[key]) - date.fromisoformat(text) == timedelta(days=400)
                    moved += 1
    assert moved > 40
    loaded = load_demo(StoppedClock(SHIFT_CHANGE + timedelta(days=400)))
    assert (loaded.department.demo_d0, loaded.imported.movements) == (later, Container.objects.count())
    assert Lot.objects.filter(makers_date=date(2026, 9, 30) + timedelta(days=400)).exists()
    assert recount().differences == ()
