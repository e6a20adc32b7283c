"""A delivery: several containers at once, of a lot that may be new."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions import movements
from readiness.actions.clock import StoppedClock, SystemClock
from readiness.actions.deliveries import (
    Arrived,
    Delivery,
    LotsRefused,
    NewLot,
    Paper,
    Price,
    receive_delivery,
    receive_lots,
)
from readiness.actions.drafts import Refused, SameIdOtherBody, new_id
from readiness.actions.keeping import Desk
from readiness.actions.movements import Entry
from readiness.actions.permissions import NotAllowed
from readiness.actions.supply import OrderFacts, place_order
from readiness.engineering.dates import GoodThrough
from readiness.models import Change, Container, Holding, Lot, Movement, Place, Role
from readiness.models import Delivery as Kept
from readiness.models.deliveries import PricePer
from readiness.reports.deliveries import deliveries, outstanding, slip
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


# -- its papers --------------------------------------------------------------------------------------------------------


def papers(cast, paper, **values):
    stated = {"codes": ("N1", "N2", "N3"), "each_ml": PAIL_ML, "lot": cast.lot, "kind": "pail"}
    stated |= {"capacity_ml": PAIL_ML, "sealed": True, "owner": cast.station}
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK, reason="one is dented")
    return receive_delivery(entry, Delivery(**{**stated, **values}), paper)


def test_what_the_papers_said_is_kept_and_what_did_not_come_is_short(cast):
    """Six ordered, one turned away at the door, three taken in, one of them dented: two are short."""
    paper = Paper("PO-7", "a maker", "certificate 7", 6, 1, Price(11_850, PricePer.CONTAINER, "USD"))
    papers(cast, paper, damaged=("n3",))
    row = deliveries(cast.department)[0]
    assert (row.came, row.came_ml, row.ordered, row.turned_away, row.damaged) == (3, 56_781, 6, 1, 1)  # 3 × 18,927
    assert (row.short, row.standing) == (2, "2 short, 1 turned away, 1 damaged")
    assert (row.price_minor, row.price_per, row.currency) == (11_850, "container", "USD")
    assert Container.objects.get(code="N3").quarantined
    cast.lot.refresh_from_db()
    # 118.50 ÷ 18.927 L = 6.2609, so 626 hundredths a liter
    assert (cast.lot.price_minor_per_l, cast.lot.currency) == (626, "USD")
    assert Change.objects.get(action="price lot").old == {"price_minor_per_l": None, "currency": ""}
    told = slip(Kept.objects.get())
    assert [(code, ml, damaged) for _, code, ml, damaged in told.containers] == [
        ("N1", PAIL_ML, False),
        ("N2", PAIL_ML, False),
        ("N3", PAIL_ML, True),
    ]


def test_the_rest_of_an_order_comes_later(cast):
    """Ten ordered; three came, then seven: nothing is outstanding any more, and each slip shows the other."""
    papers(cast, Paper("PO-8", ordered=10))
    assert [(row.order_reference, short) for row, short in outstanding(deliveries(cast.department))] == [("PO-8", 7)]
    papers(cast, Paper("po-8"), codes=tuple(f"M{n}" for n in range(7)))
    assert outstanding(deliveries(cast.department)) == ()


def test_what_came_of_an_order_is_on_order_no_longer(cast):
    """Four pails on order PO-7: three came, then two more than were left; the fifth belongs to no order."""
    order = place_order(
        Desk(cast.department, cast.acting(Role.LOGISTICS), CLOCK),
        OrderFacts("PO-7", cast.ar, cast.station, 4, "pail", PAIL_ML, D0),
    )
    papers(cast, Paper("po-7 "))
    order.refresh_from_db()
    assert (order.came, order.closed_on) == (3, None)
    papers(cast, Paper("PO-8"), codes=("M0",))
    papers(cast, Paper("PO-7"), codes=("M1", "M2"))
    order.refresh_from_db()
    assert (order.came, order.closed_on, order.closed_because) == (4, D0, "all came")


def test_a_price_a_gallon(cast):
    papers(cast, Paper(price=Price(2_500, PricePer.GALLON, "USD")))
    cast.lot.refresh_from_db()
    assert cast.lot.price_minor_per_l == 660  # 25.00 ÷ 3.785411784 L = 6.6043


def test_a_corrected_delivery_is_told_as_such(cast):
    posted = papers(cast, Paper("PO-9", ordered=9))
    movement = Movement.objects.get(pk=posted.movement_id)
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK, reason="wrong lot")
    movements.correct(entry, movement=movement)
    assert deliveries(cast.department)[0].standing == "corrected"
    assert outstanding(deliveries(cast.department)) == ()


def test_a_damaged_code_that_did_not_come_is_refused(cast):
    with pytest.raises(Refused, match="N9 was read as damaged and is not among"):
        papers(cast, Paper(), damaged=("N9",))


def test_when_a_new_lot_was_made(cast):
    from datetime import date

    papers(cast, Paper(), lot=NewLot(cast.ar, "AR-9", None, GoodThrough(date(2026, 3, 31), "month")))
    lot = Lot.objects.get(batch="AR-9")
    assert (lot.made_on, lot.made_precision) == (date(2026, 3, 31), "month")


def test_what_is_in_the_book_is_filled_where_it_stands(cast):
    """A tank on a vehicle is filled from the truck: no place is asked for, and it does not move."""
    tank = cast.tank(code="T1")
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK)
    movements.receive(entry, container=tank, lot=cast.lot, ml=10_000, place=cast.on_vehicle)
    papers(cast, Paper(), codes=("T1",), owner=None)
    tank.refresh_from_db()
    assert (tank.contents_ml, tank.place_id) == (28_927, cast.on_vehicle.pk)  # 10,000 + 18,927
    with pytest.raises(Refused, match="No place was read, and N1 stands nowhere yet"):
        papers(cast, Paper(), codes=("T1", "N1"), owner=None)
    assert not Container.objects.filter(code="N1").exists()


# -- several lots at once ----------------------------------------------------------------------------------------------


def together(cast, *lots, order="PO-7"):
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK)
    stated = {"each_ml": PAIL_ML, "kind": "pail", "capacity_ml": PAIL_ML, "sealed": True, "owner": cast.station}
    return receive_lots(entry, [Arrived(Delivery(**{**stated, **values}), Paper(order)) for values in lots])


def test_several_lots_come_in_together_a_movement_each(cast):
    new = NewLot(cast.ar, "AR-9", None)
    posted = together(cast, {"codes": ("N1", "N2"), "lot": cast.lot}, {"codes": ("N3",), "lot": new})
    assert len({each.movement_id for each in posted}) == Movement.objects.count() == 2
    assert [(row.lot.batch, row.movement_id) for row in Kept.objects.order_by("id")] == [
        (cast.lot.batch, posted[0].movement_id),
        ("AR-9", posted[1].movement_id),
    ]
    told = slip(Kept.objects.order_by("id").first())
    assert [(row.batch, row.came) for row in told.others] == [("AR-9", 1)]
    assert recount().differences == ()


def test_one_new_lot_may_come_in_pails_and_in_a_drum(cast):
    new = NewLot(cast.ar, "AR-9", None)
    drum = {"codes": ("D1",), "lot": new, "kind": "drum", "each_ml": 208_198, "capacity_ml": 208_198}
    together(cast, {"codes": ("N1",), "lot": new}, drum)
    lot = Lot.objects.get(batch="AR-9")
    assert sorted(Holding.objects.filter(lot=lot).values_list("ml", flat=True)) == [PAIL_ML, 208_198]


def test_every_lot_at_fault_is_told_and_none_comes_in(cast):
    """The second has a code of the first, the third more in each than each holds; the fourth contradicts the first."""
    from datetime import date

    new, other = NewLot(cast.ar, "AR-9", None), NewLot(cast.ar, "ar-9", GoodThrough(date(2036, 5, 31), "month"))
    with pytest.raises(LotsRefused) as refused:
        together(
            cast,
            {"codes": ("N1",), "lot": new},
            {"codes": ("n1",), "lot": cast.lot},
            {"codes": ("N3",), "lot": cast.lot, "each_ml": 20_000},
            {"codes": ("N4",), "lot": other},
        )
    assert {n: said.split(":")[0] for n, said in refused.value.sentences.items()} == {
        1: "n1 was read here and in lot 1",
        2: "5.28 gal in each was read, and each holds 5.00 gal when full",  # 20 L ÷ 3.785411784
        3: "Lot ar-9 was read before with other dates",
    }
    assert not Container.objects.exists()
    assert not Movement.objects.exists()
    assert not Lot.objects.filter(batch="AR-9").exists()


PAILS = {"kind": "pail", "each_ml": PAIL_ML, "capacity_ml": PAIL_ML, "sealed": True}
DRUM = {"kind": "drum", "each_ml": 208_198, "capacity_ml": 208_198, "sealed": True}


def arrive(cast, *lots, clock=CLOCK, **values):
    """Lots that came together, each with its own paper."""
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), clock, **values)
    return receive_lots(
        entry, [Arrived(Delivery(**{"owner": cast.station, **stated}), paper) for stated, paper in lots]
    )


def test_what_is_short_is_added_up_among_lots_that_came_together(cast):
    """Of one concentrate 4 and 3 were ordered: 2 and 3 came, 2 are short. A later delivery says the order again."""
    arrive(
        cast,
        ({**PAILS, "codes": ("N1", "N2"), "lot": cast.lot}, Paper("PO-7", ordered=4)),
        ({**PAILS, "codes": ("N3", "N4", "N5"), "lot": NewLot(cast.ar, "AR-9", None)}, Paper("PO-7", ordered=3)),
    )
    found = outstanding(deliveries(cast.department))
    assert [(row.order_reference, row.ordered, short) for row, short in found] == [("PO-7", 7, 2)]
    later, last = (StoppedClock(CLOCK.now() + timedelta(days=days)) for days in (9, 10))
    arrive(cast, ({**PAILS, "codes": ("M1",), "lot": cast.lot}, Paper("po-7", ordered=7)), clock=later)
    assert [short for _, short in outstanding(deliveries(cast.department))] == [1]  # 7 − 5 − 1
    arrive(cast, ({**PAILS, "codes": ("M2",), "lot": cast.lot}, Paper("PO-7", ordered=1)), clock=last)
    assert outstanding(deliveries(cast.department)) == ()


def test_lots_that_came_together_have_one_moment(cast):
    """By a clock that runs on between them."""
    lots = [({**PAILS, "codes": (code,), "lot": cast.lot}, Paper("PO-7")) for code in ("N1", "N2")]
    arrive(cast, *lots, clock=SystemClock())
    assert len(set(Movement.objects.values_list("happened_at", "recorded_at"))) == 1


@pytest.mark.parametrize("order", [1, -1])
def test_one_lot_at_two_prices_is_valued_by_volume(cast, order):
    """Two pails at 150 and a drum at 900: 1,200 for 2 × 18.927 + 208.198 = 246.052 L is 4.877 a liter.

    Whichever stands first on the form.
    """
    new = NewLot(cast.ar, "AR-9", None)
    pails = {**PAILS, "codes": ("N1", "N2"), "lot": new}, Paper("PO-7", price=Price(15_000, PricePer.CONTAINER, "USD"))
    drum = {**DRUM, "codes": ("D1",), "lot": new}, Paper("PO-7", price=Price(90_000, PricePer.CONTAINER, "USD"))
    arrive(cast, *[pails, drum][::order])
    lot = Lot.objects.get(batch="AR-9")
    assert (lot.price_minor_per_l, lot.currency) == (488, "USD")
    assert Change.objects.filter(action="price lot").count() == 1


def test_a_price_of_a_part_of_a_lot_is_that_of_the_lot(cast):
    """900 ÷ 208.198 L = 4.323 a liter; nobody said what the pail cost."""
    drum = {**DRUM, "codes": ("D1",), "lot": cast.lot}, Paper("PO-7", price=Price(90_000, PricePer.CONTAINER, "USD"))
    arrive(cast, drum, ({**PAILS, "codes": ("N1",), "lot": cast.lot}, Paper("PO-7")))
    cast.lot.refresh_from_db()
    assert cast.lot.price_minor_per_l == 432


def test_one_lot_in_two_currencies_is_refused(cast):
    lots = [
        ({**PAILS, "codes": (code,), "lot": cast.lot}, Paper("PO-7", price=Price(15_000, PricePer.CONTAINER, currency)))
        for code, currency in (("N1", "USD"), ("N2", "EUR"))
    ]
    with pytest.raises(LotsRefused, match="Lot 2: A price in EUR was read, and one of this lot in USD before"):
        arrive(cast, *lots)
    assert not Movement.objects.exists()


def filled_tank(cast):
    """A delivery into a tank that the book knows, and one of a pail that it does not."""
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK)
    tank = cast.tank(code="T1")
    movements.receive(entry, container=tank, lot=cast.lot, ml=10_000, place=cast.on_vehicle)
    first = {**PAILS, "codes": ("T1",), "lot": cast.lot, "owner": None}, Paper("PO-7")
    return first, ({**PAILS, "codes": ("N1",), "lot": cast.lot}, Paper("PO-7"))


@pytest.mark.parametrize("change", ["a lot more", "a lot less", "another paper", "another code"])
def test_the_same_entry_with_other_lots_is_another_body(cast, change):
    first, second = filled_tank(cast)
    stated, own = second
    entry_id = new_id()
    arrive(cast, first, second, id=entry_id)
    before = Movement.objects.count(), Container.objects.count()
    again = {
        "a lot more": [first, second, ({**PAILS, "codes": ("N2",), "lot": cast.lot}, Paper("PO-7"))],
        "a lot less": [first],
        "another paper": [first, (stated, own._replace(ordered=2))],
        "another code": [first, ({**stated, "codes": ("N2",)}, own)],
    }[change]
    with pytest.raises(SameIdOtherBody):
        arrive(cast, *again, id=entry_id)
    assert (Movement.objects.count(), Container.objects.count()) == before


def test_a_lot_added_to_an_entry_of_one_is_another_body(cast):
    first, second = filled_tank(cast)
    entry_id = new_id()
    arrive(cast, first, id=entry_id)
    assert [posted.again for posted in arrive(cast, first, id=entry_id)] == [True]
    with pytest.raises(SameIdOtherBody):
        arrive(cast, first, second, id=entry_id)
    assert not Container.objects.filter(code="N1").exists()


def test_lots_sent_again_come_in_once(cast):
    entry = Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK, id=new_id())
    stated = {"each_ml": PAIL_ML, "kind": "pail", "capacity_ml": PAIL_ML, "sealed": True, "owner": cast.station}
    tank = cast.tank(code="T1")
    movements.receive(
        Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK),
        container=tank,
        lot=cast.lot,
        ml=10_000,
        place=cast.on_vehicle,
    )
    lots = [Delivery(codes=(code,), lot=cast.lot, **stated)._replace(owner=None) for code in ("T1",)]
    lots.append(Delivery(codes=("N1",), lot=cast.lot, **stated))
    for _ in range(2):
        receive_lots(entry, [Arrived(each) for each in lots])
    assert Movement.objects.count() == 3  # the tank's first filling, and one for each lot
