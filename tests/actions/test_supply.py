"""Supply sheets, and orders that are placed, come in parts or are given up."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.keeping import NotKept
from readiness.actions.permissions import NotAllowed
from readiness.actions.supply import (
    SUPPLY_SHEETS,
    OrderFacts,
    SupplyFacts,
    close_order,
    note_arrival,
    place_order,
)
from readiness.models import Change, Order, Role
from tests.cast import D0
from tests.keeping import desk, faults, last_change

pytestmark = pytest.mark.django_db


def quoted(cast, **more):
    facts = SupplyFacts(cast.ar, price=Decimal("31.00"), price_on=D0, price_source="quotation 7", lead_time_d=60)
    return facts._replace(**more)


def ordered(cast, **more):
    return OrderFacts("PO-7", cast.ar, cast.station, 4, "pail", 18_927, D0 - timedelta(days=3))._replace(**more)


def test_a_price_is_kept_with_its_day_and_source(cast):
    made = SUPPLY_SHEETS.save(desk(cast, Role.LOGISTICS), quoted(cast, currency=" usd "))
    assert (made.price, made.currency, made.lead_time_d) == (Decimal("31.00"), "USD", 60)
    SUPPLY_SHEETS.save(desk(cast), quoted(cast, price=Decimal("32.50")), made)
    assert last_change() == ("change supply sheet", {"price": "31"}, {"price": "32.5"})


@pytest.mark.parametrize(
    ("more", "fact", "said"),
    [
        ({"price_source": ""}, "price_source", "say who quoted it"),
        ({"price_on": None}, "price_on", "so that its age shows"),
        ({"price_on": D0 + timedelta(days=1)}, "price_on", "today (2026-06-15) or a day before"),
        ({"price": Decimal("-1")}, "price", "from 0 to 100,000"),
        ({"price": Decimal("1.005")}, "price", "at most two decimals"),
        ({"price": Decimal("NaN")}, "price", "from 0 to 100,000"),
        ({"currency": "U5D"}, "currency", "three letters"),
        ({"lead_time_d": 4000}, "lead_time_d", "from 1 to 1,830 days"),
        ({"pack_ml": 0}, "pack_ml", "More than nothing"),
        ({"service_pct": 10_000}, "service_pct", "nothing makes running out impossible"),
    ],
)
def test_what_cannot_be_gets_a_sentence(cast, more, fact, said):
    assert said in faults(SUPPLY_SHEETS, cast, quoted(cast, **more))[fact]


def test_one_sheet_a_concentrate(cast):
    made = SUPPLY_SHEETS.save(desk(cast), quoted(cast))
    assert "has its supply sheet already" in faults(SUPPLY_SHEETS, cast, quoted(cast))["concentrate"]
    assert "stays with" in faults(SUPPLY_SHEETS, cast, quoted(cast, concentrate=cast.class_a), made)["concentrate"]


def test_an_order_is_noted(cast):
    made = place_order(desk(cast, Role.LOGISTICS), ordered(cast, reference=" PO  7 ", price=Decimal("31.00")))
    assert (made.reference, made.containers, made.came, made.closed_on) == ("PO 7", 4, 0, None)
    action, old, new = last_change()
    assert (action, old, new["reference"], new["price"]) == ("place order", None, "PO 7", "31")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"reference": " "}, "an order has a reference"),
        ({"containers": 0}, "from 1 to 10,000"),
        ({"placed_on": D0 + timedelta(days=1)}, "today (2026-06-15) or a day before"),
        ({"expected_on": D0 - timedelta(days=9)}, "lies before the order"),
        ({"pack_ml": 0}, "More than nothing"),
        ({"currency": ""}, "three letters"),
    ],
)
def test_what_is_no_order_gets_a_sentence(cast, more, said):
    with pytest.raises(NotKept) as refused:
        place_order(desk(cast), ordered(cast, **more))
    assert said in str(refused.value)
    assert not Order.objects.exists()


def test_the_same_order_twice_is_refused(cast):
    place_order(desk(cast), ordered(cast))
    with pytest.raises(NotKept, match="is on that order already"):
        place_order(desk(cast), ordered(cast, reference="po-7"))
    place_order(desk(cast), ordered(cast, concentrate=cast.class_a))  # another concentrate of the same order
    assert Order.objects.count() == 2


def test_it_comes_in_parts_and_is_closed_when_all_came(cast):
    made = place_order(desk(cast), ordered(cast))
    assert note_arrival(desk(cast), made, 3).came == 3
    with pytest.raises(Refused, match="1 are still to come, so 1 to 1 belong here"):
        note_arrival(desk(cast), made, 2)
    whole = note_arrival(desk(cast), made, 1)
    assert (whole.came, whole.closed_on, whole.closed_because) == (4, D0, "all came")
    assert last_change()[1:] == (
        {"came": 3, "closed_on": None, "closed_because": ""},
        {"came": 4, "closed_on": "2026-06-15", "closed_because": "all came"},
    )
    with pytest.raises(Refused, match=r"was closed on 2026-06-15 \(all came\)"):
        note_arrival(desk(cast), made, 1)


def test_the_rest_is_given_up_with_a_reason(cast):
    made = place_order(desk(cast), ordered(cast))
    with pytest.raises(Refused, match="No reason was read"):
        close_order(desk(cast), made, " ")
    closed = close_order(desk(cast), made, "the maker stopped making it")
    assert (closed.closed_on, closed.came) == (D0, 0)
    with pytest.raises(Refused, match="was closed"):
        close_order(desk(cast), made, "again")


@pytest.mark.parametrize("role", [role for role in Role if role not in (Role.LOGISTICS, Role.CHIEF)])
def test_nobody_else_buys(cast, role):
    made = Order.objects.create(department=cast.department, **ordered(cast)._asdict())
    for act in (
        lambda: SUPPLY_SHEETS.save(desk(cast, role), quoted(cast)),
        lambda: place_order(desk(cast, role), ordered(cast)),
        lambda: note_arrival(desk(cast, role), made, 1),
        lambda: close_order(desk(cast, role), made, "no money"),
    ):
        with pytest.raises(NotAllowed, match="To purchase is for: chief, logistics officer"):
            act()
    assert not Change.objects.exists()
