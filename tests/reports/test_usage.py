"""Use measured from the ledger: by account, over a window, corrections on the day they concern. Sums by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.movements import Entry
from readiness.models import Movement, Role
from readiness.models.movements import Account
from readiness.reports.usage import periods_of, usage
from tests.cast import D0, SIX

pytestmark = pytest.mark.django_db


class Book:
    """A tank that came in long ago, and what was taken of it since."""

    def __init__(self, cast, days=400):
        self.cast = cast
        self.tank = cast.tank(code="T1", capacity_ml=1_000_000)
        entry = self.entry(days)
        movements.receive(entry, container=self.tank, lot=cast.lot, ml=1_000_000, place=cast.on_vehicle)
        self.tank.refresh_from_db()

    def entry(self, days, **more):
        """Entered now, happened so many days ago."""
        at = SIX - timedelta(days=days)
        return Entry(self.cast.department, self.cast.acting(Role.CHIEF), StoppedClock(SIX), happened_at=at, **more)

    def used(self, ml, days, account=Account.INCIDENT):
        posted = movements.use(self.entry(days), container=self.tank, ml=ml, account=account)
        return Movement.objects.get(pk=posted.movement_id)


def measured(cast, window_d=365):
    return usage(cast.department, D0, window_d).used(cast.ar.pk)


@pytest.fixture
def book(cast):
    return Book(cast)


def test_what_is_used_by_account(cast, book):
    book.used(30_000, 10)
    book.used(20_000, 20, Account.DRILL)
    book.used(5_000, 30, Account.LEAK)
    book.used(2_000, 30, Account.INVENTORY_DIFFERENCE)
    found = measured(cast)
    assert found.by_account == {"incident": 30_000, "drill": 20_000, "leak": 5_000, "inventory difference": 2_000}
    assert found.total_ml == 57_000
    assert found.use.daily == pytest.approx(57_000 / 365)


def test_disposal_and_a_partner_are_no_use(cast, book):
    book.used(30_000, 10, Account.DISPOSAL)
    book.used(30_000, 10, Account.PARTNER)
    assert measured(cast).total_ml == 0


def test_the_window_has_its_first_day_and_not_the_one_before(cast, book):
    book.used(1_000, 364)
    book.used(2_000, 365)
    assert measured(cast).total_ml == 1_000
    assert measured(cast, 366).total_ml == 3_000


def test_a_correction_undoes_the_day_it_concerns(cast, book):
    wrong = book.used(30_000, 400)
    movements.correct(book.entry(5, reason="another tank"), movement=wrong)
    assert measured(cast).total_ml == 0, "no gain in June for a mistake of May last year"
    assert measured(cast, 500).total_ml == 0


def test_a_correction_of_a_correction_stands_again(cast, book):
    wrong = book.used(30_000, 200)
    undone = movements.correct(book.entry(100, reason="another tank"), movement=wrong)
    movement = Movement.objects.get(pk=undone.movement_id)
    movements.correct(book.entry(5, reason="it was this one"), movement=movement)
    found = measured(cast)
    assert found.total_ml == 30_000
    assert [ml for ml in found.periods if ml] == [30_000], "all on one day"


def test_twelve_periods_the_oldest_first(cast, book):
    # 360 days are twelve periods of 30: the last ends today, the first begins 359 days ago
    book.used(1_000, 359)
    book.used(2_000, 330)
    book.used(3_000, 329)
    book.used(4_000, 0)
    assert measured(cast, 360).periods == (3_000, 3_000, *[0] * 9, 4_000)


def test_a_young_book_says_so(cast):
    Book(cast, days=27)
    found = usage(cast.department, D0, 365)
    assert (found.window.first, found.window.days, found.window.short) == (date(2026, 5, 19), 28, True)
    assert periods_of(found.window) == 4  # weeks: shorter ones say nothing
    assert found.period_d == 7


def test_the_queries_do_not_grow(cast, book):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            usage(cast.department, D0, 365)
        return len(caught)

    book.used(1_000, 1)
    few = queries()
    for days in range(2, 9):
        book.used(1_000, days)
    assert queries() == few
