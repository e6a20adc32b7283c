"""What each container is worth on a day. Dates and volumes are stated here and worked by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import movements
from readiness.actions.evidence import record_sample
from readiness.actions.lots import recall
from readiness.actions.movements import Entry
from readiness.engineering.dates import GoodThrough
from readiness.models import Assignment, Container, Holding, Role
from readiness.reports.inventory import Item, load_inventory
from readiness.reports.lots import lots
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast, LotFactory

pytestmark = pytest.mark.django_db


def entry(cast: Cast, **values: object) -> Entry:
    return Entry(cast.department, cast.acting(Role.CHIEF), CLOCK, **values)


def filled(cast: Cast, lot, place=None, ml: int = PAIL_ML, **values: object) -> Container:
    made = cast.pail(**values)
    movements.receive(entry(cast), container=made, lot=lot, ml=ml, place=place or cast.store)
    made.refresh_from_db()
    return made


def item(cast: Cast, container: Container, day: date = D0) -> Item:
    return next(each for each in load_inventory(cast.department, day).items if each.id == container.pk)


def test_a_pail_in_date_counts_through_its_lots_date_and_is_out_the_day_after(cast):
    pail = filled(cast, cast.lot)  # the lot's date is D0 + 1000 days
    Container.objects.filter(pk=pail.pk).update(sealed=True)
    good = item(cast, pail)
    assert (good.state, good.counted_ml, good.through, good.then) == (
        "counts", PAIL_ML, D0 + timedelta(days=1000), "expired",
    )  # fmt: skip
    last, after = item(cast, pail, D0 + timedelta(days=1000)), item(cast, pail, D0 + timedelta(days=1001))
    assert (last.state, last.counted_ml) == ("counts", PAIL_ML)
    assert (after.state, after.counted_ml, after.contents_ml) == ("expired", 0, PAIL_ML)


def test_a_label_that_names_a_month_is_good_through_its_last_day(cast):
    lot = LotFactory(concentrate=cast.ar, batch="M-1", makers_date=date(2028, 2, 1), date_precision="month")
    found = item(cast, filled(cast, lot, sealed=True))
    # 2028 is a leap year: February has 29 days
    assert found.label == GoodThrough(date(2028, 2, 29), "month")
    assert (found.through, str(found.label)) == (date(2028, 2, 29), "2028-02")


def test_no_date_known_counts_in_doubt(cast):
    lot = LotFactory(concentrate=cast.ar, batch="U-1", makers_date=None)
    found = item(cast, filled(cast, lot, sealed=True))
    assert (found.state, found.counted_ml, found.through) == ("date not known", PAIL_ML, None)


def test_an_opened_pail_ends_with_the_opened_limit(cast):
    pail = filled(cast, cast.lot, sealed=True)
    movements.open_container(entry(cast), container=pail)
    found = item(cast, pail)
    # the policy's default: 365 days from 15 June 2026
    assert (found.state, found.through, found.then) == ("counts", date(2027, 6, 15), "open too long")
    assert found.seal == "open since 2026-06-15"


@pytest.mark.parametrize(
    ("verb", "state"),
    [(movements.mark_mixed, "mixed"), (movements.mark_diluted, "diluted"), (movements.quarantine, "quarantined")],
)
def test_what_people_marked_is_out_of_the_count(cast, verb, state):
    pail = filled(cast, cast.lot)
    verb(entry(cast, reason="seen"), container=pail)
    assert (item(cast, pail).state, item(cast, pail).counted_ml) == (state, 0)


def test_a_recalled_lot_and_a_failed_sample_are_out_of_the_count(cast):
    recalled, failed = filled(cast, cast.lot, sealed=True), filled(cast, cast.other_lot, sealed=True)
    chief = cast.acting(Role.CHIEF)
    recall(cast.department, lot=cast.lot, recalled_on=D0, reference="N-7", acting=chief, clock=CLOCK)
    record_sample(cast.department, lot=cast.other_lot, taken_on=D0, passed=False, acting=chief, clock=CLOCK)
    assert item(cast, recalled).state == "recalled"
    assert item(cast, failed).state == "sample failed"


def test_a_tank_counts_less_its_heel_and_by_its_reading(cast):
    tank = cast.tank(unreachable_ml=3_785, resolution_ml=500)
    movements.receive(entry(cast), container=tank, lot=cast.lot, ml=100_000, place=cast.on_vehicle)
    assert item(cast, tank).counted_ml == 96_215  # 100,000 − 3,785
    Container.objects.filter(pk=tank.pk).update(reading_ml=90_000, reading_at=SIX)
    assert item(cast, tank).counted_ml == 86_215  # what was read, 90,000, less the heel


def test_where_a_container_stands_and_which_unit_that_is_tonight(cast):
    Assignment.objects.create(department=cast.department, unit=cast.unit, vehicle=cast.vehicle, from_at=SIX)
    in_store, on_unit, on_vehicle = (
        item(cast, filled(cast, cast.lot, place)) for place in (cast.store, cast.on_unit, cast.on_vehicle)
    )
    assert (in_store.where, in_store.station, in_store.unit) == ("store", "Quayside", "")
    assert (on_unit.where, on_unit.station, on_unit.unit) == ("unit", "Quayside", "Engine 1")
    assert (on_vehicle.where, on_vehicle.unit_id) == ("vehicle", cast.unit.pk)


def test_an_empty_container_and_one_that_is_retired(cast):
    empty, retired = cast.pail(), cast.pail(retired_on=D0)
    found = load_inventory(cast.department, D0).items
    assert [(each.id, each.state) for each in found] == [(empty.pk, "empty")]
    assert retired.pk not in {each.id for each in found}


def test_the_queries_do_not_grow_with_the_stock(cast):
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as caught:
            load_inventory(cast.department, D0)
        return len(caught)

    filled(cast, cast.lot)
    few = queries()
    for _ in range(5):
        filled(cast, cast.other_lot, cast.on_unit)
    assert queries() == few


def test_some_containers_are_weighed_as_among_all(cast):
    """Those that are asked for, in every kind of place and with samples of their own and of their lots."""
    rows = [filled(cast, lot, place) for lot in (cast.lot, cast.other_lot) for place in (cast.store, cast.on_unit)]
    taken = {"taken_on": D0 - timedelta(days=9), "passed": True, "acting": cast.acting(Role.CHIEF), "clock": CLOCK}
    for earlier in range(2):  # the latest counts, however often a lot is held
        record_sample(cast.department, lot=cast.lot, **{**taken, "taken_on": D0 - timedelta(days=30 - earlier)})
    record_sample(cast.department, container=rows[2], **taken)
    movements.pour(
        entry(cast), source=rows[2], target=cast.pail(), ml=1_000
    )  # a lot in two containers, and half a pail
    every = {each.id: each for each in load_inventory(cast.department, D0).items}
    for row in rows:
        only = load_inventory(cast.department, D0, Container.objects.filter(pk=row.pk).values("pk"))
        assert only.items == (every[row.pk],)
    of_lot = Holding.objects.filter(lot=cast.lot).values("container")
    found = load_inventory(cast.department, D0, of_lot)
    assert found.items == tuple(each for each in every.values() if cast.lot.pk in {one.lot_id for one in each.shares})
    assert lots(cast.department, found, cast.lot)[0] == lots(cast.department, load_inventory(cast.department, D0))[0]


def test_containers_are_read_as_columns_however_many_there_are(cast, monkeypatch):
    """A record of the database for each of 80,000 containers took most of the time of a list."""
    filled(cast, cast.lot, code="P1")

    def refused(*_):
        raise AssertionError("a record was made of a container")

    monkeypatch.setattr(Container, "from_db", refused)
    (only,) = load_inventory(cast.department, D0).items
    assert (only.code, only.contents_ml, only.place, only.where) == ("P1", PAIL_ML, "Quayside store", "store")
