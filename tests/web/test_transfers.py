"""The pages of transfers: sent by one person, received by another; what is on the way stands where people look."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from readiness.actions import movements, transfers
from readiness.actions.movements import Entry
from readiness.models import Container, Movement, Role, Transfer
from tests.cast import CLOCK, D0
from tests.web.entering import confirm, fields, gallons, send, stocked, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


def sending(cast, codes="P1 P2", **values):
    stated = {"codes": codes, "owner": f"unit-{cast.unit.pk}", "compartment": "L3", "expected_on": "2026-06-16"}
    return fields(**{**stated, **values})


def on_the_way(cast, *codes, expected_on=D0):
    """Pails on their way to Engine 1, sent by the chief."""
    pails = [stocked(cast, code) for code in codes]
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    transfers.send(entry, containers=pails, owner=cast.unit, compartment="L3", expected_on=expected_on)
    return Transfer.objects.latest("id"), pails


def test_two_people_send_and_receive(cast, officer, as_role):
    stocked(cast, "P1")
    stocked(cast, "P2")
    form = sending(cast)
    page = words(send(officer, "send_transfer", form))
    assert "P1 and P2 in transit to Engine 1, L3, from Quayside store" in page
    assert not Transfer.objects.exists()
    done = confirm(officer, "send_transfer", form)
    transfer = Transfer.objects.get()
    assert done.redirect_chain == [(reverse("transfer", args=[transfer.pk]), 302)]
    assert "You sent it: somebody else enters what came" in words(done)
    assert "Still in transit 2 of 2: 10.0 gal, counted on no unit" in words(done)
    confirm(officer, "send_transfer", form)
    assert Transfer.objects.count() == 1

    crew = as_role(Role.CREW)
    assert f"Transfer {transfer.pk} to Engine 1, L3" in words(crew.get(reverse("moving")))
    pails = list(Container.objects.order_by("code"))
    came = fields(**{f"came_{each.pk}": "on" for each in pails})
    assert "P1 and P2 now at Engine 1, L3, no longer in transit to Engine 1, L3" in words(
        send(crew, "receive_transfer", came, transfer.pk)
    )
    done = words(confirm(crew, "receive_transfer", came, transfer.pk))
    assert "settled" in done
    assert set(Container.objects.values_list("place", flat=True)) == {cast.on_unit.pk}
    confirm(crew, "receive_transfer", came, transfer.pk)
    assert Movement.objects.filter(kind="moved").count() == 2  # sent and received, each once


def test_what_is_in_transit_is_shown_where_people_look(cast, officer):
    transfer, pails = on_the_way(cast, "P1", "P2", expected_on=D0)
    assert "in transit to Engine 1, L3" in words(officer.get(reverse("container", args=[pails[0].pk])))
    assert "in transit to Engine 1, L3" in words(officer.get(reverse("containers")))
    assert "In transit: in the sums above, on no unit 10.0 gal in 2 containers" in words(officer.get(reverse("stock")))
    assert "10.0 gal in 2 containers: in transit to Engine 1, L3" in words(
        officer.get(reverse("lot", args=[cast.lot.pk]))
    )
    assert f"Transfer {transfer.pk}" in words(officer.get(reverse("transfer", args=[transfer.pk])))
    page = words(officer.get(reverse("containers"), {"where": "in transit"}))
    assert "P1" in page


def test_an_overdue_one_stands_out(cast, officer, monkeypatch):
    on_the_way(cast, "P1", expected_on=D0)
    from readiness.actions.clock import StoppedClock
    from readiness.web import access

    monkeypatch.setattr(access, "CLOCK", StoppedClock(CLOCK.at + timedelta(days=3)))
    assert "overdue by 3 days" in words(officer.get(reverse("transfers")))
    assert "overdue by 3 days" in words(officer.get(reverse("moving")))


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({}, "Nothing was ticked: tick each container that came"),
        ({"came": "on"}, "did not come and no word was read on it"),
        ({"less": "4"}, "A volume was read for P1, and it is not ticked"),
        ({"came": "on", "less": "6", "missing": "?"}, "at most 5"),
        ({"came": "on", "less": "4 kg", "missing": "?"}, "was read"),
        ({"came": "on", "unlisted": "P-99", "missing": "?"}, "no container has that label code"),
    ],
)
def test_what_a_receipt_is_refused_for(cast, officer, typed, sentence):
    transfer, pails = on_the_way(cast, "P1", "P2")
    form = fields(unlisted=typed.get("unlisted", ""), missing=typed.get("missing", ""))
    form |= {f"came_{pails[0].pk}": "on"} if "came" in typed else {}
    form |= gallons(typed.get("less", ""), f"less_{pails[0].pk}")
    page = send(officer, "receive_transfer", form, transfer.pk)
    assert sentence in words(page)
    assert set(Container.objects.values_list("place__transfer", flat=True)) == {transfer.pk}


def test_bringing_back_and_writing_off(cast, officer):
    transfer, _ = on_the_way(cast, "P1", "P2")
    form = fields(codes="P1", reason="fell off")
    assert "5.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P1 to inventory difference" in words(
        send(officer, "lose_transfer", form, transfer.pk)
    )
    confirm(officer, "lose_transfer", form, transfer.pk)
    confirm(officer, "recall_transfer", fields(reason="road closed"), transfer.pk)
    page = words(officer.get(reverse("transfer", args=[transfer.pk])))
    assert "P1 lost: fell off" in page
    assert "P2 brought back: road closed" in page
    assert "settled" in page
    assert "P1" not in words(officer.get(reverse("containers"))).split("Label code")[-1].split()


def test_the_list_as_a_workbook_and_its_filter(cast, officer):
    on_the_way(cast, "P1")
    assert "1 row" in words(officer.get(reverse("transfers"), {"state": "in transit"}))
    assert officer.get(reverse("transfers"), {"export": "xlsx"})["Content-Type"].startswith("application/vnd")


@pytest.mark.parametrize("url", ["transfers", "transfer", "moving", "receive_transfer"])
def test_the_queries_do_not_grow(cast, officer, url):
    transfer, _ = on_the_way(cast, "P1")
    large, _ = on_the_way(cast, *(f"L{number}" for number in range(6)))

    def queries(of):
        with CaptureQueriesContext(connection) as caught:
            officer.get(reverse(url, args=[of.pk] if url in ("transfer", "receive_transfer") else []))
        return len(caught)

    few = queries(transfer)
    for number in range(4):
        more, _ = on_the_way(cast, f"Q{number}", f"R{number}")
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK, reason="more of it")
    movement = Movement.objects.filter(relocations__to_place__transfer=more).distinct().get()
    movements.correct(entry, movement=movement)
    assert queries(large) == few
