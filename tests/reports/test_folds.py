"""The ledger folded to a moment: volumes by lot, places and marks as they were."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Container, Holding
from readiness.models.movements import Account
from readiness.reports.folds import fold_at
from tests.cast import PAIL_ML, SIX, Cast

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def at(hours: int) -> datetime:
    return SIX + hours * HOUR


def entry(cast: Cast, hours: int, **values: object) -> Entry:
    return Entry(cast.department, OWNER, StoppedClock(at(100)), happened_at=at(hours), **values)


@pytest.fixture
def tank(cast: Cast) -> Container:
    """Hour 1: 20,000 mL of AR-1 in; 2: 10,000 mL of AR-2; 3: 3,000 mL used; 4: marked; 5: unmarked; 6: the rest out."""
    made = cast.tank(code="T1")
    movements.receive(entry(cast, 1), container=made, lot=cast.lot, ml=20_000, place=cast.on_vehicle)
    made.refresh_from_db()
    movements.receive(entry(cast, 2), container=made, lot=cast.other_lot, ml=10_000)
    movements.use(entry(cast, 3), container=made, ml=3_000, account=Account.INCIDENT)
    movements.quarantine(entry(cast, 4, reason="smells"), container=made)
    movements.release(entry(cast, 5, reason="it does not"), container=made)
    movements.empty(entry(cast, 6), container=made)
    return made


# Hand arithmetic: two thirds and one third of 3,000 mL leave with the use.
BOOK = [
    (0, {}),
    (1, {"AR-1": 20_000}),
    (2, {"AR-1": 20_000, "AR-2": 10_000}),
    (3, {"AR-1": 18_000, "AR-2": 9_000}),
    (5, {"AR-1": 18_000, "AR-2": 9_000}),
    (6, {}),
]


@pytest.mark.parametrize(("hours", "book"), BOOK)
def test_volumes_by_lot(cast: Cast, tank: Container, hours: int, book: dict[str, int]) -> None:
    names = {cast.lot.pk: "AR-1", cast.other_lot.pk: "AR-2"}
    held = fold_at(cast.department, at(hours)).holdings.get(tank.pk, {})
    assert {names[lot]: ml for lot, ml in held.items()} == book


def test_marks_and_places(cast: Cast, tank: Container) -> None:
    def quarantined(hours: int) -> str | None:
        return fold_at(cast.department, at(hours)).marks.get(tank.pk, {}).get("quarantined")

    assert [quarantined(hours) for hours in (3, 4, 5)] == [None, "yes", "no"]
    assert fold_at(cast.department, at(0)).places == {}
    assert fold_at(cast.department, at(1)).places == {tank.pk: cast.on_vehicle.pk}


def test_what_moves(cast: Cast) -> None:
    pail = cast.pail(code="P1")
    movements.receive(entry(cast, 1), container=pail, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    pail.refresh_from_db()
    movements.move(entry(cast, 3), containers=[pail], place=cast.on_unit)
    places = [fold_at(cast.department, at(hours)).places[pail.pk] for hours in (1, 2, 3)]
    assert places == [cast.store.pk, cast.store.pk, cast.on_unit.pk]


def test_a_correction_counts_from_when_it_happened(cast: Cast) -> None:
    pail = cast.pail(code="P1")
    movements.receive(entry(cast, 1), container=pail, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    used = movements.use(entry(cast, 2), container=pail, ml=1_000, account=Account.DRILL)
    from readiness.models import Movement

    wrong = Movement.objects.get(pk=used.movement_id)
    movements.correct(entry(cast, 4, reason="it was another pail"), movement=wrong)
    ml = [sum(fold_at(cast.department, at(hours)).holdings[pail.pk].values()) for hours in (1, 2, 3, 4)]
    assert ml == [PAIL_ML, PAIL_ML - 1_000, PAIL_ML - 1_000, PAIL_ML]


def test_folded_to_now_it_is_what_the_containers_hold(cast: Cast, tank: Container) -> None:
    movements.receive(entry(cast, 7), container=tank, lot=cast.lot, ml=5_000)
    folded = fold_at(cast.department, at(100)).holdings
    now = {(container, lot): ml for container, lot, ml in Holding.objects.values_list("container", "lot", "ml")}
    assert {(pk, lot): ml for pk, of in folded.items() for lot, ml in of.items()} == now
    assert now == {(tank.pk, cast.lot.pk): 5_000}


def test_another_departments_ledger_is_not_folded(cast: Cast, tank: Container) -> None:
    folded = fold_at(cast.other_department, at(100))
    assert (folded.holdings, folded.places, folded.marks) == ({}, {}, {})
