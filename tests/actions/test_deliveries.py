"""A delivery: several containers at once, of a lot that may be new."""

from __future__ import annotations

import pytest

from readiness.actions.deliveries import Delivery, NewLot, receive_delivery
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.actions.permissions import NotAllowed
from readiness.engineering.dates import GoodThrough
from readiness.models import Change, Container, Holding, Lot, Movement, Place, Role
from readiness.reports.recounts import recount
from tests.cast import CLOCK, D0, PAIL_ML, ConcentrateFactory, LotFactory

pytestmark = pytest.mark.django_db


def receive(cast, role=Role.LOGISTICS, **values):
    stated = {
        "codes": ("N1", "N2"),
        "each_ml": PAIL_ML,
        "lot": cast.lot,
        "kind": "pail",
        "capacity_ml": PAIL_ML,
        "sealed": True,
        "owner": cast.station,
    }
    entry = Entry(cast.department, cast.acting(role), CLOCK)
    return receive_delivery(entry, Delivery(**{**stated, **values}))


def test_new_containers_come_into_the_book_sealed_in_one_movement(cast):
    receive(cast, compartment="store room")
    rows = Container.objects.order_by("code")
    assert [(row.code, row.contents_ml, row.sealed, str(row.place)) for row in rows] == [
        ("N1", PAIL_ML, True, "Quayside store, store room"),
        ("N2", PAIL_ML, True, "Quayside store, store room"),
    ]
    movement = Movement.objects.get()
    # the supplier gives 2 × 18,927 = 37,854 mL, and the lines sum to nothing
    assert sorted(movement.lines.values_list("ml", flat=True)) == [-37_854, PAIL_ML, PAIL_ML]
    assert recount().differences == ()
    assert Change.objects.filter(action="make container").count() == 2


def test_a_new_lot_with_its_label(cast):
    from datetime import date

    receive(cast, lot=NewLot(cast.ar, "AR-9", GoodThrough(date(2036, 5, 31), "month")))
    lot = Lot.objects.get(batch="AR-9")
    assert (lot.makers_date, lot.date_precision) == (date(2036, 5, 31), "month")
    assert Holding.objects.filter(lot=lot).count() == 2


def test_a_container_that_the_book_knows_is_filled_as_it_is_and_stays_open(cast):
    known = cast.pail(code="n1")
    receive(cast, codes=("N1",))
    known.refresh_from_db()
    assert (known.contents_ml, known.sealed) == (PAIL_ML, False)
    assert Container.objects.count() == 1


def test_the_same_place_is_used_whatever_its_case(cast):
    receive(cast, codes=("N1",), compartment="Store  room")
    receive(cast, codes=("N2",), compartment="STORE ROOM")
    assert Place.objects.filter(station=cast.station).exclude(compartment="").count() == 1


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"codes": ()}, "No label code"),
        ({"each_ml": 0}, "more than nothing"),
        ({"each_ml": 20_000}, "holds 5.00 gal when full"),
    ],
)
def test_refusals(cast, values, sentence):
    with pytest.raises(Refused, match=sentence):
        receive(cast, **values)
    assert not Container.objects.exists()
    assert not Movement.objects.exists()


def test_a_batch_that_the_book_has_is_not_made_twice(cast):
    with pytest.raises(Refused, match="choose it from the list"):
        receive(cast, lot=NewLot(cast.ar, "ar-1", None))


def test_a_retired_label_code_is_not_used_again(cast):
    cast.pail(code="N1", retired_on=D0)
    with pytest.raises(Refused, match="N1 was read: this container is retired"):
        receive(cast)


def test_another_departments_lot_concentrate_and_station_do_not_exist(cast):
    other = ConcentrateFactory(department=cast.other_department)
    for wrong in (LotFactory(concentrate=other), NewLot(other, "Z", None)):
        with pytest.raises(Refused, match="no such"):
            receive(cast, lot=wrong)
    station = cast.other_department.stations.create(name="Far")
    with pytest.raises(Refused, match="no such station"):
        receive(cast, owner=station)
    assert not Container.objects.exists()


def test_who_may_not_receive(cast):
    for role in (Role.CREW, Role.OFFICER, Role.INSTRUCTOR, Role.OBSERVER):
        with pytest.raises(NotAllowed):
            receive(cast, role)
