"""The pages of receiving and moving: deliveries, loans, common piles, take-back pallets, disposals and recalls."""

from __future__ import annotations

import io
import re
from typing import NamedTuple
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from readiness.actions import movements
from readiness.actions.movements import Entry
from readiness.models import (
    Container,
    Delivery,
    Disposal,
    Lot,
    Movement,
    Pallet,
    Partner,
    Role,
    Settlement,
    Submission,
)
from tests.cast import CLOCK, D0, PAIL_ML, LotFactory, PartnerFactory
from tests.judged import Rigged
from tests.web.entering import confirm, fields, gallons, send, stocked, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


@pytest.fixture
def harbor(cast):
    return PartnerFactory(department=cast.department, name="Harbor County")


def arrival(cast, codes="N-01 to N-03", **values):
    stated = {
        "codes": codes,
        "kind": "pail",
        "sealed": "on",
        "lot": cast.lot.pk,
        "owner": f"station-{cast.station.pk}",
        "currency": "USD",
    }
    return fields(**{**stated, **gallons("5", "each"), **gallons("", "capacity"), **values})


# -- deliveries --------------------------------------------------------------------------------------------------------


def test_the_next_free_label_codes_are_proposed(cast, officer):
    stocked(cast, "P-0041")
    page = officer.get(reverse("receive"), {"count": "3", "for_kind": "pail"}).content.decode()
    assert "P-0042 to P-0044" in page
    assert "whole number" in words(officer.get(reverse("receive"), {"count": "x", "for_kind": "pail"}))


def test_a_delivery_with_its_papers_and_its_slip(cast, officer):
    papers = {"order_reference": "PO-7", "ordered": "5", "turned_away": "1", "damaged": "N-03"}
    price = {"price": "118.50", "price_per": "container", "certificate": "certificate 7", "supplier": "a maker"}
    form = arrival(cast, reason="one is dented", **papers, **price)
    assert "N-03 quarantined" in words(send(officer, "receive", form))
    slip = words(confirm(officer, "receive", form))
    for said in (
        "order PO-7",
        "3 containers, 15.0 gal, to Quayside store",
        "Ordered 5: 1 short",
        "Turned away at the door 1",
        "Taken in damaged 1, quarantined",
        "118.50 USD a container",
        "Certificate certificate 7",
        "N-03 5.0 gal damaged: quarantined",
    ):
        assert said in slip, said
    listed = words(officer.get(reverse("deliveries"), {"q": "po-7"}))
    assert "1 short, 1 turned away, 1 damaged" in listed
    assert "1 of 5 have not come" in words(officer.get(reverse("moving")))


def two_lots(cast, **values):
    """Three pails of a lot of the book, and a drum of a new one."""
    second = {"codes_2": "D-01", "kind_2": "drum", "sealed_2": "on", "concentrate_2": cast.ar.pk, "batch_2": "AR-9"}
    second |= {**gallons("55", "each_2"), **gallons("", "capacity_2"), "currency_2": "USD", "lots": "2"}
    return arrival(cast, **{**second, "order_reference": "PO-7", **values})


def test_two_lots_of_one_delivery_are_seen_and_entered_together(cast, officer):
    form = two_lots(cast, price_2="900", price_per_2="container", ordered="4")
    seen = words(send(officer, "receive", form))
    assert "15.00 gal of Demo AR-AFFF 3x6, lot AR-1" in seen
    assert "55.00 gal of Demo AR-AFFF 3x6, lot AR-9" in seen
    assert not Movement.objects.exists()
    slip = words(confirm(officer, "receive", form))
    assert "order PO-7" in slip
    assert "Ordered 4: 1 short" in slip
    assert "Also on this order" in slip
    assert "1 of Demo AR-AFFF 3x6, lot AR-9" in slip
    assert "entered before" in words(confirm(officer, "receive", form))
    assert [(row.lot.batch, row.price_minor) for row in Delivery.objects.order_by("id")] == [
        (cast.lot.batch, None),
        ("AR-9", 90_000),
    ]


def test_what_was_ordered_is_added_up_among_lots_that_came_together(cast, officer):
    """Four pails and a drum of one concentrate: three pails came, and the drum."""
    confirm(officer, "receive", two_lots(cast, ordered="4", ordered_2="1"))
    assert "1 of 5 have not come" in words(officer.get(reverse("moving")))
    asked = {**arrival(cast), "more": "yes", "next-count": "2", "next-for_kind": "pail"}
    assert words(officer.post(reverse("receive"), asked)).count("For this lot: the lots are added up.") == 2


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"price_2": "9", "price_per_2": ""}, "Lot 2, It is the price of : Nothing was read"),
        ({"batch_2": ""}, "Lot 2, New lot: number : Nothing was read"),
        ({"codes_2": "N-02"}, "Lot 2, Label codes of what came : N-02 was read here and in lot 1"),
        ({"batch_2": "AR-1"}, "Lot 2, Label codes of what came : Demo AR-AFFF 3x6, lot AR-1 is in the book already"),
        ({"order_reference": ""}, "Order reference : Nothing was read: lots that came together share"),
        ({"currency_2": "$"}, "Lot 2, Currency : “$” was read"),
    ],
)
def test_a_lot_at_fault_says_which_and_nothing_comes_in(cast, officer, typed, sentence):
    assert sentence in words(send(officer, "receive", two_lots(cast, **typed)))
    confirm(officer, "receive", two_lots(cast, **typed))
    assert not Movement.objects.exists()
    assert not Container.objects.exists()


def value_of(page, name):
    """What stands in a field."""
    found = re.search(rf'<(?:input|textarea)[^>]*name="{name}"[^>]*?(?:value="([^"]*)"|>\s*([^<]*)</textarea>|>)', page)
    return (found[1] or found[2] or "").strip() if found else None


def test_one_more_lot_keeps_what_was_typed_and_numbers_what_came(cast, officer):
    stocked(cast, "P-0041")
    form = arrival(cast, "P-0042 to P-0044", order_reference="PO-7", price="9x")
    asked = {**form, "more": "yes", "next-count": "2", "next-for_kind": "pail"}
    page = officer.post(reverse("receive"), asked).content.decode()
    assert "to be put right" not in page
    kept = ("entry_id", "codes", "codes_2", "each_2_number", "order_reference", "price", "lots")
    assert [value_of(page, name) for name in kept] == [
        form["entry_id"],
        "P-0042 to P-0044",
        "P-0045, P-0046",
        "5",
        "PO-7",
        "9x",
        "2",
    ]
    fewer = {**form, "lots": "2", "codes_2": "P-0045", **gallons("4", "each_2"), "fewer": "1"}
    page = officer.post(reverse("receive"), fewer).content.decode()
    assert [value_of(page, name) for name in ("codes", "each_number", "lots", "codes_2")] == ["P-0045", "4", "1", None]
    page = officer.post(reverse("receive"), {**asked, "next-count": "many"}).content.decode()
    assert "whole number" in page
    assert value_of(page, "codes_2") is None


@pytest.mark.parametrize("lots", ["0", "-3", "x", "99999", "999999999999999999999999", "²"])
def test_a_spoilt_number_of_lots_is_no_error_of_the_server(cast, officer, lots):
    assert officer.post(reverse("receive"), arrival(cast, lots=lots)).status_code == 200


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"price": "118,50"}, "write a price like 118.50"),
        ({"price": "118.50", "price_per": ""}, "a price says what it is for and in which currency"),
        ({"price": "118.50", "price_per": "gal", "currency": ""}, "a price says what it is for and in which currency"),
        ({"price": "118.50", "price_per": "gal", "currency": "$"}, "a currency has three letters"),
        ({"damaged": "N-01"}, "say what is damaged"),
        ({"damaged": "N-77", "reason": "dented"}, "N-77 was read as damaged and is not among"),
        ({"ordered": "0"}, "greater than or equal to 1"),
        ({"ordered": "many"}, "whole number"),
        ({"turned_away": "-1"}, "greater than or equal to 0"),
    ],
)
def test_what_is_wrong_with_the_papers_comes_back_unfolded(cast, officer, typed, sentence):
    page = send(officer, "receive", arrival(cast, **typed))
    assert sentence in words(page)
    assert not Movement.objects.exists()
    named = next(iter(typed))
    if named != "damaged":
        assert '<details class="fold" open>' in page.content.decode()


def test_an_existing_container_is_filled_by_a_delivery(cast, officer):
    cast.pail(code="P2")
    confirm(officer, "receive", arrival(cast, "P2"))
    assert Container.objects.get(code="P2").contents_ml == PAIL_ML


# -- loans -------------------------------------------------------------------------------------------------------------


def test_lend_and_take_back(cast, officer, harbor):
    stocked(cast, "P1")
    form = fields(codes="P1", partner=harbor.pk, **gallons(""))
    assert "P1 lent to Harbor County, from Quayside store" in words(send(officer, "lend", form))
    statement = words(confirm(officer, "lend", form))
    assert "Demo AR-AFFF 3x6 yes owed to us 5.0 gal AR-1: 5.0 gal" in statement
    assert "P1 pail, Demo AR-AFFF 3x6 AR-1 yes 5.0 gal lent to Harbor County" in statement
    assert "Lent containers: in no sum, ours and counted nowhere 5.0 gal in 1 container" in words(
        officer.get(reverse("stock"))
    )
    back = fields(codes="P1", partner=harbor.pk, owner=f"station-{cast.station.pk}", **gallons("4"))
    assert "1.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P1 to partner department" in words(
        send(officer, "take_back", back)
    )
    assert "owed to us 1.0 gal" in words(confirm(officer, "take_back", back))


def test_borrow_and_give_back(cast, officer, harbor):
    form = arrival(cast, "H1", partner=harbor.pk, owner=f"unit-{cast.unit.pk}", compartment="L3")
    statement = words(confirm(officer, "borrow", form))
    assert "owed by us 5.0 gal AR-1: −5.0 gal" in statement
    assert "Engine 1, L3 (borrowed from Harbor County)" in words(officer.get(reverse("containers")))
    assert "Borrowed containers: in the sums above, ours to use and owed back 5.0 gal in 1 container" in words(
        officer.get(reverse("stock"))
    )
    done = words(confirm(officer, "give_back", fields(codes="H1", partner=harbor.pk)))
    assert "settled" in done
    assert "Harbor County" not in words(officer.get(reverse("moving")))


def test_others_come_for_what_was_lent(cast, officer, harbor):
    stocked(cast, "P1")
    confirm(officer, "lend", fields(codes="P1", partner=harbor.pk, **gallons("")))
    form = arrival(cast, "N1", partner=harbor.pk, lot=cast.other_lot.pk, kept="P1")
    assert "settled" in words(confirm(officer, "replaced", form))
    assert Container.objects.get(code="P1").retired_on == D0


def test_a_volume_is_lent_out_of_a_tank(cast, officer, harbor):
    tank = cast.tank(code="T1")
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    movements.receive(entry, container=tank, lot=cast.lot, ml=100_000, place=cast.on_vehicle)
    confirm(officer, "lend", fields(code="T1", partner=harbor.pk, **gallons("10")))
    tank.refresh_from_db()
    assert tank.contents_ml == 62_146  # 10 gal = 37,854.12 mL; 100,000 − 37,854


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({}, "Name the containers that go, or one container and the volume out of it"),
        ({"codes": "P1", "code": "P1", "volume_number": "1"}, "not both"),
        ({"code": "P1"}, "a volume needs its container"),
        ({"volume_number": "1"}, "a volume needs its container"),
        ({"codes": "P1", "partner": ""}, "Nothing was read"),
    ],
)
def test_what_lending_is_refused_for(cast, officer, harbor, typed, sentence):
    stocked(cast, "P1")
    form = fields(**{"partner": harbor.pk, **gallons(""), **typed})
    assert sentence in words(send(officer, "lend", form))
    assert Movement.objects.count() == 1


def test_partners_are_kept_by_who_moves_stock(cast, officer, harbor):
    answer = officer.post(reverse("reference_partner_add"), {"name": "harbor county", "contact": ""})
    assert "has one of that name" in words(answer)
    officer.post(reverse("reference_partner_add"), {"name": "Mill County", "contact": "555 0100"})
    assert Partner.objects.filter(name="Mill County").exists()
    stocked(cast, "P1")
    confirm(officer, "lend", fields(codes="P1", partner=harbor.pk, **gallons("")))
    assert "Containers lent to Harbor County: P1" in words(
        officer.post(reverse("reference_partner_retire", args=[harbor.pk]))
    )


# -- the common pile ---------------------------------------------------------------------------------------------------


def counted(cast, **values):
    stated = {
        "incident": "26-118",
        "owner_0": f"unit-{cast.unit.pk}",
        "size_0": f"pail-{PAIL_ML}",
        "what_0": cast.ar.pk,
        "n_0": "3",
    }
    return f"{reverse('settle_pile')}?{urlencode({**stated, **values})}"


def test_a_pile_is_counted_proposed_and_booked(cast, officer, harbor):
    for code in ("P1", "P2"):
        stocked(cast, code, place=cast.on_unit)
    theirs = {"owner_1": f"partner-{harbor.pk}", "size_1": f"pail-{PAIL_ML}", "what_1": cast.ar.pk, "n_1": "2"}
    address = counted(cast, **theirs)
    page = officer.get(address)
    said = words(page)
    assert "3 empties counted; 2 with foam in them on Engine 1 by the book" in said
    assert "1 are not explained: whose were they?" in said
    assert "P1 P2" in page.content.decode()
    form = fields(codes_0="P1 P2", lot_1="")
    preview = words(officer.post(address, form))
    assert "10.00 gal of Demo AR-AFFF 3x6, lot AR-1 from P1 and P2 to incident" in preview
    assert (
        "10.00 gal of Demo AR-AFFF 3x6, lot not read, of Harbor County from partner department to incident" in preview
    )
    assert not Settlement.objects.exists()
    for _ in range(2):
        done = officer.post(address, {**form, "confirm": "yes"}, follow=True)
    assert Settlement.objects.count() == 1
    said = words(done)
    assert "1 of 5 empties are not explained" in said
    assert "owed back to them" in said
    assert "1 of 5 empties not explained" in words(officer.get(reverse("moving")))
    body = Submission.objects.get(kind="settle pile").body
    assert body["counted"][0] == "26-118"


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"owner_0": ""}, "Empties were read in row 1, and nobody they belong to"),
        ({"n_0": ""}, "Nothing was read in row 1: say how many empties"),
        ({"what_0": ""}, "Nothing was read in row 1: say the concentrate"),
        ({"what_0": "987654"}, "Select a valid choice"),
        ({"owner_0": "unit-987654"}, "Select a valid choice"),
        ({"n_0": "-3"}, "greater than or equal to 1"),
        ({"incident": ""}, "Nothing was read: Incident number is needed"),
    ],
)
def test_what_a_count_is_refused_for(cast, officer, typed, sentence):
    assert sentence in words(officer.get(counted(cast, **typed)))


def test_more_rows_keep_what_was_typed(cast, officer):
    page = officer.get(counted(cast, more="1")).content.decode()
    assert page.count('class="pile-row"') == 12
    assert 'value="26-118"' in page


def test_another_departments_owner_is_no_choice(cast, officer):
    other = PartnerFactory(department=cast.other_department)
    assert "Select a valid choice" in words(officer.get(counted(cast, owner_0=f"partner-{other.pk}")))
    assert "Select a valid choice" in words(officer.get(counted(cast, drawn_by=f"partner-{other.pk}")))


# -- pallets and disposals ---------------------------------------------------------------------------------------------


def test_set_aside_hand_over_and_certify(cast, officer):
    stocked(cast, "P1")
    stocked(cast, "P2")
    made = {"name": "Pallet A", "programme": "state", "station": cast.station.pk, "takes": "with PFAS only"}
    officer.post(reverse("reference_pallet_add"), made)
    pallet = Pallet.objects.get()
    aside = fields(codes="P1 P2", pallet=pallet.pk)
    assert "moved from Quayside store to take-back pallet Pallet A" in words(send(officer, "set_aside", aside))
    confirm(officer, "set_aside", aside)
    listed = words(officer.get(reverse("reference_pallets")))
    assert "Pallet A state Quayside with PFAS only 2 10.0 gal Dispose with manifest" in listed
    page = officer.get(reverse("dispose"), {"pallet": pallet.pk}).content.decode()
    assert "P1 P2" in page
    paper = {
        "manifest": "M-1",
        "hauler": "a hauler",
        "taken_on": "2026-06-15",
        "weight_number": "88",
        "weight_unit": "lb",
    }
    form = fields(codes="P1 P2", pallet=pallet.pk, **paper, **gallons(""))
    assert "P1 and P2 taken from take-back pallet Pallet A out of the book" in words(send(officer, "dispose", form))
    done = words(confirm(officer, "dispose", form))
    assert "with PFAS: 10.0 gal" in done
    assert "88 lb" in done
    assert "certificate awaited" in done
    again = fields(codes="P1", **{**paper, "manifest": "M-2"}, **gallons(""))
    assert "no container has that label code" in words(send(officer, "dispose", again))
    row = Disposal.objects.get()
    certified = words(
        confirm(officer, "certify_disposal", fields(certificate="C-9", certified_on="2026-06-15"), row.pk)
    )
    assert "C-9, destroyed 2026-06-15" in certified
    sheet = load_workbook(io.BytesIO(officer.get(reverse("disposals"), {"export": "xlsx"}).content))["Disposals"]
    assert sheet["A2"].value == "M-1"


def test_a_form_cannot_bring_it_back(cast, officer):
    stocked(cast, "P1")
    pallet = Pallet.objects.create(department=cast.department, name="A", programme="state", station=cast.station)
    confirm(officer, "set_aside", fields(codes="P1", pallet=pallet.pk))
    back = fields(codes="P1", owner=f"unit-{cast.unit.pk}", compartment="L3")
    assert "never returns to a unit, a vehicle or a tank" in words(send(officer, "move", back))


# -- recalls -----------------------------------------------------------------------------------------------------------


def test_a_recall_shows_before_it_is_confirmed_all_that_it_reached(cast, officer):
    rig = Rigged(cast)
    rig.judge()
    form = fields(reference="N-7", recalled_on="2026-06-14")
    page = words(send(officer, "recall", form, cast.lot.pk))
    assert "ready becomes not ready" in page
    assert "Units that carry or carried any of it: Engine 1" in page
    assert "P8" in page
    assert Lot.objects.get(pk=cast.lot.pk).recalled_on is None


def test_the_worklist_and_the_withdrawal(cast, officer):
    pails = [stocked(cast, code) for code in ("P1", "P2")]
    confirm(officer, "recall", fields(reference="N-7", recalled_on="2026-06-14"), cast.lot.pk)
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK, reason="recall")
    movements.quarantine(entry, container=pails[0])
    page = words(officer.get(reverse("recall_worklist", args=[cast.lot.pk])))
    assert "1 of 2 pulled" in page
    assert "pulled P1 pail Quayside store 5.0 gal quarantined" in page
    assert "to pull P2 pail Quayside store 5.0 gal" in page
    assert "what to pull" in words(officer.get(reverse("moving")))
    assert "says why" in words(send(officer, "withdraw_recall", fields(reason=""), cast.lot.pk))
    confirm(officer, "withdraw_recall", fields(reason="another lot was meant"), cast.lot.pk)
    assert Lot.objects.get(pk=cast.lot.pk).recalled_on is None
    again = send(officer, "withdraw_recall", fields(reason="again"), cast.lot.pk)
    assert "is not recalled" in words(again)


# -- all of it ---------------------------------------------------------------------------------------------------------


class Made(NamedTuple):
    """One of each, so that every page has a row."""

    partner: Partner
    number: int


def one_of_each(cast, officer, number):
    """A delivery, a loan each way, a pile, a pallet, a disposal and a recalled lot."""
    partner = PartnerFactory(department=cast.department)
    lot = LotFactory(concentrate=cast.ar)
    pallet = Pallet.objects.create(
        department=cast.department, name=f"Pallet {number}", programme="state", station=cast.station
    )
    for letter in "ABC":
        stocked(cast, f"{letter}{number}", lot)
    confirm(officer, "receive", arrival(cast, f"R{number}", lot=lot.pk, ordered="2", order_reference=f"O{number}"))
    confirm(officer, "lend", fields(codes=f"A{number}", partner=partner.pk, **gallons("")))
    confirm(officer, "borrow", arrival(cast, f"H{number}", lot=lot.pk, partner=partner.pk))
    confirm(officer, "set_aside", fields(codes=f"B{number}", pallet=pallet.pk))
    paper = {"manifest": f"M-{number}", "hauler": "hauler", "taken_on": "2026-06-15"}
    confirm(officer, "dispose", fields(codes=f"C{number}", **paper, **gallons("")))
    address = counted(cast, incident=f"26-{number}", owner_0=f"partner-{partner.pk}", n_0="1")
    officer.post(address, {**fields(lot_0=""), "confirm": "yes"})
    Lot.objects.filter(pk=lot.pk).update(recalled_on=D0, recall_reference="N-1")
    return Made(partner, number)


@pytest.mark.parametrize(
    "url", ["moving", "deliveries", "owed", "settlements", "disposals", "reference_pallets", "reference_partners"]
)
def test_the_queries_do_not_grow(cast, officer, url):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            assert officer.get(reverse(url)).status_code == 200
        return len(caught)

    one_of_each(cast, officer, 0)
    few = queries()
    one_of_each(cast, officer, 1)
    one_of_each(cast, officer, 2)
    assert queries() == few


def test_the_queries_of_one_record_do_not_grow(cast, officer, harbor):
    """A statement, a manifest, a slip and a worklist of one container and of seven."""

    def queries(url, pk):
        with CaptureQueriesContext(connection) as caught:
            assert officer.get(reverse(url, args=[pk])).status_code == 200
        return len(caught)

    few, many = [], []
    for found, codes in ((few, ["P0"]), (many, [f"Q{n}" for n in range(7)])):
        partner = PartnerFactory(department=cast.department)
        lot = LotFactory(concentrate=cast.ar)
        for code in codes:
            stocked(cast, code, lot)
            stocked(cast, f"X{code}", lot)
        listed = " ".join(codes)
        confirm(officer, "lend", fields(codes=listed, partner=partner.pk, **gallons("")))
        paper = {"manifest": f"M-{listed}", "hauler": "hauler", "taken_on": "2026-06-15"}
        gone = " ".join(f"X{code}" for code in codes)
        confirm(officer, "dispose", fields(codes=gone, **paper, **gallons("")))
        confirm(officer, "receive", arrival(cast, " ".join(f"R{code}" for code in codes), lot=lot.pk))
        found += [
            queries("statement", partner.pk),
            queries("disposal", Disposal.objects.latest("id").pk),
            queries("delivery", Delivery.objects.latest("id").pk),
            queries("recall_worklist", lot.pk),
        ]
    assert few == many


def test_who_sees_what(cast, as_role):
    crew = words(as_role(Role.CREW).get(reverse("moving")))
    assert "Receive a delivery" not in crew
    assert "Nothing is in transit" in crew
    assert "Receive a delivery" in words(as_role(Role.LOGISTICS).get(reverse("moving")))


def test_papers_are_found_by_the_search(cast, officer, harbor):
    confirm(officer, "receive", arrival(cast, order_reference="PO-7781"))
    stocked(cast, "P1")
    paper = {"manifest": "M-2231", "hauler": "hauler", "taken_on": "2026-06-15"}
    confirm(officer, "dispose", fields(codes="P1", **paper, **gallons("")))
    pages = {
        "po-7781": reverse("delivery", args=[Delivery.objects.get().pk]),
        "m-2231": reverse("disposal", args=[Disposal.objects.get().pk]),
        "harbor": reverse("statement", args=[harbor.pk]),
    }
    for asked, address in pages.items():
        assert officer.get(reverse("search"), {"q": asked}).headers["Location"] == address


def test_a_movement_leads_to_its_papers(cast, officer, harbor):
    confirm(officer, "receive", arrival(cast))
    movement = Movement.objects.get()
    assert "Receiving slip" in words(officer.get(reverse("movement", args=[movement.pk])))
    confirm(officer, "lend", fields(codes="N-01", partner=harbor.pk, **gallons("")))
    assert "Partner Harbor County" in words(officer.get(reverse("movement", args=[Movement.objects.latest("id").pk])))


def test_a_container_that_is_away_is_offered_no_form_that_would_be_refused(cast, officer, harbor):
    pail = stocked(cast, "P1")
    page = officer.get(reverse("container", args=[pail.pk])).content.decode()
    assert [
        f'href="{reverse(url)}?code=P1"' in page for url in ("move", "send_transfer", "lend", "set_aside", "use")
    ] == [True] * 5
    confirm(officer, "lend", fields(codes="P1", partner=harbor.pk, **gallons("")))
    page = officer.get(reverse("container", args=[pail.pk])).content.decode()
    assert [
        f'href="{reverse(url)}?code=P1"' in page for url in ("move", "send_transfer", "lend", "set_aside", "use")
    ] == [False] * 5
    assert f'href="{reverse("statement", args=[harbor.pk])}"' in page


def test_a_partner_is_named_by_a_loan_and_not_by_a_use(cast, officer):
    assert "partner department" not in officer.get(reverse("use")).content.decode()


def test_a_station_stays_open_while_something_is_on_its_way_there(cast, as_role, officer):
    from readiness.models import Station

    other = Station.objects.create(department=cast.department, name="Millrace")
    Pallet.objects.create(department=cast.department, name="Pallet A", programme="state", station=other)
    stocked(cast, "P1")
    form = fields(codes="P1", owner=f"station-{other.pk}", expected_on="2026-06-16")
    confirm(officer, "send_transfer", form)
    said = words(as_role(Role.CHIEF).post(reverse("reference_station_retire", args=[other.pk])))
    assert "Take-back pallets that stand there: Pallet A" in said
    assert "What is on its way there: transfer" in said
