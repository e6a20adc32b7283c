"""From a lot to every container that holds or held any of it, through every container it went through."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from readiness.actions import movements
from readiness.actions.loans import lend
from readiness.actions.movements import Entry
from readiness.actions.pallets import set_aside
from readiness.models import Assignment, Container, Lot, Pallet, Partner, Place
from readiness.models.movements import Account
from readiness.reports.recalls import reach, reached
from tests.cast import CLOCK, PAIL_ML, Cast, UnitFactory

pytestmark = pytest.mark.django_db


def test_a_lot_is_followed_through_tanks_and_back_into_pails(cast: Cast) -> None:
    """By hand: P1 18,927 → T1; T1 (all AR-1) gives 5,000 to P2; P2 uses 1,000. P9 holds another lot and is left out."""
    entry = Entry(cast.department, cast.acting("chief"), CLOCK)
    first, second, ninth = (cast.pail(code=code) for code in ("P1", "P2", "P9"))
    tank = cast.tank(code="T1")
    movements.receive(entry, container=first, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    movements.receive(entry, container=ninth, lot=cast.other_lot, ml=PAIL_ML, place=cast.store)
    movements.pour(entry, source=first, target=tank, ml=PAIL_ML)
    movements.pour(entry, source=tank, target=second, ml=5_000)
    movements.use(entry, container=second, ml=1_000, account=Account.DRILL)
    assert [(each.code, each.place, each.holds_ml, each.passed_through_ml) for each in reached(cast.lot)] == [
        ("P1", "Quayside store", 0, PAIL_ML),
        ("P2", "outside the book", 4_000, 1_000),
        ("T1", "outside the book", PAIL_ML - 5_000, 5_000),
    ]
    assert reached(cast.class_a_lot) == ()


def at(hour: int) -> datetime:
    """An hour of the day before the cast's."""
    return datetime(2026, 6, 14, hour, tzinfo=UTC)


def test_units_that_carried_it_are_told_with_what_is_spent(cast: Cast) -> None:
    """P1 stood on Engine 1 until 10, P2 is on vehicle 201, which Engine 1 ran on until 9 and Engine 2 since.

    P3 was refilled with the lot at 12 only, after it had left Engine 3 at 11: Engine 3 never carried any of it.
    """
    second, third = (UnitFactory(station=cast.station, designation=f"Engine {n}") for n in (2, 3))
    common = {"department": cast.department, "vehicle": cast.vehicle}
    Assignment.objects.create(**common, unit=cast.unit, from_at=at(1), to_at=at(9))
    Assignment.objects.create(**common, unit=second, from_at=at(9))
    p1, p2, p3 = (cast.pail(code=f"P{n}") for n in (1, 2, 3))
    receive(cast, p1, at(3), cast.on_unit)
    receive(cast, p2, at(3), cast.on_vehicle)
    on_third = Place.objects.create(department=cast.department, unit=third)
    receive(cast, p3, at(3), on_third, cast.other_lot, ml=1_000)
    for each in (p1, p3):
        each.refresh_from_db()
    movements.move(entry(cast, at(10)), containers=[p1], place=cast.store)
    movements.move(entry(cast, at(11)), containers=[p3], place=cast.store)
    p3.refresh_from_db()
    receive(cast, p3, at(12), cast.store, ml=2_000)
    movements.use(entry(cast, at(13), incident="26-118"), container=p1, ml=4_000, account=Account.INCIDENT)
    found = reach(cast.lot)
    assert found.units == ("Engine 1", "Engine 2")
    assert [(each.code, each.unit, each.places) for each in found.containers] == [
        ("P1", "", ("Engine 1, L3",)),
        ("P2", "Engine 2", ()),
        ("P3", "", ()),
    ]
    assert [(each.account, each.incident, each.ml) for each in found.spent] == [("incident", "26-118", 4_000)]


def test_the_book_ticks_off_what_is_pulled(cast: Cast) -> None:
    """Five pails: quarantined, on a pallet, lent, poured out, and one that nobody has touched."""
    pails = [cast.pail(code=f"P{n}") for n in range(5)]
    for each in pails:
        receive(cast, each, at(3), cast.store)
        each.refresh_from_db()
    movements.quarantine(entry(cast, reason="recall"), container=pails[0])
    pallet = Pallet.objects.create(department=cast.department, name="A", programme="state", station=cast.station)
    set_aside(entry(cast), containers=[pails[1]], pallet=pallet)
    partner = Partner.objects.create(department=cast.department, name="Harbor County")
    lend(entry(cast, partner=partner), containers=[pails[2]])
    movements.use(entry(cast), container=pails[3], ml=PAIL_ML, account=Account.DISPOSAL)
    found = reach(cast.lot)
    assert [(each.code, each.state, each.pulled_by) for each in found.containers] == [
        ("P0", "pulled", "quarantined"),
        ("P1", "pulled", "on a take-back pallet"),
        ("P2", "lent: tell them", ""),
        ("P3", "nothing of it left", ""),
        ("P4", "to pull", ""),
    ]
    assert (len(found.held), len(found.pulled), [each.code for each in found.to_pull]) == (4, 2, ["P2", "P4"])


def entry(cast: Cast, when: datetime | None = None, **values: object) -> Entry:
    return Entry(cast.department, cast.acting("chief"), CLOCK, happened_at=when, **values)


def receive(
    cast: Cast, pail: Container, when: datetime, place: Place, lot: Lot | None = None, ml: int = PAIL_ML
) -> None:
    movements.receive(entry(cast, when), container=pail, lot=lot or cast.lot, ml=ml, place=place)
