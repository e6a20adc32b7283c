"""Order points, store limits and the purchase list. Every expected value is worked by hand beside it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from math import sqrt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.models import Container, Order, Policy, StoreLimit, SupplySheet
from readiness.models.movements import Account
from readiness.reports.ageing import ageing
from readiness.reports.inventory import load_inventory
from readiness.reports.order_plans import order_plan_of
from readiness.reports.ordering import ABOVE, BELOW, WITHIN, ordering, purchase_list
from readiness.reports.planned_needs import planned_needs
from tests.cast import D0, PAIL_ML, LotFactory, StationFactory
from tests.judged import Rigged
from tests.reports.test_usage import Book
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db

NEED_ML = 167_221  # 44.175 gal (95 × 3.1 % × 15 min) = 167,220.57 mL, up to the whole milliliter


def found(cast):
    return ordering(cast.department, load_inventory(cast.department, D0))


def point(cast, concentrate=None):
    pk = (concentrate or cast.ar).pk
    return next(each for each in found(cast).points if each.concentrate_id == pk)


def sheet(cast, **values):
    plain = {"price": Decimal("31.00"), "price_on": D0, "price_source": "invented", "lead_time_d": 60}
    return SupplySheet.objects.create(department=cast.department, concentrate=cast.ar, **{**plain, **values})


def order(cast, containers, came=0, **values):
    bought = {"pack_kind": "pail", "pack_ml": PAIL_ML, "placed_on": D0, "station": cast.station}
    return Order.objects.create(
        department=cast.department,
        reference="PO-1",
        concentrate=cast.ar,
        containers=containers,
        came=came,
        **{**bought, **values},
    )


def shelf(cast, pails, lot=None, prefix="S"):
    for number in range(pails):
        stocked(cast, f"{prefix}{number}", lot or cast.lot)
    Container.objects.filter(code__startswith=prefix).update(sealed=True)


@pytest.fixture
def rigged(cast):
    """Engine 1, planned for 44.175 gal, judged; its nine pails stand aboard."""
    made = Rigged(cast)
    made.judge()
    return made


def test_the_largest_planned_need_of_all_that_count_on_it(cast, rigged):
    need = planned_needs(cast.department).of[cast.ar.pk]
    assert (need.need_ml, need.unit, need.duty) == (NEED_ML, "Engine 1", "gasoline spill")


def test_of_two_duties_the_larger_need_counts_whichever_comes_first(cast, rigged):
    for name, minutes in (("a longer one", 30), ("a shorter one", 10)):
        rigged.duty.pk, rigged.duty.name, rigged.duty.minutes = None, name, minutes
        rigged.duty.save(force_insert=True)
    rigged.judge()
    need = planned_needs(cast.department).of[cast.ar.pk]
    assert (need.need_ml, need.duty) == (334_442, "a longer one")  # 95 × 3.1 % × 30 = 88.35 gal = 334,441.13 mL


def test_an_assessment_of_another_version_is_named(cast, rigged):
    current = rigged.current()
    type(current).objects.filter(pk=current.pk).update(answers={})
    assert planned_needs(cast.department).unread == ("Engine 1",)
    assert found(cast).unread == ("Engine 1",)


def test_what_is_aboard_stands_at_its_post(cast, rigged):
    sheet(cast)
    shelf(cast, 8)
    one = point(cast)
    assert (one.point_ml, one.usable_ml, one.on_units_ml) == (NEED_ML, 8 * PAIL_ML, 9 * PAIL_ML)
    assert one.containers == 1  # 167,221 − 151,416 = 15,805 mL: a pail
    assert one.cost.words == "155.00 USD"  # 5 gal × 31
    Policy.objects.update(order_counts="all")
    assert (point(cast).usable_ml, point(cast).containers) == (17 * PAIL_ML, 0)


def test_what_is_on_order_counts_until_it_came(cast, rigged):
    shelf(cast, 6)
    made = order(cast, 4, came=1)
    one = point(cast)
    assert (one.on_order_ml, one.position_ml, one.containers) == (3 * PAIL_ML, 9 * PAIL_ML, 0)
    Order.objects.filter(pk=made.pk).update(closed_on=D0)
    assert point(cast).containers == 3


def test_what_expires_before_an_order_of_today_comes_does_not_count(cast, rigged):
    sheet(cast, lead_time_d=60)
    shelf(cast, 5)
    shelf(cast, 4, LotFactory(concentrate=cast.ar, makers_date=D0 + timedelta(days=59)), "X")
    one = point(cast)
    assert (one.usable_ml, one.lapsing_ml, one.position_ml) == (9 * PAIL_ML, 4 * PAIL_ML, 5 * PAIL_ML)
    assert one.containers == 4
    SupplySheet.objects.update(lead_time_d=59)
    assert point(cast).lapsing_ml == 0  # good through the day on which it comes


def test_use_in_the_lead_time_and_a_safety_stock(cast):
    book = Book(cast)
    Policy.objects.update(use_window_d=360)
    for n in range(12):  # 10 L and 20 L by turns, one in each period of 30 days
        book.used(10_000 if n % 2 else 20_000, 30 * n + 5)
    sheet(cast, lead_time_d=120, service_pct=9500)
    one = point(cast)
    # 180 L in 360 days: 0.5 L a day × 120 = 60 L; spread √(12 × 5² ÷ 11) = 5.2223 L a period, × √4 = 10.4447 in the
    # lead time; z(95 %) = 1.6448536: 17.180 L
    assert one.lead_use_ml == pytest.approx(60_000)
    assert one.deviation_ml == pytest.approx(1000 * 2 * sqrt(12 * 25 / 11))
    assert one.safety_ml == pytest.approx(17_180, abs=1)
    assert one.point_ml == pytest.approx(77_180, abs=1)


def test_why_there_is_no_safety_stock(cast):
    Book(cast, days=3)
    assert point(cast).safety_why_not == "the supply sheet states no service level"
    sheet(cast, service_pct=9500)
    assert point(cast).safety_why_not == "the book is too young to say how use varies"


def test_lead_time_and_price_where_no_sheet_says_them(cast):
    shelf(cast, 1)
    one = point(cast)
    assert (one.supply.lead_time_d, one.supply.lead_time_by_policy, one.price.public) == (90, True, True)
    assert (one.supply.pack_kind, one.supply.pack_ml) == ("pail", PAIL_ML)


def test_the_economic_quantity_with_its_inputs(cast):
    book = Book(cast)
    book.used(365_000, 10, Account.DRILL)  # 365 L in 365 days
    sheet(cast, price=Decimal("10.00"), per="L", order_cost=Decimal("73.00"), holding_pct=2000)
    aid = point(cast).economic
    # h = 20 % of 10.00 = 2.00 per L and year; √(2 × 73 × 365 ÷ 2) = √26,645 = 163.233 L; cost √(2 × 73 × 2 × 365)
    assert aid.holding_cost == pytest.approx(2.0)
    assert aid.quantity_ml == pytest.approx(163_233, abs=1)
    assert aid.yearly_cost == pytest.approx(sqrt(2 * 73 * 2 * 365))
    assert aid.containers == 9  # 163.233 ÷ 18.927 = 8.6
    SupplySheet.objects.update(order_cost=None)
    assert point(cast).economic.why_not == "there is no cost of an order"


# -- stores ------------------------------------------------------------------------------------------------------------


def limit(cast, least_gal, most_gal=None, station=None, concentrate=None):
    return StoreLimit.objects.create(
        department=cast.department,
        station=station or cast.station,
        concentrate=concentrate or cast.ar,
        least_ml=round(least_gal * 3785.411784),
        most_ml=None if most_gal is None else round(most_gal * 3785.411784),
    )


def test_a_store_beside_its_limits(cast):
    limit(cast, 10, 15)
    shelf(cast, 1)
    (row,) = found(cast).stores
    assert (row.state, row.usable_ml, row.short_ml) == (BELOW, PAIL_ML, 18_927)  # 37,854 − 18,927
    shelf(cast, 1, prefix="T")
    assert [each.state for each in found(cast).stores] == [WITHIN], "two pails are ten gallons"
    shelf(cast, 2, prefix="U")
    (row,) = found(cast).stores
    assert (row.state, row.over_ml) == (ABOVE, 4 * PAIL_ML - 56_781)  # 15 gal = 56,781.18 mL
    Container.objects.filter(code="U0").update(quarantined=True)
    (row,) = found(cast).stores
    assert (row.state, row.usable_ml, row.out_ml) == (WITHIN, 3 * PAIL_ML, PAIL_ML)


def test_the_purchase_list_fills_stores_first_and_the_rest_goes_where_most_room_is(cast, rigged):
    sheet(cast)
    hill = StationFactory(department=cast.department, name="Hilltop")
    limit(cast, 10, 30)
    limit(cast, 5, 100, hill)
    shelf(cast, 1)
    lines = {line.station: line for line in purchase_list(found(cast))}
    # Order point 44.175 gal, on hand 5, maxima 30 + 100: up to 125 more gallons are 25 pails. Quayside lacks 1 pail
    # of its minimum, Hilltop 1; of the other 23 Hilltop takes 19 (20 pails are its 100 gal), Quayside 4 (30 gal).
    assert {station: line.containers for station, line in lines.items()} == {"Hilltop": 20, "Quayside": 5}
    assert (lines["Hilltop"].minimum.station, lines["Hilltop"].point.containers) == ("Hilltop", 25)
    assert lines["Hilltop"].cost.words == "3,100.00 USD"  # 20 × 5 × 31


def test_a_store_that_only_lacks_its_minimum_says_only_that(cast):
    limit(cast, 10)
    (line,) = purchase_list(found(cast))
    assert (line.containers, line.minimum.short_ml, line.point) == (2, 37_854, None)


def test_what_is_on_order_for_a_store_is_not_bought_again(cast):
    limit(cast, 10)
    order(cast, 2)
    assert purchase_list(found(cast)) == ()
    (row,) = found(cast).stores
    assert (row.state, row.on_order_ml) == (BELOW, 2 * PAIL_ML)


def test_without_limits_somebody_chooses_the_store(cast, rigged):
    sheet(cast)
    (line,) = purchase_list(found(cast))
    assert (line.station_id, line.station, line.containers) == (None, "", 9)


# -- in which years ----------------------------------------------------------------------------------------------------


def test_replacing_together_what_falls_due_in_neighboring_years(cast):
    sheet(cast, price=Decimal("10.00"), per="L", order_cost=Decimal("50.00"), holding_pct=1000)
    for year, pails in ((1, 2), (2, 1), (5, 3)):
        lot = LotFactory(concentrate=cast.ar, makers_date=D0 + timedelta(days=365 * year))
        shelf(cast, pails, lot, prefix=f"Y{year}-")
    inventory = load_inventory(cast.department, D0)
    plan = order_plan_of(cast.department, ageing(cast.department, inventory), point(cast))
    # h = 10 % of 10.00 = 1.00 per L and year. 2027 with 2028: one pail kept a year costs 18.93, an order 50.00.
    # 2031's three pails kept three years would cost 170.34: an order of their own. 50 + 18.93 + 50 = 118.93
    assert {year.year: year.order_ml for year in plan.years if year.order_ml} == {
        "2027": 3 * PAIL_ML,
        "2031": 3 * PAIL_ML,
    }
    assert plan.cost == pytest.approx(118.93, abs=0.005)
    assert plan.cost_each_year == 150


def test_the_queries_do_not_grow(cast, rigged):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            purchase_list(found(cast))
        return len(caught)

    limit(cast, 10)
    few = queries()
    for number in range(4):
        station = StationFactory(department=cast.department)
        limit(cast, 10, station=station)
        limit(cast, 10, station=station, concentrate=cast.class_a)
        order(cast, 1, station=station)
        shelf(cast, 1, prefix=f"Q{number}")
    assert queries() == few
