"""Take-back pallets: what stands on one never returns to a rig, by whatever door; and disposal with its manifest."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from readiness.actions import movements, transfers
from readiness.actions.deliveries import Delivery, receive_delivery
from readiness.actions.disposals import Load, Manifest, certify, dispose
from readiness.actions.drafts import Draft, Line, Move, Refused
from readiness.actions.ledger import post
from readiness.actions.loans import lend
from readiness.actions.movements import Entry
from readiness.actions.pallets import set_aside
from readiness.actions.permissions import OWNER
from readiness.actions.submissions import Sent, submit
from readiness.models import Change, Container, Disposal, Movement, Pallet, Relocation, Role
from readiness.models.movements import Account, MovementKind
from readiness.reports.disposals import disposal_told, disposals
from readiness.reports.inventory import load_inventory
from readiness.reports.recounts import recount
from tests.cast import CLOCK, D0, PAIL_ML, SIX, PartnerFactory

PAPER = Manifest("M-100", "a hauler", D0, 40.0)


@pytest.fixture
def pallet(cast):
    return Pallet.objects.create(
        department=cast.department, name="Pallet A", programme="state take-back", station=cast.station
    )


def entry(cast, **values):
    return Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK, **values)


def full(cast, code, lot=None):
    made = cast.pail(code=code)
    movements.receive(entry(cast), container=made, lot=lot or cast.lot, ml=PAIL_ML, place=cast.store)
    made.refresh_from_db()
    return made


def aside(cast, pallet, *codes):
    made = [full(cast, code) for code in codes]
    set_aside(entry(cast), containers=made, pallet=pallet)
    for each in made:
        each.refresh_from_db()
    return made


def test_on_a_pallet_it_counts_for_nothing(cast, pallet):
    aside(cast, pallet, "P1")
    item = load_inventory(cast.department, D0).items[0]
    assert (item.where, item.state, item.counted_ml, item.station) == (
        "on a take-back pallet",
        "on a take-back pallet",
        0,
        "Quayside",
    )
    assert item.place == "take-back pallet Pallet A"


def test_no_door_leads_back_to_a_rig(cast, pallet):
    """Every way that moves or pours, and the ledger itself, refuse with the same sentence; nothing is written."""
    (pail,) = aside(cast, pallet, "P1")
    tank, other = cast.tank(code="T1"), full(cast, "P9")
    partner = PartnerFactory(department=cast.department)
    raw = {"happened_at": SIX, "kind": MovementKind.MOVED}
    ways = [
        lambda: movements.move(entry(cast), containers=[pail], place=cast.on_unit),
        lambda: movements.move(entry(cast), containers=[pail], place=cast.on_vehicle),
        lambda: movements.move(entry(cast), containers=[pail], place=cast.store),
        lambda: movements.pour(entry(cast), source=pail, target=tank, ml=100),
        lambda: movements.pour(entry(cast, reason="urgent"), source=pail, target=tank, ml=100, override=True),
        lambda: movements.use(entry(cast), container=pail, ml=100, account=Account.INCIDENT),
        lambda: movements.use(entry(cast), container=pail, ml=100, account=Account.DRILL),
        lambda: movements.use(entry(cast), container=pail, ml=100, account=Account.PARTNER),
        lambda: transfers.send(entry(cast), containers=[pail], owner=cast.unit, expected_on=D0),
        lambda: lend(entry(cast, partner=partner), containers=[pail]),
        lambda: post(
            cast.department,
            Draft(uuid4(), moves=(Move(pail.pk, pail.place_id, cast.on_unit.pk),), **raw),
            acting=OWNER,
            clock=CLOCK,
        ),
        lambda: post(
            cast.department,
            Draft(uuid4(), lines=(Line(pail.pk, cast.lot.pk, -5), Line(tank.pk, cast.lot.pk, 5)), **raw),
            acting=OWNER,
            clock=CLOCK,
        ),
    ]
    before = Movement.objects.count()
    for way in ways:
        with pytest.raises(Refused, match="never returns to a unit, a vehicle or a tank"):
            way()
    assert Movement.objects.count() == before
    held = submit(
        cast.department,
        Sent(uuid4(), "move", {"container": "P1", "unit": "Engine 1", "compartment": "L3"}),
        acting=cast.acting(Role.LOGISTICS),
        clock=CLOCK,
    )
    assert (held.outcome, "never returns" in held.why) == ("held", True)
    movements.pour(entry(cast), source=other, target=tank, ml=100)  # what is on no pallet pours


def test_a_delivery_does_not_fetch_it_back(cast, pallet):
    pail = cast.pail(code="P1")
    movements.move(entry(cast), containers=[pail], place=cast.store)
    pail.refresh_from_db()
    set_aside(entry(cast), containers=[pail], pallet=pallet)
    come = {"lot": cast.lot, "kind": "pail", "capacity_ml": PAIL_ML, "sealed": True}
    with pytest.raises(Refused, match="never returns"):
        receive_delivery(entry(cast), Delivery(("P1",), PAIL_ML, owner=cast.station, **come))


def test_a_correction_with_a_reason_leads_back(cast, pallet):
    (pail,) = aside(cast, pallet, "P1")
    movement = Movement.objects.get(pk=Relocation.objects.get(container=pail, to_place__pallet=pallet).movement_id)
    with pytest.raises(Refused, match="No reason was read"):
        movements.correct(entry(cast), movement=movement)
    movements.correct(entry(cast, reason="the wrong pail"), movement=movement)
    pail.refresh_from_db()
    assert pail.place_id == cast.store.pk


@pytest.mark.parametrize(
    ("takes", "refused", "kept"),
    [
        ({"takes": "without PFAS only"}, {"AR": "takes without PFAS only", "X": "takes without PFAS only"}, ["A"]),
        ({"takes": "with PFAS only"}, {"A": "takes with PFAS only"}, ["AR", "X"]),
        ({"refused_kinds": ["Class A"]}, {"A": "does not take Class A"}, ["AR", "X"]),
    ],
)
def test_a_programme_refuses_a_class(cast, pallet, takes, refused, kept):
    """AR has PFAS, A has none, of X nobody knows: that counts as with PFAS."""
    Pallet.objects.filter(pk=pallet.pk).update(**takes)
    pallet.refresh_from_db()
    unknown = cast.other_lot
    unknown.concentrate = type(cast.ar).objects.create(
        department=cast.department, name="Demo AFFF", kind="AFFF", pfas="unknown"
    )
    unknown.save()
    pails = {"AR": full(cast, "AR"), "A": full(cast, "A", cast.class_a_lot), "X": full(cast, "X", unknown)}
    for code, words in refused.items():
        with pytest.raises(Refused, match=words):
            set_aside(entry(cast), containers=[pails[code]], pallet=pallet)
    set_aside(entry(cast), containers=[pails[code] for code in kept], pallet=pallet)
    assert sorted(Container.objects.filter(place__pallet=pallet).values_list("code", flat=True)) == sorted(kept)


def test_a_pallet_drum_is_filled_only_with_what_it_takes(cast, pallet):
    drum = cast.tank(code="D1")
    movements.move(entry(cast), containers=[drum], place=cast.store)
    drum.refresh_from_db()
    Pallet.objects.filter(pk=pallet.pk).update(takes="without PFAS only")
    pallet.refresh_from_db()
    set_aside(entry(cast), containers=[drum], pallet=pallet)
    with pytest.raises(Refused, match="takes without PFAS only"):
        movements.pour(entry(cast), source=full(cast, "P1"), target=drum, ml=100)
    movements.pour(entry(cast), source=full(cast, "A1", cast.class_a_lot), target=drum, ml=100)


# -- disposal ----------------------------------------------------------------------------------------------------------


def test_a_pallet_is_handed_over_with_its_manifest(cast, pallet):
    pails = aside(cast, pallet, "P1", "P2")
    posted = dispose(entry(cast), manifest=PAPER, load=Load(tuple(pails)), pallet=pallet)
    rows = Container.objects.order_by("code")
    assert [(row.contents_ml, row.place_id, row.retired_on) for row in rows] == [(0, None, D0)] * 2
    movement = Movement.objects.get(pk=posted.movement_id)
    assert list(movement.lines.filter(account="disposal").values_list("ml", flat=True)) == [PAIL_ML, PAIL_ML]
    told = disposal_told(Disposal.objects.get())
    assert (told.row.volume_ml, told.row.pfas_ml, told.row.containers, told.row.weight_kg) == (37_854, 37_854, 2, 40.0)
    assert told.by_pfas == (("yes", 37_854),)
    assert Change.objects.get(action="dispose").new["manifest"] == "M-100"
    assert recount().differences == ()


def test_nothing_is_disposed_of_twice(cast, pallet):
    pails = aside(cast, pallet, "P1", "P2")
    dispose(entry(cast), manifest=PAPER, load=Load((pails[0],)), pallet=pallet)
    for each in pails:
        each.refresh_from_db()
    with pytest.raises(Refused, match="P1 left the book with manifest M-100 on 2026-06-15 already"):
        dispose(entry(cast), manifest=PAPER._replace(number="M-101"), load=Load((pails[0],)))
    with pytest.raises(Refused, match="Manifest M-100 is in the book already"):
        dispose(entry(cast), manifest=PAPER._replace(number="m-100"), load=Load((pails[1],)))


def test_a_corrected_disposal_stands_on_its_pallet_again_and_its_number_is_free(cast, pallet):
    (pail,) = aside(cast, pallet, "P1")
    posted = dispose(entry(cast), manifest=PAPER, load=Load((pail,)))
    movements.correct(entry(cast, reason="not taken"), movement=Movement.objects.get(pk=posted.movement_id))
    pail.refresh_from_db()
    assert (pail.contents_ml, pail.place.pallet, pail.retired_on) == (PAIL_ML, pallet, None)
    assert disposals(cast.department)[0].state == "corrected"
    dispose(entry(cast), manifest=PAPER, load=Load((pail,)))
    assert [row.state for row in disposals(cast.department)] == ["certificate awaited", "corrected"]


def test_a_volume_goes_and_its_container_stays(cast):
    tank = cast.tank(code="T1")
    movements.receive(entry(cast), container=tank, lot=cast.class_a_lot, ml=50_000, place=cast.on_vehicle)
    tank.refresh_from_db()
    dispose(entry(cast), manifest=PAPER, load=Load(volumes=((tank, 20_000),)))
    tank.refresh_from_db()
    assert (tank.contents_ml, tank.retired_on) == (30_000, None)
    told = disposal_told(Disposal.objects.get())
    assert [(each.code, each.ml, each.whole) for each in told.taken] == [("T1", 20_000, False)]
    assert (told.row.pfas_ml, told.by_pfas) == (0, (("no", 20_000),))


def test_empty_containers_go_along(cast):
    pail = full(cast, "P1")
    movements.use(entry(cast), container=pail, ml=PAIL_ML, account=Account.DISPOSAL)
    pail.refresh_from_db()
    dispose(entry(cast), manifest=PAPER, load=Load((pail,)))
    assert [(each.code, each.concentrate, each.ml) for each in disposal_told(Disposal.objects.get()).taken] == [
        ("P1", "empty", 0)
    ]


@pytest.mark.parametrize(
    ("paper", "sentence"),
    [
        ({"number": " "}, "No manifest number was read"),
        ({"hauler": ""}, "No hauler was read"),
        ({"taken_on": D0 + timedelta(days=1)}, "lies in the future"),
    ],
)
def test_what_its_paper_must_say(cast, paper, sentence):
    with pytest.raises(Refused, match=sentence):
        dispose(entry(cast), manifest=PAPER._replace(**paper), load=Load((full(cast, "P1"),)))
    with pytest.raises(Refused, match="Nothing was read that was taken"):
        dispose(entry(cast), manifest=PAPER, load=Load())


def test_the_certificate_comes_later(cast):
    dispose(entry(cast), manifest=PAPER, load=Load((full(cast, "P1"),)))
    row = Disposal.objects.get()
    said = {"disposal": row, "acting": cast.acting(Role.CHIEF), "clock": CLOCK}
    with pytest.raises(Refused, match="No certificate was read"):
        certify(cast.department, certificate="", certified_on=D0, **said)
    with pytest.raises(Refused, match="a day from 2026-06-15, when it was taken, to today"):
        certify(cast.department, certificate="C-1", certified_on=D0 - timedelta(days=1), **said)
    certify(cast.department, certificate="C-1", certified_on=D0, **said)
    assert disposals(cast.department)[0].state == "certified"
    change = Change.objects.get(action="certify disposal")
    assert (change.old["certificate"], change.new["certificate"]) == ("", "C-1")


def test_what_left_the_book_for_good_stays_out_of_it(cast):
    """Whatever door is tried; once the disposal is corrected it is there again."""
    gone = full(cast, "P1")
    posted = dispose(entry(cast), manifest=PAPER, load=Load((gone,)))
    gone.refresh_from_db()
    out = f"P1 left the book on {D0}"
    with pytest.raises(Refused, match=out):
        movements.move(entry(cast), containers=[gone], place=cast.on_unit)
    with pytest.raises(Refused, match=out):
        movements.receive(entry(cast), container=gone, lot=cast.lot, ml=10, place=cast.store)
    with pytest.raises(Refused, match=out):
        movements.quarantine(entry(cast, reason="leaks"), container=gone)
    partner = PartnerFactory(department=cast.department)
    with pytest.raises(Refused, match=out):
        lend(entry(cast)._replace(partner=partner), containers=[gone])
    movements.correct(entry(cast, reason="another pail"), movement=Movement.objects.get(pk=posted.movement_id))
    gone.refresh_from_db()
    movements.move(entry(cast), containers=[gone], place=cast.on_unit)
    assert recount(cast.department).differences == ()
