"""The common pile, worked by hand: everybody's pails beside one engine, settled by counting empties per owner.

A tanker fire. Beside our Engine 1 lie ten empty 5-gal pails of AR foam (18,927 mL each):
- 3 of Engine 1's own,
- 4 of Harbor County's,
- 2 of Mill County's,
- 1 whose label is burnt.
Drawn by our engine: used at the incident 3 × 18,927 = 56,781 mL of ours and 6 × 18,927 = 113,562 mL of theirs, of
which 75,708 are owed back to Harbor and 37,854 to Mill; one stays an open question.
"""

from __future__ import annotations

import pytest

from readiness.actions import movements
from readiness.actions.drafts import Refused
from readiness.actions.movements import Entry
from readiness.actions.settlements import Pile, PileRow, settle_pile
from readiness.models import Container, Lot, Movement, MovementLine, Role, Settlement
from readiness.models.movements import Account
from readiness.reports.inventory import load_inventory
from readiness.reports.loans import owed
from readiness.reports.recounts import recount
from readiness.reports.settlements import Counted, propose, settlements, sizes
from tests.cast import CLOCK, D0, PAIL_ML, LotFactory, PartnerFactory

INCIDENT = "26-118"


@pytest.fixture
def scene(cast):
    """Engine 1 with five full pails, and two partners."""
    cast.pails = [pail(cast, f"P{n}") for n in range(1, 6)]
    cast.harbor = PartnerFactory(department=cast.department, name="Harbor County")
    cast.mill = PartnerFactory(department=cast.department, name="Mill County")
    return cast


def entry(cast, **values):
    return Entry(cast.department, cast.acting(Role.LOGISTICS), CLOCK, **{"incident": INCIDENT, **values})


def pail(cast, code, lot=None, place=None):
    made = cast.pail(code=code)
    movements.receive(
        entry(cast, incident=""), container=made, lot=lot or cast.lot, ml=PAIL_ML, place=place or cast.on_unit
    )
    made.refresh_from_db()
    return made


def row(cast, counted, **values):
    return PileRow(cast.ar, "pail", PAIL_ML, counted, **values)


def ten_empties(cast):
    return (
        row(cast, 3, unit=cast.unit, containers=tuple(cast.pails[:3])),
        row(cast, 4, partner=cast.harbor),
        row(cast, 2, partner=cast.mill, lot=cast.other_lot),
        row(cast, 1),
    )


def went_to(account):
    return sum(MovementLine.objects.filter(account=account).values_list("ml", flat=True))


def account_of(cast):
    return {each.partner: each.net_ml for each in owed(cast.department)}


def test_the_worked_example(scene):
    settle_pile(entry(scene, reason="tanker"), Pile(ten_empties(scene)))
    assert went_to(Account.INCIDENT) == 56_781 + 113_562
    assert account_of(scene) == {"Harbor County": -75_708, "Mill County": -37_854}
    assert list(Container.objects.order_by("code").values_list("contents_ml", flat=True)) == [0, 0, 0, PAIL_ML, PAIL_ML]
    told = settlements(scene.department)[0]
    assert (told.incident, told.counted, told.unexplained, told.drawn_by) == (INCIDENT, 10, 1, "")
    assert [(each.owner, each.counted, each.booked, each.what) for each in told.rows] == [
        ("Engine 1", 3, 3, "used at the incident"),
        ("Harbor County", 4, 4, "owed back to them"),
        ("Mill County", 2, 2, "owed back to them"),
        ("owner not known", 1, 0, "an open question"),
    ]
    assert set(Movement.objects.filter(kind="used").values_list("incident", flat=True)) == {INCIDENT}
    assert Movement.objects.filter(kind="used").count() == 3  # ours, Harbor's, Mill's
    assert recount().differences == ()


def test_a_lot_that_nobody_read_says_so(scene):
    settle_pile(entry(scene), Pile((row(scene, 4, partner=scene.harbor),)))
    lot = Lot.objects.get(batch="not read, of Harbor County")
    assert lot.concentrate == scene.ar
    settle_pile(entry(scene, incident="26-119"), Pile((row(scene, 1, partner=scene.harbor),)))
    assert Lot.objects.filter(batch__startswith="not read").count() == 1
    assert account_of(scene) == {"Harbor County": -94_635}  # 5 × 18,927


def test_drawn_by_a_partners_engine_ours_is_owed_to_us(scene):
    """The same pile beside Harbor's engine: our 3 are owed by Harbor; Harbor's are its own; Mill's is between them."""
    settle_pile(entry(scene), Pile(ten_empties(scene), drawn_by=scene.harbor))
    assert account_of(scene) == {"Harbor County": 56_781}
    assert went_to(Account.INCIDENT) == 0
    told = settlements(scene.department)[0]
    assert [each.what for each in told.rows] == [
        "owed to us by Harbor County",
        "theirs, at their own incident",
        "between the two of them",
        "an open question",
    ]


def test_more_empties_than_the_unit_had_is_a_question(scene):
    """Seven counted for Engine 1, five by the book: five are booked, two stay open."""
    counted = Counted(scene.unit, None, "pail", PAIL_ML, scene.ar, 7)
    found = propose(load_inventory(scene.department, D0), counted, INCIDENT)
    assert (found.codes, found.had, found.unexplained) == (("P1", "P2", "P3", "P4", "P5"), 5, 2)
    settle_pile(entry(scene), Pile((row(scene, 7, unit=scene.unit, containers=tuple(scene.pails)),)))
    assert settlements(scene.department)[0].unexplained == 2


def test_proposed_are_the_opened_first_and_then_the_first_to_expire(scene):
    """P5 is open; P4 has a lot that expires in a year; the others later, by their label codes."""
    soon = LotFactory(concentrate=scene.ar, makers_date=D0.replace(year=2027))
    with_soon = pail(scene, "P9", soon)
    for each in (*scene.pails[:4], with_soon):
        Container.objects.filter(pk=each.pk).update(sealed=True)
    counted = Counted(scene.unit, None, "pail", PAIL_ML, scene.ar, 3)
    assert propose(load_inventory(scene.department, D0), counted, INCIDENT).codes == ("P5", "P9", "P1")


def test_what_the_crew_had_entered_is_not_booked_twice(scene):
    """P1 was entered as used at this incident, P2 at another one: of three empties one is in the book already."""
    movements.use(entry(scene), container=scene.pails[0], ml=PAIL_ML, account=Account.INCIDENT)
    movements.use(entry(scene, incident="26-001"), container=scene.pails[1], ml=PAIL_ML, account=Account.INCIDENT)
    counted = Counted(scene.unit, None, "pail", PAIL_ML, scene.ar, 3)
    found = propose(load_inventory(scene.department, D0), counted, INCIDENT)
    assert (found.already, found.codes, found.unexplained) == (1, ("P3", "P4"), 0)
    with pytest.raises(Refused, match="leave some out, or count again"):
        settle_pile(
            entry(scene), Pile((row(scene, 3, unit=scene.unit, already=1, containers=tuple(scene.pails[2:5])),))
        )
    settle_pile(entry(scene), Pile((row(scene, 3, unit=scene.unit, already=1, containers=tuple(scene.pails[2:4])),)))
    assert settlements(scene.department)[0].unexplained == 0


def test_what_cannot_be(scene):
    class_a = pail(scene, "A1", scene.class_a_lot)
    mine = {"unit": scene.unit}
    wrong = [
        ((), "No empties were read"),
        ((row(scene, 0, **mine),), "0 empties were read"),
        ((row(scene, 1_001, **mine),), "from 1 to 1,000"),
        ((row(scene, 1, **mine, containers=tuple(scene.pails[:2])),), "2 label codes were read for Engine 1 and 1"),
        ((row(scene, 1, **mine, containers=(class_a,)),), "A1 holds Demo Class A, and its row says Demo AR-AFFF"),
        ((row(scene, 1, partner=scene.harbor, lot=scene.class_a_lot),), "choose a lot of that concentrate"),
        (
            (
                row(scene, 1, **mine, containers=(scene.pails[0],)),
                row(scene, 1, **mine, containers=(scene.pails[0],)),
            ),
            "P1 was read twice",
        ),
    ]
    for rows, sentence in wrong:
        with pytest.raises(Refused, match=sentence):
            settle_pile(entry(scene), Pile(rows))
    with pytest.raises(Refused, match="No incident number"):
        settle_pile(entry(scene, incident=" "), Pile(ten_empties(scene)))
    movements.use(entry(scene), container=scene.pails[0], ml=PAIL_ML, account=Account.LEAK)
    scene.pails[0].refresh_from_db()
    with pytest.raises(Refused, match="P1 is empty by the book already"):
        settle_pile(entry(scene), Pile(ten_empties(scene)))
    assert not Settlement.objects.exists()


def test_a_corrected_part_is_shown_as_such(scene):
    settle_pile(entry(scene), Pile(ten_empties(scene)))
    movement = Movement.objects.get(partner=scene.harbor)
    movements.correct(entry(scene, reason="it was Mill's"), movement=movement)
    assert account_of(scene) == {"Harbor County": 0, "Mill County": -37_854}
    assert [each.corrected for each in settlements(scene.department)[0].rows] == [False, True, False, False]


def test_sizes_are_those_of_loose_containers(scene):
    scene.tank(code="T1")
    scene.pail(code="J1", kind="jug", capacity_ml=3_785)
    assert sizes(scene.department) == (("jug", 3_785), ("pail", PAIL_ML))
