"""What falls due when, and what it costs: sums by hand."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions.evidence import record_sample
from readiness.actions.permissions import OWNER
from readiness.models import Container, Lot, Policy, SupplySheet
from readiness.reports.ageing import REPLACE, SAMPLE, SETTLE, ageing, budget_year
from readiness.reports.inventory import load_inventory
from readiness.reports.prices import Money
from tests.cast import CLOCK, D0, ConcentrateFactory, LotFactory
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db


def sealed(cast, code, days, **more):
    """A sealed pail whose maker's date lies so many days from today; None: no date is known."""
    makers = None if days is None else D0 + timedelta(days=days)
    made = stocked(cast, code, LotFactory(concentrate=more.pop("concentrate", cast.ar), makers_date=makers, **more))
    Container.objects.filter(pk=made.pk).update(sealed=True)
    return made


def found(cast, day=D0):
    return ageing(cast.department, load_inventory(cast.department, day))


def quoted(cast, price="31.00", disposal="58.00", per="gal"):
    return SupplySheet.objects.create(
        department=cast.department,
        concentrate=cast.ar,
        price=Decimal(price),
        disposal=Decimal(disposal),
        per=per,
        price_on=D0,
        price_source="invented quotation",
    )


def test_two_pails_that_expire_in_september(cast):
    quoted(cast)
    sealed(cast, "P1", 107)  # 30 September 2026
    sealed(cast, "P2", 107)
    (row,) = found(cast).months
    assert (row.period, row.first_day, row.what, row.why) == ("2026-10", date(2026, 10, 1), REPLACE, "expired")
    # 10 gal × 31.00 = 310.00 and 10 gal × 58.00 = 580.00; whole milliliters cost no cent of it
    assert (row.replacement, row.disposal) == (Money({"USD": 31_000}), Money({"USD": 58_000}))
    assert row.cost.words == "890.00 USD"
    assert (row.containers, row.volume_ml, row.codes) == (2, 2 * 18_927, ("P1", "P2"))


def test_what_is_out_today_is_due_now(cast):
    quoted(cast)
    sealed(cast, "P1", -10)
    now = found(cast).years[0]
    assert (now.year, now.first_day, now.replace_containers) == ("now", None, 1)
    assert now.cost.words == "445.00 USD"  # 5 × (31 + 58)


def test_what_is_in_doubt_is_sampled_and_costs_no_concentrate(cast):
    quoted(cast)
    sealed(cast, "P1", None)
    (row,) = found(cast).months
    assert (row.period, row.what, row.why, row.cost) == ("now", SAMPLE, "date not known", Money({}))


def test_what_is_set_aside_is_settled_and_not_priced(cast):
    quoted(cast)
    made = sealed(cast, "P1", 900)
    Container.objects.filter(pk=made.pk).update(quarantined=True)
    (row,) = found(cast).months
    assert (row.period, row.what, row.cost) == ("now", SETTLE, Money({}))
    Container.objects.filter(pk=made.pk).update(quarantined=False, mixed=True)
    (row,) = found(cast).months
    assert (row.what, row.cost.words) == (REPLACE, "445.00 USD")


def test_prices_by_sheet_then_by_lot_then_by_public_figures(cast):
    lot = LotFactory(concentrate=cast.ar, makers_date=D0 + timedelta(days=30), price_minor_per_l=726, currency="USD")
    stocked(cast, "P1", lot)
    Container.objects.update(sealed=True)
    (row,) = found(cast).months
    # 18.927 L × 7.26 = 137.41; disposal by public figures: 5 gal × 56 = 280.00
    assert (row.replacement, row.disposal) == (Money({"USD": 13_741}), Money({"USD": 28_000}))
    quoted(cast)
    (row,) = found(cast).months
    assert row.replacement == Money({"USD": 15_500})  # 5 × 31
    Lot.objects.update(price_minor_per_l=None)
    SupplySheet.objects.all().delete()
    (row,) = found(cast).months
    assert row.replacement == Money({"USD": 14_000})  # 5 × 28, the middle of 25 to 31


def test_a_concentrate_without_a_price_is_counted_and_not_taken_for_nothing(cast):
    sealed(cast, "A1", 30, concentrate=cast.class_a)
    (row,) = found(cast).months
    assert row.cost == Money({}, 2 * 18_927)  # to replace and to dispose of
    assert row.replacement.unpriced_ml == 18_927


def test_currencies_are_never_added(cast):
    quoted(cast)
    other = ConcentrateFactory(department=cast.department, name="Demo F3", kind="F3", pfas="no")
    SupplySheet.objects.create(
        department=cast.department, concentrate=other, price=Decimal(10), disposal=Decimal(0), per="L", currency="EUR"
    )
    sealed(cast, "P1", 30)
    sealed(cast, "F1", 30, concentrate=other)
    year = next(year for year in found(cast).years if year.replace_containers)
    assert year.cost.cents == {"USD": 44_500, "EUR": 18_927}  # 18.927 L × 10.00 EUR
    assert year.cost.words == "189.27 EUR, 445.00 USD"


@pytest.mark.parametrize(
    ("day", "month", "year", "begins"),
    [
        (date(2026, 6, 30), 1, 2026, date(2026, 1, 1)),
        (date(2026, 6, 30), 7, 2026, date(2025, 7, 1)),
        (date(2026, 7, 1), 7, 2027, date(2026, 7, 1)),
        (date(2026, 9, 30), 10, 2026, date(2025, 10, 1)),
        (date(2026, 10, 1), 10, 2027, date(2026, 10, 1)),
    ],
)
def test_a_budget_year_is_named_after_the_year_it_ends_in(day, month, year, begins):
    assert budget_year(day, month) == (year, begins)


def test_years_by_the_department_s_budget(cast):
    quoted(cast)
    Policy.objects.update(budget_month=7)
    sealed(cast, "P1", 15)  # good through 30 June 2026: due on 1 July, the first day of FY 2027
    sealed(cast, "P2", 14)  # good through 29 June: due on 30 June, in FY 2026
    sealed(cast, "P3", 5000)
    years = {year.year: year.replace_containers for year in found(cast).years}
    assert (years["FY 2026"], years["FY 2027"], years["FY 2036 and later"]) == (1, 1, 1)
    assert len(years) == 12  # now, ten years, and later
    assert [year.first_day for year in found(cast).years][1:3] == [date(2025, 7, 1), date(2026, 7, 1)]


def test_a_passed_sample_carries_a_lot_on_from_its_last_good_day(cast):
    quoted(cast)
    sealed(cast, "P1", 107)
    (saving,) = found(cast).savings
    assert (saving.take_by, saving.until) == (date(2026, 9, 30), date(2027, 9, 30))  # 365 days later
    assert (saving.containers, saving.saved.words, saving.overdue) == (1, "445.00 USD", False)


def test_a_sample_of_what_is_expired_is_taken_today(cast):
    quoted(cast)
    sealed(cast, "P1", -10)
    (saving,) = found(cast).savings
    assert (saving.take_by, saving.until, saving.overdue) == (D0, D0 + timedelta(days=365), True)


def test_the_later_of_maker_s_date_and_sample_counts(cast):
    quoted(cast)
    made = sealed(cast, "P1", 107)
    lot = made.holdings.get().lot
    record_sample(cast.department, lot=lot, taken_on=D0, passed=True, acting=OWNER, clock=CLOCK)
    (row,) = found(cast).months
    assert (row.period, row.first_day) == ("2027-06", D0 + timedelta(days=366))  # 15 June 2027 is its last good day


def test_nothing_is_saved_by_a_sample_that_failed_or_of_what_was_opened_too_long(cast):
    quoted(cast)
    made = sealed(cast, "P1", 107)
    lot = made.holdings.get().lot
    record_sample(cast.department, lot=lot, taken_on=D0, passed=False, acting=OWNER, clock=CLOCK)
    opened = sealed(cast, "P2", 900)
    Container.objects.filter(pk=opened.pk).update(sealed=False, opened_on=D0 - timedelta(days=300))
    aged = found(cast)
    assert aged.savings == ()
    assert {row.why for row in aged.months} == {"sample failed", "open too long"}


def test_the_queries_do_not_grow(cast):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            found(cast)
        return len(caught)

    sealed(cast, "P1", 107)
    few = queries()
    for number in range(6):
        sealed(cast, f"Q{number}", 100 * number)
    assert queries() == few
