"""Two-step transfers: in transit counts nowhere, another person receives, and every difference has its account."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from readiness.actions import movements, transfers
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.actions.permissions import NotAllowed
from readiness.actions.transfers import Came, Receipt
from readiness.models import Change, Container, Movement, MovementLine, Role, Transfer
from readiness.models.movements import Account
from readiness.reports.inventory import load_inventory
from readiness.reports.recounts import recount
from readiness.reports.stock import stock
from readiness.reports.transfers import transfer_told
from readiness.reports.transfers import transfers as listed
from tests.actions.own_database import own_database, run
from tests.cast import CLOCK, D0, PAIL_ML, SIX
from tests.judged import Rigged

TOMORROW = D0 + timedelta(days=1)


def entry(cast, role=Role.LOGISTICS, **values):
    return Entry(cast.department, cast.acting(role), CLOCK, **values)


@pytest.fixture
def pails(cast):
    """Three full pails in the store: 3 × 18,927 mL."""
    made = [cast.pail(code=f"P{n}") for n in (1, 2, 3)]
    for each in made:
        movements.receive(entry(cast), container=each, lot=cast.lot, ml=PAIL_ML, place=cast.store)
        each.refresh_from_db()
    return made


def sent(cast, pails, **values):
    stated = {"owner": cast.unit, "compartment": "L3", "expected_on": TOMORROW, **values}
    transfers.send(entry(cast), containers=pails, **stated)
    return Transfer.objects.latest("id")


def told(transfer, day=D0):
    return transfer_told(Transfer.objects.select_related("department").get(pk=transfer.pk), day)


def test_what_is_sent_is_in_transit_and_counts_on_no_unit(cast, pails):
    transfer = sent(cast, pails)
    inventory = load_inventory(cast.department, D0)
    assert {(item.where, item.place, item.unit) for item in inventory.items} == {
        ("in transit", "in transit to Engine 1, L3", "")
    }
    row = stock(inventory).rows[0]
    assert (row.store_ml, row.units_ml, row.transit_ml, row.total_ml) == (0, 0, 56_781, 56_781)  # 3 × 18,927
    found = told(transfer).row
    assert (found.sent, found.on_the_way, found.on_the_way_ml, found.state) == (3, 3, 56_781, "in transit")
    assert found.origin == "Quayside store"
    change = Change.objects.get(action="send transfer")
    assert change.new == {"to": "Engine 1, L3", "expected_on": TOMORROW.isoformat()}


def test_a_unit_is_judged_again_without_what_left_it(cast, django_capture_on_commit_callbacks):
    rig = Rigged(cast)
    assert rig.status() == "ready"  # nine pails
    with django_capture_on_commit_callbacks(execute=True):
        transfers.send(entry(cast), containers=rig.pails[:1], owner=cast.station, expected_on=D0)
    assert rig.usable_gal() == pytest.approx(8 * 18.927 / 3.785411784)  # eight pails are left
    assert rig.current().status == "not_ready"  # 40 gal < 44.175 gal, and under the textbook's too


def test_somebody_else_receives_it(cast, pails):
    transfer = sent(cast, pails)
    receipt = Receipt(tuple(Came(each) for each in pails))
    with pytest.raises(Refused, match="You sent this transfer"):
        transfers.receive(entry(cast), transfer=transfer, receipt=receipt)
    transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=receipt)
    assert set(Container.objects.values_list("place", flat=True)) == {cast.on_unit.pk}
    row = told(transfer).row
    assert (row.on_the_way, row.differences, row.state) == (0, 0, "settled")
    with pytest.raises(Refused, match="Nothing of transfer"):
        transfers.receive(entry(cast, Role.OFFICER), transfer=transfer, receipt=receipt)


def test_a_partial_receipt_keeps_what_did_not_come_with_its_words(cast, pails):
    transfer = sent(cast, pails)
    some = Receipt((Came(pails[0]), Came(pails[1])))
    with pytest.raises(Refused, match="P3 did not come and no word was read on it"):
        transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=some)
    transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=some._replace(missing="not on the truck"))
    found = told(transfer)
    assert [(each.code, each.state) for each in found.carried] == [
        ("P1", "received"),
        ("P2", "received"),
        ("P3", "in transit"),
    ]
    assert [(code, words) for code, words, *_ in found.differences] == [("P3", "did not come: not on the truck")]
    late = Receipt((Came(pails[2]),))
    transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=late)
    assert told(transfer).row.state == "settled"


def test_what_came_with_less_is_booked_as_leaked(cast, pails):
    transfer = sent(cast, pails)
    came = (Came(pails[0], 15_000), Came(pails[1], PAIL_ML), Came(pails[2]))
    transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=Receipt(came))
    assert list(Container.objects.order_by("code").values_list("contents_ml", flat=True)) == [15_000, PAIL_ML, PAIL_ML]
    leaked = MovementLine.objects.filter(account="leak").values_list("ml", flat=True)
    assert list(leaked) == [3_927]  # 18,927 − 15,000
    assert "P1" in [code for code, *_ in told(transfer).differences]
    assert recount().differences == ()


def test_more_than_was_sent_is_a_question_and_no_entry(cast, pails):
    transfer = sent(cast, pails[:1])
    receipt = Receipt((Came(pails[0], PAIL_ML + 500),))
    with pytest.raises(Refused, match="mark it diluted"):
        transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=receipt)
    assert told(transfer).row.on_the_way == 1


def test_what_came_unlisted_is_moved_by_who_may_move(cast, pails):
    transfer = sent(cast, pails[:1])
    receipt = Receipt((Came(pails[0]),), unlisted=(pails[2],))
    with pytest.raises(NotAllowed):
        transfers.receive(entry(cast, Role.CREW), transfer=transfer, receipt=receipt)
    transfers.receive(entry(cast, Role.CHIEF), transfer=transfer, receipt=receipt)
    pails[2].refresh_from_db()
    assert pails[2].place_id == cast.on_unit.pk
    assert told(transfer).differences[0][1] == "came unlisted, from Quayside store"


def test_brought_back_it_stands_where_it_was_sent_from(cast, pails):
    movements.move(entry(cast), containers=pails[:1], place=cast.on_vehicle)
    for each in pails:
        each.refresh_from_db()
    transfer = sent(cast, pails)
    with pytest.raises(Refused, match="No reason was read"):
        transfers.recall(entry(cast), transfer=transfer)
    transfers.recall(entry(cast, reason="road closed"), transfer=transfer)
    assert dict(Container.objects.values_list("code", "place")) == {
        "P1": cast.on_vehicle.pk,
        "P2": cast.store.pk,
        "P3": cast.store.pk,
    }
    assert {each.state for each in told(transfer).carried} == {"brought back"}


def test_lost_on_the_way_it_is_written_off_and_found_again_by_a_correction(cast, pails):
    transfer = sent(cast, pails)
    posted = transfers.lose(entry(cast, reason="fell off"), transfer=transfer, containers=pails[:1])
    gone = Container.objects.get(code="P1")
    assert (gone.contents_ml, gone.place_id, gone.retired_on) == (0, None, date(2026, 6, 15))
    line = MovementLine.objects.get(account="inventory difference")
    assert (line.ml, line.lot) == (PAIL_ML, cast.lot)
    movement = Movement.objects.get(pk=posted.movement_id)
    movements.correct(entry(cast, reason="found in the ditch"), movement=movement)
    gone.refresh_from_db()
    assert (gone.contents_ml, gone.retired_on) == (PAIL_ML, None)
    assert told(transfer).row.on_the_way == 3
    assert recount().differences == ()


def test_overdue_ones_stand_first_with_their_days(cast, pails):
    sent(cast, pails[:1], expected_on=D0)
    sent(cast, pails[1:], expected_on=D0 + timedelta(days=9))
    found = listed(cast.department, D0 + timedelta(days=3))
    assert [(row.state, row.days_over, row.on_the_way) for row in found] == [("overdue", 3, 1), ("in transit", 0, 2)]


def test_a_corrected_sending_leaves_nothing_in_transit(cast, pails):
    transfer = sent(cast, pails)
    movement = Movement.objects.filter(relocations__to_place__transfer=transfer).distinct().get()
    movements.correct(entry(cast, reason="wrong pails"), movement=movement)
    found = told(transfer)
    assert (found.row.state, found.carried) == ("corrected", ())
    assert set(Container.objects.values_list("place", flat=True)) == {cast.store.pk}


@pytest.mark.parametrize("days", [-1, 367])
def test_an_expected_day_that_cannot_be_is_refused(cast, pails, days):
    with pytest.raises(Refused, match="write that day or a later one"):
        sent(cast, pails, expected_on=D0 + timedelta(days=days))


def test_nothing_passes_by_the_receipt(cast, pails):
    sent(cast, pails)
    for each in pails:
        each.refresh_from_db()
    with pytest.raises(Refused, match="receive or recall the transfer first"):
        movements.move(entry(cast), containers=pails[:1], place=cast.store)
    with pytest.raises(Refused, match="Receive it first"):
        movements.pour(entry(cast), source=pails[0], target=cast.tank(), ml=100)
    with pytest.raises(Refused, match="Receive it first"):
        movements.use(entry(cast), container=pails[0], ml=100, account=Account.INCIDENT)
    movements.use(entry(cast), container=pails[0], ml=5, account=Account.LEAK)  # that can happen on a road
    with pytest.raises(Refused, match="Receive it first"):
        movements.receive(entry(cast), container=pails[0], lot=cast.lot, ml=1)
    assert Container.objects.get(code="P1").contents_ml == PAIL_ML - 5
    with pytest.raises(Refused, match="receive or recall the transfer first"):
        sent(cast, pails)


def test_sent_to_where_it_is_it_stays(cast, pails):
    with pytest.raises(Refused, match="is at Quayside store already"):
        sent(cast, pails, owner=cast.station, compartment="")


def test_a_late_clock_is_no_way_around_the_order(cast, pails):
    transfer = sent(cast, pails)
    before = Entry(cast.department, cast.acting(Role.CREW), StoppedClock(SIX), happened_at=SIX - timedelta(hours=2))
    with pytest.raises(Refused, match="lies before it"):
        transfers.receive(before, transfer=transfer, receipt=Receipt((Came(pails[0]),), missing="later"))


@pytest.mark.django_db
def test_two_people_receive_at_once_and_it_is_received_once(tmp_path: Path) -> None:
    with own_database(tmp_path) as url:
        found = json.loads(run(url, "-m", "tests.actions.receivers"))
    assert sorted(found["answers"]) == ["received", *["refused"] * 7]
    assert found["relocations"] == 2  # sent, and received once
    assert found["differences"] == []
