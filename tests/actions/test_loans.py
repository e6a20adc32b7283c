"""Lending and borrowing: nothing turns up or vanishes, and what is owed is lent less returned, by a hand-kept book."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions import loans, movements
from readiness.actions.clock import StoppedClock
from readiness.actions.deliveries import Delivery
from readiness.actions.drafts import Refused
from readiness.actions.loans import Back
from readiness.actions.movements import Entry
from readiness.models import Container, Movement, MovementLine, Partner, Role
from readiness.models.movements import Account
from readiness.reports.inventory import load_inventory
from readiness.reports.loans import owed, statement
from readiness.reports.recounts import recount
from readiness.reports.stock import stock
from tests.cast import CLOCK, D0, PAIL_ML, SIX, PartnerFactory
from tests.judged import Rigged


@pytest.fixture
def harbor(cast):
    return PartnerFactory(department=cast.department, name="Harbor County")


def entry(cast, partner=None, role=Role.LOGISTICS, clock=CLOCK, **values):
    return Entry(cast.department, cast.acting(role), clock, partner=partner, **values)


def full(cast, code, lot=None, ml=PAIL_ML):
    made = cast.pail(code=code)
    movements.receive(entry(cast), container=made, lot=lot or cast.lot, ml=ml, place=cast.store)
    made.refresh_from_db()
    return made


def theirs(cast, *codes, lot=None, ml=PAIL_ML, **values):
    stated = {"kind": "pail", "capacity_ml": PAIL_ML, "sealed": True, "owner": cast.station, **values}
    return Delivery(codes, ml, lot or cast.lot, **stated)


def fresh(*rows):
    for row in rows:
        row.refresh_from_db()


def account(cast):
    """(partner, concentrate, net mL) of what is open."""
    return [(row.partner, row.concentrate, row.net_ml) for row in owed(cast.department) if row.net_ml]


def test_lent_containers_stay_ours_and_count_nowhere(cast, harbor):
    pails = [full(cast, f"P{n}") for n in (1, 2)]
    loans.lend(entry(cast, harbor), containers=pails)
    inventory = load_inventory(cast.department, D0)
    assert {(item.where, item.place, item.state, item.counted_ml) for item in inventory.items} == {
        ("lent", "lent to Harbor County", "lent", 0)
    }
    found = stock(inventory)
    assert found.rows == ()
    assert [(each.name.split(":")[0], each.containers, each.ml) for each in found.aside if each.containers] == [
        ("Lent containers", 2, 37_854)  # 2 × 18,927
    ]
    assert account(cast) == [("Harbor County", "Demo AR-AFFF 3x6", 37_854)]
    row = owed(cast.department)[0]
    assert (row.side, row.lent_containers, row.pfas, row.since) == ("owed to us", 2, "yes", SIX)
    assert not MovementLine.objects.filter(account=Account.PARTNER).exists()


def test_they_come_back_and_what_is_missing_stays_owed_by_volume(cast, harbor):
    pails = [full(cast, f"P{n}") for n in (1, 2)]
    loans.lend(entry(cast, harbor), containers=pails)
    fresh(*pails)
    loans.take_back(entry(cast, harbor), back=[Back(pails[0]), Back(pails[1], 8_927)], owner=cast.unit)
    fresh(*pails)
    assert [row.contents_ml for row in pails] == [PAIL_ML, 8_927]
    assert {str(row.place) for row in pails} == {"Engine 1"}
    assert account(cast) == [("Harbor County", "Demo AR-AFFF 3x6", 10_000)]  # 18,927 − 8,927
    assert statement(harbor).lent == ()


def test_other_containers_of_like_concentrate_settle_it(cast, harbor):
    """Two pails lent, both kept; two of another lot come for them: by lot +2 pails and −2 pails, together nothing."""
    pails = [full(cast, f"P{n}") for n in (1, 2)]
    loans.lend(entry(cast, harbor), containers=pails)
    loans.replaced(entry(cast, harbor), delivery=theirs(cast, "N1", "N2", lot=cast.other_lot), kept=pails)
    row = owed(cast.department)[0]
    assert (row.net_ml, row.side, row.since) == (0, "settled", None)
    assert [(lot.batch, lot.net_ml) for lot in row.lots] == [("AR-1", 37_854), ("AR-2", -37_854)]
    fresh(*pails)
    assert [(each.contents_ml, each.place_id, each.retired_on) for each in pails] == [(0, None, D0)] * 2
    new = Container.objects.get(code="N1")
    assert (new.partner_id, new.contents_ml) == (None, PAIL_ML), "for good, so it is ours"
    assert recount().differences == ()


def test_borrowed_foam_is_ours_to_use_and_owed_back(cast, harbor, django_capture_on_commit_callbacks):
    rig = Rigged(cast, pails=8)
    assert rig.status() == "not_ready"  # 8 × 5 = 40 gal < 44.175 gal
    with django_capture_on_commit_callbacks(execute=True):
        loans.borrow(entry(cast, harbor), delivery=theirs(cast, "H1", owner=cast.unit, compartment="L3"))
    assert rig.usable_gal() == pytest.approx(9 * 18.927 / 3.785411784)  # it counts where it stands
    item = next(item for item in load_inventory(cast.department, D0).items if item.code == "H1")
    assert (item.borrowed_from, item.counted_ml) == ("Harbor County", PAIL_ML)
    assert account(cast) == [("Harbor County", "Demo AR-AFFF 3x6", -PAIL_ML)]


def test_the_same_containers_go_back_and_what_was_used_stays_owed(cast, harbor):
    loans.borrow(entry(cast, harbor), delivery=theirs(cast, "H1", "H2"))
    one, two = Container.objects.order_by("code")
    movements.use(entry(cast), container=one, ml=5_000, account=Account.INCIDENT)
    loans.give_back(entry(cast, harbor), containers=[one, two])
    assert account(cast) == [("Harbor County", "Demo AR-AFFF 3x6", -5_000)]
    fresh(one, two)
    assert [(each.contents_ml, each.place_id, each.retired_on) for each in (one, two)] == [(0, None, D0)] * 2
    assert load_inventory(cast.department, D0).items == ()
    loans.borrow(entry(cast, harbor), delivery=theirs(cast, "H1"))  # the same pail again
    fresh(one)
    assert (one.contents_ml, one.retired_on) == (PAIL_ML, None)


def test_own_pails_go_for_good_only_against_what_is_owed(cast, harbor):
    mine, class_a = full(cast, "P1"), full(cast, "A1", cast.class_a_lot)
    with pytest.raises(Refused, match="none of that is owed to Harbor County: lend it instead"):
        loans.give_back(entry(cast, harbor), containers=[mine])
    loans.borrow(entry(cast, harbor), delivery=theirs(cast, "H1"))
    with pytest.raises(Refused, match="A1 holds Demo Class A, and none of that is owed"):
        loans.give_back(entry(cast, harbor), containers=[class_a])
    loans.give_back(entry(cast, harbor), containers=[mine])
    assert account(cast) == []


def test_a_volume_out_of_a_tank(cast, harbor):
    tank = cast.tank(code="T1")
    movements.receive(entry(cast), container=tank, lot=cast.lot, ml=100_000, place=cast.on_vehicle)
    loans.give_volume(entry(cast, harbor), container=tank, ml=30_000)
    fresh(tank)
    assert tank.contents_ml == 70_000
    assert account(cast) == [("Harbor County", "Demo AR-AFFF 3x6", 30_000)]
    loans.borrow(entry(cast, harbor), delivery=theirs(cast, "T1", ml=30_000, capacity_ml=113_562, owner=cast.vehicle))
    assert account(cast) == []
    assert Container.objects.get(code="T1").partner_id is None, "filled from theirs, it is still our tank"


def test_a_correction_gives_back_what_it_took(cast, harbor):
    pails = [full(cast, "P1")]
    loans.borrow(entry(cast, harbor), delivery=theirs(cast, "H1"))
    posted = loans.give_back(entry(cast, harbor), containers=pails)
    movements.correct(entry(cast, reason="wrong pail"), movement=Movement.objects.get(pk=posted.movement_id))
    fresh(*pails)
    assert (pails[0].contents_ml, pails[0].place_id, pails[0].retired_on) == (PAIL_ML, cast.store.pk, None)
    assert account(cast) == [("Harbor County", "Demo AR-AFFF 3x6", -PAIL_ML)]
    correction = Movement.objects.get(corrects=posted.movement_id)
    assert correction.partner == harbor


def test_since_when_it_is_open(cast, harbor):
    """Borrowed on day 0, given back on day 2, borrowed again on day 5: open since day 5."""
    days = [entry(cast, harbor, clock=StoppedClock(SIX + timedelta(days=n))) for n in (0, 2, 5)]
    loans.borrow(days[0], delivery=theirs(cast, "H1"))
    loans.give_back(days[1], containers=[Container.objects.get(code="H1")])
    assert owed(cast.department)[0].since is None
    loans.borrow(days[2], delivery=theirs(cast, "H1"))
    assert owed(cast.department)[0].since == SIX + timedelta(days=5)


def test_what_is_refused(cast, harbor):
    other = PartnerFactory(department=cast.department, name="Mill County")
    pail = full(cast, "P1")
    loans.borrow(entry(cast, harbor), delivery=theirs(cast, "H1"))
    borrowed = Container.objects.get(code="H1")
    with pytest.raises(Refused, match="H1 is borrowed from Harbor County: it is not ours to lend"):
        loans.lend(entry(cast, other), containers=[borrowed])
    with pytest.raises(Refused, match="borrowed from Harbor County, and not from Mill County"):
        loans.give_back(entry(cast, other), containers=[borrowed])
    with pytest.raises(Refused, match="P1 is not lent to Harbor County by the book"):
        loans.take_back(entry(cast, harbor), back=[Back(pail)], owner=cast.station)
    loans.lend(entry(cast, harbor), containers=[pail])
    fresh(pail)
    with pytest.raises(Refused, match="it was lent with"):
        loans.take_back(entry(cast, harbor), back=[Back(pail, PAIL_ML + 1_000)], owner=cast.station)
    with pytest.raises(Refused, match="Enter its return first"):
        movements.use(entry(cast), container=pail, ml=10, account=Account.INCIDENT)
    with pytest.raises(Refused, match="enter its return first"):
        movements.move(entry(cast), containers=[pail], place=cast.store)
    Partner.objects.filter(pk=other.pk).update(retired_on=D0)
    other.refresh_from_db()
    with pytest.raises(Refused, match="no partner any more"):
        loans.lend(entry(cast, other), containers=[])
    with pytest.raises(Refused, match="this container is retired"):
        loans.give_back(entry(cast, harbor), containers=[borrowed])
        loans.borrow(entry(cast, PartnerFactory(department=cast.department)), delivery=theirs(cast, "H1"))


def test_volume_for_a_partner_that_nobody_named_does_not_vanish(cast):
    pail = full(cast, "P1")
    movements.use(entry(cast), container=pail, ml=1_000, account=Account.PARTNER)
    assert account(cast) == [("partner not named", "Demo AR-AFFF 3x6", 1_000)]


def test_no_volume_is_given_out_of_a_container_that_is_lent(cast, harbor):
    """It stands with the partner already: the same litres would be owed twice."""
    pail = full(cast, "P1")
    loans.lend(entry(cast, harbor), containers=[pail])
    with pytest.raises(Refused, match="P1 stands at “lent to Harbor County”"):
        loans.give_volume(entry(cast, harbor), container=pail, ml=1_000)
    assert account(cast) == [("Harbor County", str(cast.ar), PAIL_ML)]
