"""Containers: the list, one of them, and its history as of a past moment."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.movements import Entry
from readiness.models import Container, Movement, Role, Sample
from readiness.models.movements import Account
from tests.cast import D0, PAIL_ML, SIX, ContainerFactory, LotFactory
from tests.web.conftest import as_person
from tests.web.entering import book, confirm, fields, send, stocked, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


def test_the_list_is_searched_filtered_and_sorted(cast, officer):
    stocked(cast, "P1")
    stocked(cast, "P2", cast.class_a_lot, cast.on_unit)
    stocked(cast, "P3", LotFactory(concentrate=cast.ar, makers_date=D0 - timedelta(days=1)))
    Container.objects.update(sealed=True)
    for query, codes in (
        ({}, ["P1", "P2", "P3"]),
        ({"q": "a-1"}, ["P2"]),
        ({"concentrate": "Demo AR-AFFF 3x6"}, ["P1", "P3"]),
        ({"state": "expired"}, ["P3"]),
        ({"unit": "Engine 1"}, ["P2"]),
        ({"where": "store"}, ["P1", "P3"]),
        ({"before": "2026-06-14"}, ["P3"]),
        ({"before": "2026-06-13"}, []),
        ({"sort": "-code"}, ["P3", "P2", "P1"]),
    ):
        answer = officer.get(reverse("containers"), query)
        assert [row.record.code for row in answer.context["table"].page.object_list] == codes, query


def test_the_workbook_has_every_page_with_numbers_and_days(cast, officer):
    for number in range(3):
        stocked(cast, f"P{number}")
    Container.objects.update(sealed=True)
    answer = officer.get(reverse("containers"), {"export": "xlsx", "per_page": 1})
    headings, *table = load_workbook(io.BytesIO(answer.content))["Containers"].iter_rows(values_only=True)
    assert len(table) == 3
    row = dict(zip(headings, table[0], strict=True))
    assert (row["Label code"], row["In it by the book [gal]"], row["Holds [gal]"]) == ("P0", 5, 5)
    assert row["Counts through"].date() == date(2029, 3, 11)  # 15 June 2026 + 1000 days
    assert row["Last read [department's time]"] is None


def test_one_container_says_what_it_is_worth(cast, officer):
    pail = stocked(cast)
    page = words(officer.get(reverse("container", args=[pail.pk])))
    for said in ("P1 pail of 5.0 gal", "In it by the book 5.0 gal", "Counts 5.0 gal", "Place Quayside store",
                 "lot AR-1 : 5.0 gal", "maker’s date 2029-03-11", "never read"):  # fmt: skip
        assert said in page


def test_the_tools_are_those_that_make_sense(cast, as_role):
    pail = stocked(cast)
    page = words(as_role(Role.LOGISTICS).get(reverse("container", args=[pail.pk])))
    assert "Pour from it" in page
    assert "Quarantine" in page
    assert "Release" not in page
    assert "Inspected" not in page
    assert "Pour from it" not in words(as_role(Role.OBSERVER).get(reverse("container", args=[pail.pk])))


@pytest.fixture
def lived(cast):
    """Filled at 06:00, 2,000 mL to a drill at 07:00 recorded then, corrected at 09:00."""
    pail = stocked(cast)
    acting = cast.acting(Role.CHIEF)
    at_seven, at_nine = (StoppedClock(SIX + timedelta(hours=hours)) for hours in (1, 3))
    used = movements.use(Entry(cast.department, acting, at_seven), container=pail, ml=2_000, account=Account.DRILL)
    wrong = Movement.objects.get(pk=used.movement_id)
    movements.correct(Entry(cast.department, acting, at_nine, reason="it was P2"), movement=wrong)
    return pail


def test_the_history_reads_as_a_life_with_its_correction(lived, officer):
    page = words(officer.get(reverse("container", args=[lived.pk])))
    assert "3 entries" in page
    assert "−0.53 gal of Demo AR-AFFF 3x6, lot AR-1 to drill" in page  # 2,000 mL ÷ 3,785.41 = 0.528 gal
    assert "corrected : see the correction" in page
    assert "a correction of an earlier entry" in page
    assert book(lived) == {"AR-1": PAIL_ML}


@pytest.mark.parametrize(
    ("query", "volume", "entries"),
    [
        ({"as_of": "2026-06-15T06:30"}, "5.0 gal", 1),
        ({"as_of": "2026-06-15T08:00"}, "4.5 gal", 2),  # 18,927 − 2,000 = 16,927 mL = 4.47 gal
        ({"as_of": "2026-06-15T08:00", "known_at": "2026-06-15T06:30"}, "5.0 gal", 1),
        ({"known_at": "2026-06-15T08:00"}, "4.5 gal", 2),
    ],
)
def test_as_it_was_at_a_past_moment(lived, officer, monkeypatch, query, volume, entries):
    from readiness.web import access

    monkeypatch.setattr(access, "CLOCK", StoppedClock(datetime(2026, 6, 15, 12, 0, tzinfo=UTC)))
    page = words(officer.get(reverse("container", args=[lived.pk]), query))
    assert f"In it {volume}" in page.split("As it was", 2)[2]
    assert f"{entries} {'entry' if entries == 1 else 'entries'}" in page


def test_a_moment_that_cannot_be_read_is_said(lived, officer):
    page = words(officer.get(reverse("container", args=[lived.pk]), {"as_of": "yesterday"}))
    assert "“yesterday” was read" in page


def test_another_departments_container_is_not_found(cast, officer):
    other = ContainerFactory(department=cast.other_department)
    for url in ("container", "container_sample"):
        assert officer.get(reverse(url, args=[other.pk])).status_code == 404
    own = stocked(cast)
    assert as_person(cast.outsider).get(reverse("container", args=[own.pk])).status_code == 404


def test_a_sample_of_a_container_and_its_answer(cast, officer):
    tank = cast.tank(code="T1")
    form = fields(taken_on="2026-06-10", answer="", report="L-1")
    assert "Not entered yet" in words(send(officer, "container_sample", form, tank.pk))
    assert not Sample.objects.exists()
    for _ in range(2):
        confirm(officer, "container_sample", form, tank.pk)
    sample = Sample.objects.get()
    assert (sample.container, sample.passed, sample.report) == (tank, None, "L-1")
    confirm(officer, "sample_result", fields(answer="no", report="L-1a"), sample.pk)
    sample.refresh_from_db()
    assert (sample.passed, sample.report) == (False, "L-1a")
    assert "has its answer already" in words(send(officer, "sample_result", fields(answer="yes"), sample.pk))


def test_a_sample_of_tomorrow_is_refused(cast, officer):
    tank = cast.tank()
    page = send(officer, "container_sample", fields(taken_on="2026-06-16", answer="yes"), tank.pk)
    assert "today (2026-06-15) or a day before belongs here" in words(page)


def test_who_may_record_a_sample(cast, as_role):
    tank = cast.tank()
    sample = Sample.objects.create(department=cast.department, container=tank, taken_on=D0)
    for role in Role:
        expected = 200 if role in (Role.LOGISTICS, Role.CHIEF) else 403
        client = as_role(role)
        assert client.get(reverse("container_sample", args=[tank.pk])).status_code == expected, role
        assert client.get(reverse("sample_result", args=[sample.pk])).status_code == expected, role
        assert client.get(reverse("containers")).status_code == 200


@pytest.mark.parametrize("url", ["containers", "container"])
def test_the_queries_do_not_grow(cast, officer, url):
    first = stocked(cast, "P1", place=cast.on_unit)
    args = [first.pk] if url == "container" else []

    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse(url, args=args))
        return len(caught)

    few = queries()
    for number in range(6):
        stocked(cast, f"Q{number}", cast.other_lot, cast.on_unit)
    assert queries() == few
