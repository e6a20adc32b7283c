"""Stock, what runs out when, and units short: what the pages and their workbooks say."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.models import Container, Membership, Role, User
from tests.cast import D0, PAIL_ML, ConcentrateFactory, LotFactory
from tests.county import LOCAL_SIX, loaded
from tests.web.conftest import as_person
from tests.web.entering import stocked, words

pytestmark = pytest.mark.django_db

PAGES = ("stock", "expiries", "short")


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


@pytest.fixture
def county(django_capture_on_commit_callbacks, monkeypatch):
    """The demo's county at 06:00 of D0, and its logistics officer's browser."""
    from readiness.actions.clock import StoppedClock
    from readiness.web import access

    monkeypatch.setattr(access, "CLOCK", StoppedClock(LOCAL_SIX))
    with django_capture_on_commit_callbacks(execute=True):
        loaded()
    return as_person(User.objects.get(username="logistics"))


def sheet(answer, title):
    """A table of a workbook, row by row."""
    return list(load_workbook(io.BytesIO(answer.content))[title].iter_rows(values_only=True))


def test_everybody_of_the_department_may_look_and_nobody_else_sees_it(cast, as_role):
    stocked(cast)
    for url in PAGES:
        for role in Role:
            assert as_role(role).get(reverse(url)).status_code == 200, (url, role)
    assert "Demo AR-AFFF" not in words(as_person(cast.outsider).get(reverse("stock")))


def test_stock_with_its_totals(cast, officer):
    stocked(cast, "P1")
    stocked(cast, "A1", cast.class_a_lot, cast.on_unit)
    page = words(officer.get(reverse("stock")))
    assert "Demo AR-AFFF 3x6 AR-AFFF yes with PFAS Quayside 5.0 gal 0.0 gal 0.0 gal 5.0 gal 0.0 gal 1" in page
    assert "Demo Class A Class A no without Quayside 0.0 gal 5.0 gal 0.0 gal 5.0 gal 0.0 gal 1" in page
    # 18,927 + 18,927 = 37,854 mL: ten gallons but for what two pails' rounding costs
    assert "All concentrates 5.0 gal 5.0 gal 0.0 gal 10.0 gal 0.0 gal 2" in page


def test_the_workbook_of_stock_has_numbers_and_harmless_names(cast, officer):
    risky = ConcentrateFactory(department=cast.department, name="=HYPERLINK(1)", kind="AFFF")
    stocked(cast, "P1", LotFactory(concentrate=risky))
    answer = officer.get(reverse("stock"), {"export": "xlsx"})
    book = load_workbook(io.BytesIO(answer.content))
    headings, row = list(book["Stock"].iter_rows(values_only=True))
    assert headings[5] == "In the store [gal]"
    assert (row[0], row[4], row[5]) == ("=HYPERLINK(1)", "Quayside", 5)
    cell = book["Stock"]["A2"]
    assert (cell.data_type, cell.quotePrefix) == ("s", True)
    totals = sheet(officer.get(reverse("stock"), {"export": "totals"}), "Totals")
    assert totals[-1][0] == "All concentrates"


def test_metric_readers_read_liters(cast, officer):
    stocked(cast)
    officer.post(reverse("choose_units"), {"units": "metric"})
    assert "18.9 L" in words(officer.get(reverse("stock")))  # 18.927 L, rounded down


def test_what_runs_out_when_by_month(cast, officer):
    stocked(cast, "P1", LotFactory(concentrate=cast.ar, makers_date=D0 + timedelta(days=107)))  # 30 September 2026
    Container.objects.update(sealed=True)
    page = words(officer.get(reverse("expiries")))
    assert "2026-09 2026-09-30 Demo AR-AFFF 3x6" in page
    table = sheet(officer.get(reverse("expiries"), {"export": "xlsx"}), "What runs out when")
    assert table[1][:1] == ("2026-09",)


def test_the_county_is_short_where_the_worked_table_says_so(county):
    page = words(county.get(reverse("short")))
    for said in (
        # Engine 6: 54.0 − 38.5 = 15.5, 4 pails; Hazmat 1: 54 − 20 = 34, 7; kit: 13.5 − 2.5 = 11, 3
        "Short 15.5 gal of Demo AR-AFFF 3x6: 4 pails of 5 gal Usable 38.5 gal of 54.0 gal (textbook need).",
        "Short 34.0 gal of Demo AR-AFFF 3x6: 7 pails of 5 gal Usable 20.0 gal of 54.0 gal",
        "Short 11.0 gal of Demo AR-AFFF 3x6: 3 pails of 5 gal Usable 2.5 gal of 13.5 gal (line need).",
        # Engine 2, E85: AR-F3 would do at 200 ft² × 0.24 × 3 % × 15 min = 21.6 gal, 5 pails
        "Nothing aboard counts for it. At least 21.6 gal of a concentrate that does: 5 pails of 5 gal",
        "Quayside (own station): 40.0 gal of Demo AR-AFFF 3x6 in 8 containers Move 7 to Hazmat 1",
    ):
        assert said in page
    # Engine 6 is fed by its tank, which is full: no form to pour into it is offered
    assert "T-206B (Demo AR-AFFF 3x6, full)" in page
    assert "Pour 4 into T-206B" not in page
    table = sheet(county.get(reverse("short"), {"export": "xlsx"}), "Units short of concentrate")
    by_unit = {row[0]: row for row in table[1:]}
    assert by_unit["Hazmat 1"][9:11] == (34.0, 7)


def test_who_may_not_move_is_offered_no_form(county):
    department = Membership.objects.first().department
    crew = as_person(User.objects.get(username="crew", memberships__department=department))
    page = words(crew.get(reverse("short")))
    assert "Short 34.0 gal" in page
    assert "Move 7 to Hazmat 1" not in page


@pytest.mark.parametrize("url", PAGES)
def test_the_queries_do_not_grow(cast, officer, url):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse(url))
        return len(caught)

    stocked(cast, "P1", place=cast.on_unit)
    few = queries()
    for number in range(6):
        stocked(cast, f"Q{number}", cast.other_lot, cast.on_unit, ml=PAIL_ML)
    assert queries() == few
