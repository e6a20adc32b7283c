"""Each verb of the ledger: what the book says afterwards, and each refusal from the same set-up."""

from __future__ import annotations

from datetime import timedelta
from uuid import UUID

import pytest

from readiness.actions import movements
from readiness.actions.after_use import Used, record_after_use
from readiness.actions.change_overs import change_over
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Draft, MarkAs, Refused, SameIdOtherBody, digest, new_id
from readiness.actions.lots import recall
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER, NotAllowed
from readiness.models import (
    Assignment,
    Change,
    CompatibilityGroup,
    Concentrate,
    Container,
    Holding,
    Movement,
    MovementLine,
    Place,
    Policy,
    Role,
)
from readiness.models.movements import Account, Mark, MovementKind
from readiness.reports.recalls import reached
from readiness.reports.recounts import recount
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast

pytestmark = pytest.mark.django_db


def entry(cast: Cast, role: Role = Role.CHIEF, **values: object) -> Entry:
    return Entry(cast.department, cast.acting(role), CLOCK, **values)


def book(container: Container) -> dict[str, int]:
    """What a container holds, by batch; and the book must be true whenever a test looks at it."""
    assert recount().differences == ()
    return dict(Holding.objects.filter(container=container).order_by("lot").values_list("lot__batch", "ml"))


@pytest.fixture
def pail(cast: Cast) -> Container:
    made = cast.pail(code="P1")
    movements.receive(entry(cast), container=made, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    made.refresh_from_db()
    return made


@pytest.fixture
def tank(cast: Cast) -> Container:
    """A 30-gal tank with 20,000 mL of AR-1 and 10,000 mL of AR-2."""
    made = cast.tank(code="T1")
    movements.receive(entry(cast), container=made, lot=cast.lot, ml=20_000, place=cast.on_vehicle)
    made.refresh_from_db()
    movements.receive(entry(cast), container=made, lot=cast.other_lot, ml=10_000)
    made.refresh_from_db()
    return made


def test_receiving_brings_a_pail_into_the_book(cast: Cast, pail: Container) -> None:
    assert (pail.contents_ml, pail.place, pail.concentrate) == (PAIL_ML, cast.store, cast.ar)
    assert book(pail) == {"AR-1": PAIL_ML}
    movement = Movement.objects.get()
    lines = list(MovementLine.objects.values_list("account", "container__code", "ml"))
    assert lines == [("supplier", None, -PAIL_ML), ("", "P1", PAIL_ML)]
    assert (movement.kind, movement.recorded_by, movement.recorded_at) == ("received", cast.people[Role.CHIEF], SIX)


def test_a_tank_gives_its_lots_in_proportion(cast: Cast, tank: Container) -> None:
    movements.use(entry(cast, incident="26-0615"), container=tank, ml=3_000, account=Account.INCIDENT)
    assert book(tank) == {"AR-1": 18_000, "AR-2": 9_000}  # two thirds and one third of 3,000 mL


def test_pouring_a_pail_into_a_tank_carries_the_lot_along(cast: Cast, pail: Container, tank: Container) -> None:
    movements.pour(entry(cast, Role.CREW), source=pail, target=tank, ml=9_000)
    assert book(tank) == {"AR-1": 29_000, "AR-2": 10_000}
    assert book(pail) == {"AR-1": PAIL_ML - 9_000}


def test_drawing_from_a_sealed_pail_opens_it(cast: Cast, pail: Container) -> None:
    draft = entry(cast).draft(MovementKind.MARKED)
    entry(cast).post(draft._replace(marks=(MarkAs(pail.pk, Mark.SEALED, "yes"),)))
    movements.use(entry(cast), container=pail, ml=100, account=Account.DRILL)
    pail.refresh_from_db()
    assert (pail.sealed, pail.opened_on) == (False, D0)
    assert book(pail) == {"AR-1": PAIL_ML - 100}


def test_no_more_leaves_than_is_there(cast: Cast, pail: Container) -> None:
    with pytest.raises(Refused, match=r"5\.28 gal was read, but P1 holds 5\.00 gal by the book"):
        movements.use(entry(cast), container=pail, ml=20_000, account=Account.DRILL)
    assert book(pail) == {"AR-1": PAIL_ML}


def test_no_more_goes_in_than_fits(cast: Cast, pail: Container, tank: Container) -> None:
    with pytest.raises(Refused, match=r"P1 holds at most 5\.00 gal: 0\.26 gal more would make it 5\.26 gal\."):
        movements.pour(entry(cast), source=tank, target=pail, ml=1_000)
    assert book(pail) == {"AR-1": PAIL_ML}
    assert book(tank) == {"AR-1": 20_000, "AR-2": 10_000}


@pytest.fixture
def class_a_pail(cast: Cast) -> Container:
    made = cast.pail(code="A1")
    movements.receive(entry(cast), container=made, lot=cast.class_a_lot, ml=PAIL_ML, place=cast.store)
    made.refresh_from_db()
    return made


def test_another_concentrate_is_refused_into_a_tank(cast: Cast, class_a_pail: Container, tank: Container) -> None:
    with pytest.raises(Refused, match=r"T1 holds Demo AR-AFFF 3x6; Demo Class A \(lot A-1\) must not go into it"):
        movements.pour(entry(cast), source=class_a_pail, target=tank, ml=4_000)
    assert book(tank) == {"AR-1": 20_000, "AR-2": 10_000}


def test_an_override_needs_an_officer_and_a_reason_and_marks_the_tank_mixed(
    cast: Cast, class_a_pail: Container, tank: Container
) -> None:
    with pytest.raises(NotAllowed, match="To override is for"):
        movements.pour(entry(cast, Role.CREW), source=class_a_pail, target=tank, ml=4_000, override=True)
    with pytest.raises(Refused, match="No reason was read"):
        movements.pour(entry(cast, Role.OFFICER), source=class_a_pail, target=tank, ml=4_000, override=True)
    knows = entry(cast, Role.OFFICER, reason="poured at the scene")
    movements.pour(knows, source=class_a_pail, target=tank, ml=4_000, override=True)
    tank.refresh_from_db()
    assert tank.mixed
    assert book(tank) == {"AR-1": 20_000, "AR-2": 10_000, "A-1": 4_000}
    with pytest.raises(Refused, match="T1 is mixed: empty, flush and inspect it"):
        movements.receive(entry(cast), container=tank, lot=cast.lot, ml=100)


def test_an_override_of_a_pour_that_fits_marks_nothing(cast: Cast, pail: Container, tank: Container) -> None:
    movements.pour(entry(cast, reason="label unreadable"), source=pail, target=tank, ml=100, override=True)
    tank.refresh_from_db()
    assert not tank.mixed


def test_empty_is_not_clean(cast: Cast, class_a_pail: Container, tank: Container) -> None:
    with pytest.raises(Refused, match=r"T1 holds 7\.93 gal: empty it before it is flushed"):
        movements.flush(entry(cast), container=tank)
    movements.empty(entry(cast), container=tank)
    tank.refresh_from_db()
    with pytest.raises(Refused, match="has not been flushed and inspected since"):
        movements.pour(entry(cast), source=class_a_pail, target=tank, ml=4_000)
    with pytest.raises(Refused, match="has not been flushed since it was emptied"):
        movements.inspect(entry(cast), container=tank)
    movements.flush(entry(cast, Role.CREW), container=tank)
    tank.refresh_from_db()
    with pytest.raises(NotAllowed):
        movements.inspect(entry(cast, Role.CREW), container=tank)
    movements.inspect(entry(cast, Role.OFFICER), container=tank)
    tank.refresh_from_db()
    assert (tank.concentrate, tank.flushed, tank.mixed) == (None, False, False)
    movements.pour(entry(cast), source=class_a_pail, target=tank, ml=4_000)
    assert book(tank) == {"A-1": 4_000}


def test_the_same_concentrate_goes_back_into_an_emptied_tank(cast: Cast, pail: Container, tank: Container) -> None:
    movements.empty(entry(cast), container=tank)
    movements.pour(entry(cast), source=pail, target=tank, ml=1_000)
    assert book(tank) == {"AR-1": 1_000}


def test_a_compatibility_group_with_evidence_lets_concentrates_meet(
    cast: Cast, class_a_pail: Container, tank: Container
) -> None:
    group = CompatibilityGroup.objects.create(department=cast.department, name="G", evidence="letter of 3 May")
    group.concentrates.add(cast.ar, cast.class_a)
    movements.pour(entry(cast), source=class_a_pail, target=tank, ml=4_000)
    tank.refresh_from_db()
    assert not tank.mixed
    assert book(tank) == {"AR-1": 20_000, "AR-2": 10_000, "A-1": 4_000}


def test_nothing_from_a_mixed_container_spoils_another(cast: Cast, pail: Container, tank: Container) -> None:
    movements.mark_mixed(entry(cast, reason="gelled"), container=tank)
    fresh = cast.pail(code="P9")
    with pytest.raises(Refused, match="T1 is mixed: nothing from it goes into another container"):
        movements.pour(entry(cast), source=tank, target=fresh, ml=10)


def test_quarantine_and_release(cast: Cast, pail: Container, tank: Container) -> None:
    with pytest.raises(Refused, match="No reason was read"):
        movements.quarantine(entry(cast), container=tank)
    movements.quarantine(entry(cast, reason="smells"), container=tank)
    tank.refresh_from_db()
    assert tank.quarantined
    with pytest.raises(Refused, match="T1 is quarantined: nothing goes into it"):
        movements.pour(entry(cast), source=pail, target=tank, ml=10)
    movements.release(entry(cast, reason="laboratory passed it"), container=tank)
    tank.refresh_from_db()
    assert not tank.quarantined
    book(tank)


def test_a_sealed_pail_moves_as_it_is(cast: Cast, pail: Container) -> None:
    with pytest.raises(NotAllowed):
        movements.move(entry(cast, Role.CREW), containers=[pail], place=cast.on_unit)
    movements.move(entry(cast, Role.LOGISTICS), containers=[pail], place=cast.on_unit)
    pail.refresh_from_db()
    assert pail.place == cast.on_unit
    with pytest.raises(Refused, match="P1 is at Engine 1, L3 already"):
        movements.move(entry(cast), containers=[pail], place=cast.on_unit)
    assert book(pail) == {"AR-1": PAIL_ML}


def test_a_move_from_where_it_was_seen_before_is_refused(cast: Cast, pail: Container) -> None:
    stale = Container.objects.get(pk=pail.pk)
    movements.move(entry(cast), containers=[pail], place=cast.on_unit)
    with pytest.raises(Refused, match="P1 is at Engine 1, L3 by the book, not at"):
        movements.move(entry(cast), containers=[stale], place=cast.on_vehicle)


def test_a_move_does_not_lie_before_the_last_one(cast: Cast, pail: Container) -> None:
    with pytest.raises(Refused, match="lies before it"):
        movements.move(entry(cast, happened_at=SIX - timedelta(days=1)), containers=[pail], place=cast.on_unit)


def test_another_departments_containers_do_not_exist(cast: Cast, pail: Container) -> None:
    theirs = Entry(cast.other_department, OWNER, CLOCK)
    with pytest.raises(Refused, match="There is no container number"):
        movements.use(theirs, container=pail, ml=10, account=Account.DRILL)
    strange = Place.objects.create(department=cast.other_department, station=cast.station, compartment="x")
    with pytest.raises(Refused, match="There is no place number"):
        movements.move(entry(cast), containers=[pail], place=strange)


def test_a_correction_names_the_movement_and_gives_a_reason(cast: Cast, tank: Container) -> None:
    used = movements.use(entry(cast), container=tank, ml=3_000, account=Account.DRILL)
    movement = Movement.objects.get(pk=used.movement_id)
    with pytest.raises(Refused, match="No reason was read"):
        movements.correct(entry(cast), movement=movement)
    movements.correct(entry(cast, reason="it was Engine 2's tank"), movement=movement)
    assert book(tank) == {"AR-1": 20_000, "AR-2": 10_000}
    correction = Movement.objects.get(corrects=movement)
    assert (correction.kind, correction.reason) == ("corrected", "it was Engine 2's tank")
    with pytest.raises(Refused, match="corrected already"):
        movements.correct(entry(cast, reason="again"), movement=movement)


def test_a_correction_of_a_bad_pour_takes_the_mark_back_too(
    cast: Cast, class_a_pail: Container, tank: Container
) -> None:
    poured = movements.pour(entry(cast, reason="thought so"), source=class_a_pail, target=tank, ml=4_000, override=True)
    movements.correct(
        entry(cast, reason="it was entered, never poured"), movement=Movement.objects.get(pk=poured.movement_id)
    )
    tank.refresh_from_db()
    assert not tank.mixed
    assert book(tank) == {"AR-1": 20_000, "AR-2": 10_000}


def test_a_correction_is_refused_when_the_volume_has_gone_on(cast: Cast, pail: Container) -> None:
    received = Movement.objects.get()
    movements.use(entry(cast), container=pail, ml=100, account=Account.DRILL)
    with pytest.raises(Refused, match="cannot come out of it"):
        movements.correct(entry(cast, reason="never came"), movement=received)
    assert book(pail) == {"AR-1": PAIL_ML - 100}


def test_gallons_rounded_one_by_one_still_fit_a_tank_that_they_fill(cast: Cast) -> None:
    """16 gal = 60,566.6 mL and 4 gal = 15,141.6 mL round to 75,709 mL; 20 gal = 75,708.2 mL round to 75,708 mL."""
    tank = cast.tank(code="T20", capacity_ml=75_708)
    movements.receive(entry(cast), container=tank, lot=cast.lot, ml=60_567, place=cast.on_vehicle)
    tank.refresh_from_db()
    movements.receive(entry(cast), container=tank, lot=cast.other_lot, ml=15_142)
    assert book(tank) == {"AR-1": 60_567, "AR-2": 15_141}
    with pytest.raises(Refused, match="would make it"):
        movements.receive(entry(cast), container=tank, lot=cast.other_lot, ml=1)


def test_five_gallons_of_a_pail_is_all_of_it(cast: Cast, pail: Container) -> None:
    movements.use(entry(cast), container=pail, ml=1_000, account=Account.DRILL)
    movements.use(entry(cast), container=pail, ml=PAIL_ML - 1_000 + 2, account=Account.DRILL)
    assert book(pail) == {}
    with pytest.raises(Refused, match=r"P1 holds 0\.000 gal by the book"):
        movements.use(entry(cast), container=pail, ml=3, account=Account.DRILL)


def test_the_same_id_posts_once_and_with_another_body_is_refused(cast: Cast, tank: Container) -> None:
    pk = new_id()
    first = movements.use(entry(cast, id=pk), container=tank, ml=300, account=Account.DRILL)
    second = movements.use(entry(cast, id=pk), container=tank, ml=300, account=Account.DRILL)
    assert (first.again, second.again) == (False, True)
    with pytest.raises(SameIdOtherBody):
        movements.use(entry(cast, id=pk), container=tank, ml=301, account=Account.DRILL)
    assert book(tank) == {"AR-1": 19_800, "AR-2": 9_900}


def test_what_lies_in_the_future_is_refused(cast: Cast, tank: Container) -> None:
    with pytest.raises(Refused, match="2026-06-16 06:00 UTC was read, which lies in the future"):
        movements.use(entry(cast, happened_at=SIX + timedelta(days=1)), container=tank, ml=300, account=Account.DRILL)


def test_a_recall_reaches_every_container_the_lot_went_through(cast: Cast, pail: Container, tank: Container) -> None:
    movements.pour(entry(cast), source=pail, target=tank, ml=PAIL_ML)
    recall(
        cast.department,
        lot=cast.lot,
        recalled_on=D0,
        reference="notice 7",
        acting=cast.acting(Role.LOGISTICS),
        clock=CLOCK,
    )
    cast.lot.refresh_from_db()
    assert cast.lot.recalled_on == D0
    # 20,000 mL were in the tank, 18,927 mL came from the pail, which is empty now
    found = {each.code: (each.holds_ml, each.passed_through_ml) for each in reached(cast.lot)}
    assert found == {"P1": (0, PAIL_ML), "T1": (20_000 + PAIL_ML, 0)}
    change = Change.objects.get()
    assert (change.action, change.by, change.new["recalled_on"]) == (
        "recall",
        cast.people[Role.LOGISTICS],
        "2026-06-15",
    )
    with pytest.raises(Refused, match="was recalled on 2026-06-15 already"):
        recall(cast.department, lot=cast.lot, recalled_on=D0, reference="x", acting=OWNER, clock=CLOCK)


def test_a_change_over_moves_the_unit_and_its_loose_gear_and_leaves_the_tank(
    cast: Cast, pail: Container, tank: Container
) -> None:
    movements.move(entry(cast), containers=[pail], place=cast.on_unit)
    chief = cast.acting(Role.CHIEF)
    change_over(cast.department, unit=cast.unit, vehicle=cast.vehicle, acting=chief, at=SIX, clock=CLOCK)
    later = SIX + timedelta(hours=1)
    then = StoppedClock(later)
    change_over(cast.department, unit=cast.unit, vehicle=cast.spare_vehicle, acting=chief, at=later, clock=then)
    now = Assignment.objects.get(unit=cast.unit, to_at__isnull=True)
    assert now.vehicle == cast.spare_vehicle
    assert Assignment.objects.get(vehicle=cast.vehicle).to_at == later
    pail.refresh_from_db()
    tank.refresh_from_db()
    assert (pail.place.unit, tank.place.vehicle) == (cast.unit, cast.vehicle)
    assert Change.objects.filter(action="change over").count() == 2
    with pytest.raises(Refused, match="2026-06-15 07:00 UTC was read, which lies in the future"):
        change_over(cast.department, unit=cast.unit, vehicle=cast.vehicle, acting=chief, at=later, clock=CLOCK)
    with pytest.raises(Refused, match="Engine 1 runs on vehicle 209 already"):
        change_over(cast.department, unit=cast.unit, vehicle=cast.spare_vehicle, acting=chief, clock=CLOCK)
    with pytest.raises(NotAllowed):
        change_over(cast.department, unit=cast.unit, vehicle=cast.vehicle, acting=cast.acting(Role.CREW), clock=CLOCK)


def test_an_observer_changes_nothing(cast: Cast, tank: Container) -> None:
    role = Role.OBSERVER
    verbs = [
        lambda: movements.use(entry(cast, role), container=tank, ml=1, account=Account.DRILL),
        lambda: movements.receive(entry(cast, role), container=tank, lot=cast.lot, ml=1),
        lambda: movements.move(entry(cast, role), containers=[tank], place=cast.store),
        lambda: movements.flush(entry(cast, role), container=tank),
    ]
    before = Movement.objects.count()
    for verb in verbs:
        with pytest.raises(NotAllowed):
            verb()
    assert Movement.objects.count() == before


def test_ids_are_time_ordered() -> None:
    ids = [new_id() for _ in range(50)]
    assert all(isinstance(each, UUID) and each.version == 7 for each in ids)
    assert ids == sorted(ids)


# -- drills ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("pfas", "why"), [("yes", "holds PFAS"), ("unknown", "is not known to be without PFAS")])
@pytest.mark.parametrize("way", ["use", "empty", "after use"])
def test_a_drill_is_refused_stock_with_pfas(cast: Cast, pail: Container, pfas: str, why: str, way: str) -> None:
    Policy.objects.update(drill_with_pfas=False)
    Concentrate.objects.filter(pk=cast.ar.pk).update(pfas=pfas)
    ways = {
        "use": lambda: movements.use(entry(cast), container=pail, ml=1_000, account=Account.DRILL),
        "empty": lambda: movements.empty(entry(cast), container=pail, account=Account.DRILL),
        "after use": lambda: record_after_use(
            entry(cast), unit=cast.unit, account=Account.DRILL, used=(Used(pail, 1_000),), lines=()
        ),
    }
    with pytest.raises(Refused, match=f"lot AR-1.* {why}"):
        ways[way]()
    assert book(pail) == {"AR-1": PAIL_ML}


@pytest.mark.parametrize(("pfas", "allowed"), [("no", False), ("yes", True), ("unknown", True)])
def test_a_drill_takes_what_the_policy_lets_it(cast: Cast, pail: Container, pfas: str, allowed: bool) -> None:
    Policy.objects.update(drill_with_pfas=allowed)
    Concentrate.objects.filter(pk=cast.ar.pk).update(pfas=pfas)
    movements.use(entry(cast), container=pail, ml=PAIL_ML, account=Account.DRILL)
    assert book(pail) == {}


def test_what_was_drilled_with_all_the_same_is_entered_by_an_officer_who_says_why(cast: Cast, pail: Container) -> None:
    Policy.objects.update(drill_with_pfas=False)
    drilled = {"container": pail, "ml": PAIL_ML, "account": Account.DRILL, "override": True}
    with pytest.raises(Refused, match="No reason was read"):
        movements.use(entry(cast), **drilled)
    with pytest.raises(NotAllowed):
        movements.use(entry(cast, Role.INSTRUCTOR, reason="it was at hand"), **drilled)
    posted = movements.use(entry(cast, reason="a new recruit took the wrong pail"), **drilled)
    assert book(pail) == {}
    back = movements.correct(entry(cast, reason="other pail"), movement=Movement.objects.get(pk=posted.movement_id))
    movements.correct(entry(cast, reason="no, it was"), movement=Movement.objects.get(pk=back.movement_id))
    assert book(pail) == {}


def test_the_fingerprint_of_an_entry_is_what_it_was_before_more_could_be_stated():
    """What phones and forms sent before there were partners, and deliveries of several lots, is known again."""
    first = (new_id(), MovementKind.RECEIVED, SIX, (), (), (), (), "a remark", "", None, False)
    assert Draft(*first).digest == digest(first)
    assert Draft(*first, partner=7).digest == digest((*first, 7))
    assert len({Draft(*first, beside=beside).digest for beside in ("", "a", "b")}) == 3
