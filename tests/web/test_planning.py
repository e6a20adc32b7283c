"""Planning at a glance, ageing, rotation, pick lists, order points, purchase and orders on pages: numbers by hand."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.models import Container, Order, Policy, Role, StoreLimit, SupplySheet
from readiness.web.charts import Bar, bars
from tests.cast import D0, ConcentrateFactory, LotFactory
from tests.judged import Rigged
from tests.web.county_pages import words as words_of
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db

PAGES = ("planning", "ageing", "rotation", "pick_list", "order_points", "purchase", "orders", "audit")


def words(answer):
    """What a page says."""
    return words_of(answer.content)


@pytest.fixture
def officer(as_role):
    return as_role(Role.LOGISTICS)


def sheet(answer, title):
    return list(load_workbook(io.BytesIO(answer.content))[title].iter_rows(values_only=True))


def pail(cast, code, days, place=None, **more):
    lot = LotFactory(concentrate=more.pop("concentrate", cast.ar), makers_date=D0 + timedelta(days=days))
    made = stocked(cast, code, lot, place)
    Container.objects.filter(pk=made.pk).update(sealed=True)
    return made


@pytest.fixture
def priced(cast):
    SupplySheet.objects.create(
        department=cast.department,
        concentrate=cast.ar,
        price=Decimal("31.00"),
        price_on=D0 - timedelta(days=40),
        price_source="quotation 7",
        disposal=Decimal("58.00"),
        disposal_on=D0,
        disposal_source="quotation 8",
        lead_time_d=60,
    )
    return cast


def test_everybody_reads_and_only_some_are_offered_to_buy(priced, as_role):
    for role in Role:
        for url in PAGES:
            assert as_role(role).get(reverse(url)).status_code == 200, (url, role)
    assert "Note an order" in words(as_role(Role.LOGISTICS).get(reverse("orders")))
    assert "Note an order" not in words(as_role(Role.CREW).get(reverse("orders")))


# -- ageing ------------------------------------------------------------------------------------------------------------


def test_two_pails_of_september_with_their_cost(priced, officer):
    pail(priced, "P1", 107)
    pail(priced, "P2", 107)
    answer = officer.get(reverse("ageing"))
    page = words(answer)
    # 10 gal × (31 + 58) = 890.00, due on 1 October 2026
    assert "2026-10 Demo AR-AFFF 3x6 replace expired 2 10.0 gal 0.0 gal 890.00 USD P1, P2" in page
    assert "2026 2 10.0 gal 310.00 580.00 890.00 USD 0" in page
    assert "2026-09-30 2027-09-30 1 5.0 gal" in page, "one sample for each of the two lots"
    assert "31.00 USD/gal (quotation 7, 2026-05-06, 40 days old)" in page


def test_the_chart_says_the_same_in_words_and_needs_no_color(priced, officer):
    pail(priced, "P1", 107)
    html = officer.get(reverse("ageing")).content.decode()
    assert 'role="img" aria-labelledby="chart-title chart-words"' in html
    assert "Replacement and disposal. 2026: 155 and 290." in html
    assert 'id="hatch"' in html
    assert "style=" not in re.search(r"<svg class=\"chart\".*?</svg>", html, flags=re.S)[0]


def test_bars_are_to_scale():
    drawn = str(bars("t", "d", "one", "two", [Bar("a", 30, 10, "40"), Bar("b", 0, 20, "20")]))
    widths = [float(each) for each in re.findall(r'width="([\d.]+)" height="15"', drawn)]
    room = 360 - 100 - 62  # what label and figure leave of the width
    assert widths == [pytest.approx(room * share, abs=0.05) for share in (0.75, 0.25, 0, 0.5)]


def test_no_chart_where_nothing_costs(cast, officer):
    assert '<svg class="chart"' not in officer.get(reverse("ageing")).content.decode()


def test_what_has_no_price_is_said(cast, officer):
    pail(cast, "A1", 30, concentrate=cast.class_a)
    page = words(officer.get(reverse("ageing")))
    assert "10.0 gal of what falls due has no price, and is in no sum." in page
    assert "not priced" in page
    assert "no price known" in page


def test_the_workbooks_of_ageing(priced, officer):
    pail(priced, "P1", 107)
    months = sheet(officer.get(reverse("ageing"), {"export": "xlsx"}), "Ageing")
    row = dict(zip(months[0], months[1], strict=True))
    assert (row["Month"], row["Replacement"], row["Disposal"], row["Together"], row["Currency"]) == (
        "2026-10",
        155,
        290,
        445,
        "USD",
    )
    years = sheet(officer.get(reverse("ageing"), {"export": "years"}), "Budget by year")
    assert [each[0] for each in years[1:4]] == ["now", "2026", "2027"]
    savings = sheet(officer.get(reverse("ageing"), {"export": "savings"}), "What a passed sample would save")
    assert savings[1][7] == 445


# -- rotation and pick lists -------------------------------------------------------------------------------------------


def test_a_swap_with_its_two_moves(cast, officer, as_role):
    Policy.objects.update(drill_with_pfas=False)
    pail(cast, "A1", 50, cast.on_unit)
    pail(cast, "S1", 900)
    answer = officer.get(reverse("rotation"))
    assert (
        "Engine 1 Demo AR-AFFF 3x6 A1 2026-08-04 S1 2028-12-01 850 Quayside to the store; no drill: holds PFAS"
        in words(answer)
    )
    html = answer.content.decode()
    assert f"code=S1&amp;owner=unit-{cast.unit.pk}&amp;compartment=L3" in html
    assert f"code=A1&amp;owner=station-{cast.station.pk}" in html
    assert "Move 1 on" not in words(as_role(Role.CREW).get(reverse("rotation")))


def test_a_pick_list_for_a_drill_names_what_it_leaves_out(cast, officer):
    Policy.objects.update(drill_with_pfas=False)
    f3 = ConcentrateFactory(department=cast.department, name="Demo F3", kind="F3", pfas="no")
    pail(cast, "F1", 40, concentrate=f3)
    pail(cast, "P1", 10)
    asked = {"use": "drill", "volume_number": "7", "volume_unit": "gal"}
    page = words(officer.get(reverse("pick_list"), asked))
    assert "For a drill: 7.0 gal" in page
    assert "The stores are 2.0 gal short of that." in page  # 7 less 5; what whole milliliters cost is no tenth more
    assert "1 F1 Demo F3" in page
    assert "Demo AR-AFFF 3x6: 1 container, 5.0 gal holds PFAS" in page


def test_a_pick_list_for_a_unit_asks_what_it_needs(cast, officer):
    asked = {"use": "restock", "volume_number": "5", "volume_unit": "gal"}
    page = words(officer.get(reverse("pick_list"), asked))
    assert "say which concentrate it takes" in page
    assert "say which unit is restocked" in page
    pail(cast, "S1", 900)
    answer = officer.get(reverse("pick_list"), {**asked, "concentrate": cast.ar.pk, "unit": cast.unit.pk})
    assert "To restock Engine 1: 5.0 gal of Demo AR-AFFF 3x6" in words(answer)
    assert f"code=S1&amp;owner=unit-{cast.unit.pk}" in answer.content.decode()


@pytest.mark.parametrize("asked", [{"use": "drill"}, {"use": "party", "volume_number": "-1", "volume_unit": "gal"}])
def test_a_pick_list_for_nothing_sensible_gets_a_sentence(cast, officer, asked):
    answer = officer.get(reverse("pick_list"), asked)
    assert answer.status_code == 200
    assert "has to be put right" in words(answer) or "have to be put right" in words(answer)


# -- order points and purchase -----------------------------------------------------------------------------------------


def test_the_working_of_an_order_point(priced, officer):
    rig = Rigged(priced)
    rig.judge()
    pail(priced, "S1", 900)
    page = words(officer.get(reverse("order_point", args=[priced.ar.pk])))
    # need 95 gpm × 3.1 % × 15 min = 44.175 gal; 5 gal in the store: 39.175 short, eight pails at 5 × 31 = 155.00
    assert "Largest planned need gasoline spill of Engine 1, line need 44.2 gal" in page
    assert "Usable on hand in the stores, 1 containers 5.0 gal" in page
    assert "8 × pail of 5.0 gal" in page
    assert "order 8 × pail, 1,240.00 USD" in page
    listed = words(officer.get(reverse("order_points")))
    assert "Demo AR-AFFF 3x6 order 44.2 gal" in listed


def test_the_purchase_list_says_why_and_leads_to_the_order(priced, officer):
    StoreLimit.objects.create(
        department=priced.department, station=priced.station, concentrate=priced.ar, least_ml=37_854
    )
    answer = officer.get(reverse("purchase"))
    page = words(answer)
    assert "Together 310.00 USD." in page
    assert "Quayside store has 0.0 gal usable, below its minimum of 10.0 gal." in page
    table = sheet(officer.get(reverse("purchase"), {"export": "xlsx"}), "Purchase list")
    row = dict(zip(table[0], table[1], strict=True))
    assert (row["Buy"], row["Volume [gal]"], row["Cost"], row["Currency"]) == (2, 10, 310, "USD")
    way = re.search(r'href="(/planning/orders/place/[^"]+)"', answer.content.decode())[1].replace("&amp;", "&")
    form = officer.get(way)
    html = form.content.decode()
    assert 'name="containers" value="2"' in html
    assert f'<option value="{priced.station.pk}" selected>' in html


def test_an_order_placed_received_in_part_and_given_up(priced, officer):
    address = reverse("order_place")
    posted = {
        "reference": "PO-7",
        "concentrate": priced.ar.pk,
        "station": priced.station.pk,
        "containers": "4",
        "pack_kind": "pail",
        "pack_ml_number": "5",
        "pack_ml_unit": "gal",
        "placed_on": D0.isoformat(),
        "expected_on": (D0 - timedelta(days=1)).isoformat(),
        "price": "$31.00",
        "per": "gal",
        "currency": "usd",
    }
    assert "lies before the order" in words(officer.post(address, posted))
    page = words(officer.post(address, {**posted, "expected_on": ""}, follow=True))
    assert "Order PO-7 is noted" in page
    assert "PO-7 on order Demo AR-AFFF 3x6 Quayside 4 0 pail 20.0 gal 31.00 gal USD" in page
    assert "is on that order already" in words(officer.post(address, {**posted, "expected_on": ""}))
    order = Order.objects.get()
    assert "of order PO-7 4 are still to come" in words(
        officer.post(reverse("order_arrival", args=[order.pk]), {"came": "5"})
    )
    page = words(officer.post(reverse("order_arrival", args=[order.pk]), {"came": "3"}, follow=True))
    assert "Came 3 of 4" in page
    page = words(officer.post(reverse("order_close", args=[order.pk]), {"because": "out of print"}, follow=True))
    assert "closed 2026-06-15: out of print" in page
    assert "PO-7" not in words(officer.get(reverse("orders")))
    assert "PO-7" in words(officer.get(reverse("orders"), {"which": "closed"}))


@pytest.mark.parametrize("typed", ["31,5", "1.234", "-4", "free", "1e3", "½"])
def test_money_that_cannot_be_read_gets_a_sentence(cast, officer, typed):
    answer = officer.post(reverse("reference_supply_sheet_add"), {"concentrate": cast.ar.pk, "price": typed})
    assert "was read: write money like 27.50 or 1,250.00." in words(answer)
    assert not SupplySheet.objects.exists()


def test_a_supply_sheet_by_its_form(cast, officer):
    posted = {
        "concentrate": cast.ar.pk,
        "per": "gal",
        "currency": "USD",
        "price": "1,031.50",
        "price_on": D0.isoformat(),
        "price_source": "quotation 9",
        "pack_kind": "drum",
        "pack_ml_number": "55",
        "pack_ml_unit": "gal",
        "service_pct": "95",
        "holding_pct": "15",
    }
    page = words(officer.post(reverse("reference_supply_sheet_add"), posted, follow=True))
    assert "is saved" in page
    made = SupplySheet.objects.get()
    assert (made.price, made.pack_ml, made.service_pct, made.holding_pct) == (
        Decimal("1031.50"),
        208_198,
        9500,
        1500,  # 55 gal = 208,197.65 mL
    )


def test_planning_at_a_glance(priced, officer):
    StoreLimit.objects.create(
        department=priced.department, station=priced.station, concentrate=priced.ar, least_ml=37_854
    )
    pail(priced, "P1", -3, priced.on_unit)
    page = words(officer.get(reverse("planning")))
    assert "No unit has a par list yet." in page
    assert "Quayside store: Demo AR-AFFF 3x6 10.0 gal below its minimum" in page
    assert "Due already: 5.0 gal in 1 container, 445.00 USD to replace and dispose of" in page


def test_the_audit_workbook_is_saved(cast, officer):
    stocked(cast, "P1")
    answer = officer.get(reverse("audit_workbook"))
    assert answer["Content-Disposition"] == 'attachment; filename="audit-quay-county-fire-department-2026-06-15.xlsx"'
    book = load_workbook(io.BytesIO(answer.content))
    assert book["Containers"]["A2"].value == "P1"
    made_by = [row[1] for row in book["About"].iter_rows(values_only=True) if row[0] == "Made by"]
    assert made_by == [f"logistics.{cast.department.slug}, logistics officer"]


@pytest.mark.parametrize("url", PAGES)
def test_the_queries_do_not_grow(priced, officer, url):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse(url))
        return len(caught)

    few = 0
    for number in range(6):
        if number == 1:
            few = queries()
        pail(priced, f"A{number}", 50, priced.on_unit)
        pail(priced, f"B{number}", 900)
        Order.objects.create(
            department=priced.department,
            reference=f"PO-{number}",
            concentrate=priced.ar,
            station=priced.station,
            containers=1,
            pack_kind="pail",
            pack_ml=18_927,
            placed_on=D0,
        )
    assert queries() == few
