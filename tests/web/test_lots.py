"""Lots: dates with their precision, what is left and where, what they reached, recall and samples."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.movements import Entry
from readiness.models import Change, Lot, Role, Sample
from tests.cast import CLOCK, PAIL_ML, ConcentrateFactory, LotFactory
from tests.web.conftest import as_person
from tests.web.entering import confirm, fields, send, stocked, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


def test_the_list_shows_dates_as_exactly_as_they_are_known(cast, officer):
    LotFactory(concentrate=cast.ar, batch="M-1", makers_date=date(2031, 5, 1), date_precision="month")
    LotFactory(concentrate=cast.ar, batch="Y-1", makers_date=date(2032, 1, 1), date_precision="year")
    LotFactory(concentrate=cast.ar, batch="U-1", makers_date=None)
    stocked(cast)
    page = words(officer.get(reverse("lots")))
    assert "M-1 Demo AR-AFFF 3x6 not known 2031-05 never" in page
    assert "Y-1 Demo AR-AFFF 3x6 not known 2032 never" in page
    assert "U-1 Demo AR-AFFF 3x6 not known not known never" in page
    assert "AR-1 Demo AR-AFFF 3x6 not known 2029-03-11 never 5.0 gal 1 Quayside store" in page


def test_a_lot_says_how_far_a_month_reaches_and_what_is_left(cast, officer):
    lot = LotFactory(concentrate=cast.ar, batch="M-1", makers_date=date(2031, 2, 1), date_precision="month")
    stocked(cast, "P1", lot)
    page = words(officer.get(reverse("lot", args=[lot.pk])))
    assert "2031-02 (known to the month: good through 2031-02-28)" in page
    assert "Left 5.0 gal in 1 container: Quayside store" in page


def test_a_lot_shows_every_container_that_it_went_through(cast, officer):
    pail, tank = stocked(cast, "P1"), cast.tank(code="T1")
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    movements.pour(entry, source=pail, target=tank, ml=PAIL_ML)
    page = words(officer.get(reverse("lot", args=[cast.lot.pk])))
    assert "P1 0.0 gal 5.0 gal Quayside store" in page  # went through it
    assert "T1 5.0 gal 0.0 gal outside the book" in page


def test_a_recall_is_seen_first_and_entered_once(cast, officer):
    stocked(cast)
    form = fields(reference="N-7", recalled_on="2026-06-14")
    page = words(send(officer, "recall", form, cast.lot.pk))
    assert "Not entered yet" in page
    assert "P1" in page
    assert Lot.objects.get(pk=cast.lot.pk).recalled_on is None
    for _ in range(2):
        done = confirm(officer, "recall", form, cast.lot.pk)
        assert "Recalled on 2026-06-14, maker’s notice N-7" in words(done)
    assert Change.objects.filter(action="recall").count() == 1
    again = send(officer, "recall", fields(reference="N-8", recalled_on="2026-06-15"), cast.lot.pk)
    assert "was recalled on 2026-06-14 already (N-7)" in words(again)


def test_a_recall_needs_its_notice_and_a_day_that_has_been(cast, officer):
    page = words(send(officer, "recall", fields(reference="", recalled_on="2026-06-16"), cast.lot.pk))
    assert "Nothing was read: Maker's notice is needed" in page
    assert "or a day before belongs here" in page


def test_a_sample_of_a_lot(cast, officer):
    stocked(cast)
    form = fields(taken_on="2026-06-01", answer="yes", good_through="2027-06-01", report="L-2")
    confirm(officer, "lot_sample", form, cast.lot.pk)
    sample = Sample.objects.get()
    assert (sample.lot, sample.passed, sample.good_through) == (cast.lot, True, date(2027, 6, 1))
    assert "2026-06-01: passed, good through 2027-06-01, report L-2" in words(
        officer.get(reverse("lot", args=[cast.lot.pk]))
    )


def test_another_departments_lot_is_not_found(cast, officer):
    other = LotFactory(concentrate=ConcentrateFactory(department=cast.other_department))
    for url in ("lot", "recall", "lot_sample"):
        assert officer.get(reverse(url, args=[other.pk])).status_code == 404
    assert as_person(cast.outsider).get(reverse("lot", args=[cast.lot.pk])).status_code == 404


def test_who_may_do_what_with_a_lot(cast, as_role):
    for role in Role:
        client = as_role(role)
        assert client.get(reverse("lots")).status_code == 200
        assert client.get(reverse("lot", args=[cast.lot.pk])).status_code == 200
        expected = 200 if role in (Role.LOGISTICS, Role.CHIEF) else 403
        for url in ("recall", "lot_sample"):
            assert client.get(reverse(url, args=[cast.lot.pk])).status_code == expected, (role, url)
            assert client.post(reverse(url, args=[cast.lot.pk]), fields()).status_code == expected, (role, url)


@pytest.mark.parametrize("url", ["lots", "lot"])
def test_the_queries_do_not_grow(cast, officer, url):
    stocked(cast)
    args = [cast.lot.pk] if url == "lot" else []

    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse(url, args=args))
        return len(caught)

    few = queries()
    for number in range(5):
        stocked(cast, f"Q{number}")
        LotFactory(concentrate=cast.ar, batch=f"Z-{number}")
    assert queries() == few
