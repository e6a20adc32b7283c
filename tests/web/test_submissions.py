"""Held entries: listed with their reason, tried again, or closed with one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from readiness.actions.drafts import new_id
from readiness.actions.submissions import Sent, submit
from readiness.models import Change, Movement, Role, Submission
from tests.cast import CLOCK
from tests.web.conftest import as_person
from tests.web.entering import book, stocked, words

pytestmark = pytest.mark.django_db

OFFICERS = {Role.OFFICER, Role.LOGISTICS, Role.CHIEF}


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


def held(cast, volume="3 gal", role=Role.CREW, **body):
    """A use that a phone sent and the book could not take: there is less in the pail."""
    sent = Sent(new_id(), "use", {"container": "P1", "volume": volume, "account": "incident", **body})
    found = submit(cast.department, sent, acting=cast.acting(role), clock=CLOCK)
    assert found.outcome == "held"
    return found


@pytest.fixture
def entry(cast):
    """P1 holds 1,000 mL, and 3 gal were used by the phone."""
    stocked(cast, "P1", ml=1_000)
    return held(cast)


def test_the_list_says_what_why_and_from_whom(cast, officer, entry):
    page = words(officer.get(reverse("held")))
    assert "container P1; volume 3 gal; account incident" in page
    assert "3.00 gal was read, but P1 holds 0.26 gal by the book" in page  # 1,000 ÷ 3,785.41
    assert str(cast.people[Role.CREW]) in page


def test_tried_again_it_is_posted_once_the_book_is_right(cast, officer, entry):
    url = reverse("held_entry", args=[entry.pk])
    assert "It still cannot be posted" in words(officer.post(url, {"again": "yes"}))
    pail = stocked_more(cast)
    done = officer.post(url, {"again": "yes"}, follow=True)
    assert "The entry is posted." in words(done)
    entry.refresh_from_db()
    assert (entry.outcome, entry.settled_by) == ("posted", cast.people[Role.LOGISTICS])
    assert Movement.objects.get(pk=entry.movement_id).recorded_by == cast.people[Role.CREW]
    # 1,000 + 15,000 − 11,356 (3 gal = 11,356.24 mL)
    assert sum(book(pail).values()) == 4_644
    assert "already" in words(officer.post(url, {"again": "yes"}))


def stocked_more(cast):
    """Somebody books what had been poured into it."""
    from readiness.actions import movements
    from readiness.actions.movements import Entry
    from readiness.models import Container

    pail = Container.objects.get(code="P1")
    movements.receive(Entry(cast.department, cast.acting(Role.CHIEF), CLOCK), container=pail, lot=cast.lot, ml=15_000)
    return pail


def test_closed_with_a_reason(cast, officer, entry):
    url = reverse("held_entry", args=[entry.pk])
    assert "an entry is closed with a reason" in words(officer.post(url, {"close": "yes", "reason": " "}))
    done = officer.post(url, {"close": "yes", "reason": "entered twice"}, follow=True)
    assert "The entry is closed." in words(done)
    entry.refresh_from_db()
    assert (entry.outcome, entry.why) == ("closed", "entered twice")
    assert Change.objects.filter(action="settle").count() == 1
    assert "Said of it: entered twice" in words(officer.get(url))


def test_a_sender_who_may_no_longer_do_it_is_told_as_a_sentence(cast, officer, entry):
    cast.people[Role.CREW].memberships.update(role=Role.OBSERVER)
    stocked_more(cast)
    page = officer.post(reverse("held_entry", args=[entry.pk]), {"again": "yes"})
    assert page.status_code == 200
    assert "To use is for" in words(page)


def test_who_may_settle_and_whose(cast, as_role, entry):
    for role in Role:
        client = as_role(role)
        expected = 200 if role in OFFICERS else 403
        assert client.get(reverse("held")).status_code == expected, role
        assert client.get(reverse("held_entry", args=[entry.pk])).status_code == expected, role
    stranger = as_person(cast.outsider)
    assert stranger.get(reverse("held_entry", args=[entry.pk])).status_code == 404
    assert stranger.post(reverse("held_entry", args=[entry.pk]), {"again": "yes"}).status_code == 404


def test_what_was_posted_by_forms_is_not_in_the_list(cast, officer, entry):
    Submission.objects.update(outcome="closed")
    assert "Nothing to show here" in words(officer.get(reverse("held")))


def test_the_queries_do_not_grow(cast, officer, entry):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse("held"))
        return len(caught)

    few = queries()
    for number in range(4, 9):
        held(cast, f"{number} gal")
    assert queries() == few
