"""Morning checks: what is recorded, what counts as a whole check, what differs from the book, and what is refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import pytest

from readiness.actions import movements
from readiness.actions.change_overs import change_over
from readiness.actions.checks import CheckDraft, Read, record_check
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused, SameIdOtherBody
from readiness.actions.permissions import OWNER, NotAllowed
from readiness.models import Assessment, Check, Container, Deficiency, FoamLine, Reading, Role
from readiness.models.checks import Answer
from readiness.models.movements import Account
from tests.actions.small_department import every_row
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast, UnitFactory
from tests.judged import BEFORE, GPM, Rigged

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
ID = UUID("01900000-0000-7000-8000-000000000001")


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    return Rigged(cast)


@pytest.fixture
def tank(rig: Rigged) -> Container:
    """100,000 mL in a 113,562-mL tank; its gauge tells 2,000 mL apart."""
    return rig.tank()


# -- what is recorded --------------------------------------------------------------------------------------------------


def test_a_check_keeps_what_was_read_beside_what_the_book_said(rig: Rigged, tank: Container) -> None:
    readings = (
        Read(Answer.GOOD, container=tank.pk, ml=99_000, words=" by the dipstick "),
        Read(Answer.FAULT, line=rig.line.pk, setting_pct=600, flushed=True, words="knob is stiff"),
        Read(Answer.NOT_CARRIED, item="spare pick-up tube"),
    )
    at = SIX + HOUR
    recorded = rig.checked(readings, at=at, acting=rig.cast.acting(Role.CREW))
    check = recorded.check
    assert (recorded.again, check.by, check.vehicle, check.unit) == (
        False,
        rig.cast.people[Role.CREW],
        rig.vehicle,
        rig.unit,
    )
    assert (check.finished_at, check.recorded_at) == (at, at)
    rows = list(Reading.objects.filter(check_of=check).values_list("answer", "ml", "book_ml", "setting_pct", "words"))
    assert rows == [
        ("good", 99_000, 100_000, None, "by the dipstick"),
        ("fault", None, None, 600, "knob is stiff"),
        ("not carried", None, None, None, ""),
    ]
    tank.refresh_from_db()
    rig.line.refresh_from_db()
    assert (tank.reading_ml, tank.reading_at, tank.contents_ml) == (99_000, at, 100_000)  # the book is not touched
    assert (rig.line.present_pct, rig.line.present_seen_at) == (600, at)


def test_an_older_check_that_comes_in_late_overwrites_nothing(rig: Rigged, tank: Container) -> None:
    late = rig.reading(tank, 98_000)
    line = Read(Answer.GOOD, line=rig.line.pk, setting_pct=300, ring_lpm=95 * GPM, flushed=True)
    rig.checked((*late[:-1], line), at=SIX + 2 * HOUR)
    old = Read(Answer.GOOD, line=rig.line.pk, setting_pct=600, ring_lpm=60 * GPM, flushed=False)
    before = FoamLine.objects.values().get(pk=rig.line.pk)
    rig.checked((Read(Answer.GOOD, container=tank.pk, ml=50_000), old), at=SIX + HOUR)
    tank.refresh_from_db()
    assert (tank.reading_ml, tank.reading_at) == (98_000, SIX + 2 * HOUR)
    assert FoamLine.objects.values().get(pk=rig.line.pk) == before
    assert Reading.objects.filter(ml=50_000).exists()  # it is kept all the same


def test_a_late_check_is_compared_with_the_book_of_its_own_moment(rig: Rigged, tank: Container) -> None:
    """100 L by the book at six, read 96 L; 8 L went out at eight; the phone sends the check at nine: 4 L are missing.

    Beside the 92 L that are in the book at nine it would read 4 L more, which speaks of water.
    """
    read = rig.reading(tank, 96_000)
    entry = rig.entry(StoppedClock(SIX + 2 * HOUR), happened_at=SIX + 2 * HOUR)
    movements.use(entry, container=tank, ml=8_000, account=Account.INCIDENT)
    recorded = rig.checked(read, at=SIX, clock=StoppedClock(SIX + 3 * HOUR), name="late")
    assert [(each.book_ml, each.read_ml) for each in recorded.differences] == [(100_000, 96_000)]
    assert Reading.objects.get(check_of=recorded.check, container=tank).book_ml == 100_000


def test_a_late_check_of_a_tank_that_the_book_had_empty_then(rig: Rigged, tank: Container) -> None:
    """Used up at five, read as empty at six, 90 L received at seven, sent at eight: nothing differs."""
    movements.use(
        rig.entry(StoppedClock(SIX), happened_at=SIX - HOUR), container=tank, ml=100_000, account=Account.INCIDENT
    )
    entry = rig.entry(StoppedClock(SIX + HOUR), happened_at=SIX + HOUR)
    movements.receive(entry, container=tank, lot=rig.cast.lot, ml=90_000)
    tank.refresh_from_db()
    recorded = rig.checked(rig.reading(tank, 0), at=SIX, clock=StoppedClock(SIX + 2 * HOUR), name="empty then")
    assert recorded.differences == ()
    assert Reading.objects.get(check_of=recorded.check, container=tank).book_ml == 0


def test_a_check_made_before_the_book_had_the_tank_is_compared_with_what_it_began_with(rig: Rigged) -> None:
    tank = rig.tank()  # booked as of a day before six
    recorded = rig.checked(rig.reading(tank, 96_000), at=BEFORE - HOUR, clock=StoppedClock(SIX), name="earlier")
    assert Reading.objects.get(check_of=recorded.check, container=tank).book_ml == 100_000


def test_the_last_check_makes_the_difference_of_a_ring(rig: Rigged) -> None:
    rig.checked((Read(Answer.GOOD, line=rig.line.pk, ring_lpm=60 * GPM),), at=SIX + HOUR)
    rig.line.refresh_from_db()
    assert rig.line.flow_lpm == 60 * GPM


def test_the_same_tap_twice_records_once(rig: Rigged) -> None:
    draft = CheckDraft(ID, rig.unit.pk, rig.good(), SIX)
    first = record_check(rig.department, draft, acting=OWNER, clock=CLOCK)
    before = every_row()
    second = record_check(rig.department, draft, acting=OWNER, clock=StoppedClock(SIX + HOUR))
    assert (first.again, second.again, second.check) == (False, True, first.check)
    assert every_row() == before


def test_the_same_id_with_another_content_is_refused(rig: Rigged) -> None:
    draft = CheckDraft(ID, rig.unit.pk, rig.good(), SIX)
    record_check(rig.department, draft, acting=OWNER, clock=CLOCK)
    before = every_row()
    with pytest.raises(SameIdOtherBody, match=f"A check with the id {ID} is recorded already, with another content"):
        record_check(rig.department, draft._replace(notes="other"), acting=OWNER, clock=CLOCK)
    assert every_row() == before


# -- whole and partial -------------------------------------------------------------------------------------------------


def test_a_partial_check_is_no_check(rig: Rigged, tank: Container) -> None:
    """Nothing of it makes the unit checked again, though what was read is kept."""
    rig.judge(SIX + 2 * DAY)
    assert rig.open_codes() == {"check_overdue"}
    whole = rig.reading(tank, 100_000)
    at = SIX + 2 * DAY
    for n, partial in enumerate(
        (
            whole[1:],  # one pail not looked at
            whole[:-1],  # the line left out
            (*whole[:-1], whole[-1]._replace(answer=Answer.NOT_LOOKED)),
            tuple(each._replace(ml=None) if each.container == tank.pk else each for each in whole),  # no number
        )
    ):
        assert rig.checked(partial, at=at, name=f"partial {n}").check.complete is False
        rig.judge(at)
        assert rig.open_codes() == {"check_overdue"}
    assert rig.checked(whole, at=at, name="whole").check.complete is True
    assert rig.status(at) == "ready"


def test_a_fault_is_looked_at_and_a_sealed_pail_needs_no_number(rig: Rigged) -> None:
    readings = list(rig.good())
    readings[0] = readings[0]._replace(answer=Answer.FAULT)
    assert rig.checked(tuple(readings), name="fault").check.complete
    readings[1] = readings[1]._replace(sealed=None)  # neither seal nor number
    assert not rig.checked(tuple(readings), name="no seal").check.complete


# -- which vehicle -----------------------------------------------------------------------------------------------------


def test_a_check_on_another_vehicle_proves_nothing_after_a_change_over(rig: Rigged) -> None:
    assert rig.status() == "ready"
    clock = StoppedClock(SIX + HOUR)
    change_over(rig.department, unit=rig.unit, vehicle=rig.cast.spare_vehicle, acting=OWNER, clock=clock)
    rig.judge(SIX + HOUR)
    assert rig.open_codes() == {"check_never"}
    rig.checked(at=SIX + 2 * HOUR)
    assert rig.status(SIX + 2 * HOUR) == "ready"
    change_over(rig.department, unit=rig.unit, vehicle=rig.vehicle, acting=OWNER, clock=StoppedClock(SIX + 3 * HOUR))
    assert rig.status(SIX + 3 * HOUR) == "ready"  # the check of this morning was of this vehicle


def test_a_check_made_before_a_change_over_and_sent_after_it_is_of_the_old_vehicle(rig: Rigged) -> None:
    tank = rig.tank("T1")  # stays with the old vehicle
    readings, at = rig.good(), SIX + HOUR
    clock = StoppedClock(SIX + 2 * HOUR)
    change_over(rig.department, unit=rig.unit, vehicle=rig.cast.spare_vehicle, acting=OWNER, clock=clock)
    check = rig.checked(readings, at=at, clock=StoppedClock(SIX + 3 * HOUR)).check
    assert (check.vehicle, check.complete) == (rig.vehicle, True)
    assert Reading.objects.filter(check_of=check, container=tank).exists()
    rig.judge(SIX + 3 * HOUR)
    assert rig.open_codes() == {"check_never"}


# -- against the book --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("read_ml", "words"),
    [
        (98_000, None),  # within the 2,000 mL that the gauge tells apart
        (102_000, None),
        (97_000, "0.79 gal less than the book; a leak, evaporation or an unbooked use: look again."),  # 3,000 mL
        (104_000, "1.06 gal more than the book; water may be getting in: look again."),  # 4,000 mL = 1.0567 gal
    ],
)
def test_differences_beyond_the_gauge_are_shown_back(
    rig: Rigged, tank: Container, read_ml: int, words: str | None
) -> None:
    recorded = rig.checked(rig.reading(tank, read_ml), at=SIX + HOUR)
    if words is None:
        assert recorded.differences == ()
    else:
        (difference,) = recorded.differences
        assert (difference.container, difference.book_ml, difference.read_ml) == ("T1", 100_000, read_ml)
        assert difference.words == words


def test_a_reading_below_the_book_counts_and_one_above_takes_the_tank_out(rig: Rigged) -> None:
    """The lesser of book and reading counts, more than the book not at all. The gauge tells 2,000 mL apart."""
    for each in rig.pails:
        movements.move(rig.entry(), containers=[each], place=rig.cast.store)
    tank = rig.tank("T2", ml=110_000)
    rig.line.pails = False
    rig.line.save()
    rig.checked(at=SIX)
    rig.judge()
    need_l = 44.175 * 3.785411784  # 167.22 L: 110 L is short whatever is read
    assert rig.current().answers["verdict"]["answers"][0]["need_l"] == pytest.approx(need_l, abs=1e-3)

    def usable_l(read_ml: int, hours: int) -> float:
        rig.checked(rig.reading(tank, read_ml), at=SIX + hours * HOUR)
        rig.judge(SIX + hours * HOUR)
        return float(rig.current().answers["verdict"]["answers"][0]["usable_l"])

    assert usable_l(109_000, 1) == 110.0  # within the gauge: the book
    assert usable_l(90_000, 2) == 90.0  # the lesser
    assert "reading_below_book" in rig.open_notes()
    assert usable_l(113_000, 3) == 0.0  # 3,000 mL above the book
    assert "reading_above_book" in rig.open_codes()
    assert usable_l(110_500, 4) == 110.0
    assert (rig.open_notes() | rig.open_codes()).isdisjoint({"reading_above_book", "reading_below_book"})


def test_a_setting_not_parked_and_a_line_not_flushed_are_limited(rig: Rigged) -> None:
    def line(hours: int, **read: object) -> str:
        reads = (*rig.good()[:-1], Read(Answer.GOOD, line=rig.line.pk, **read))
        rig.checked(reads, at=SIX + hours * HOUR)
        return rig.status(SIX + hours * HOUR)

    assert line(1, setting_pct=600, flushed=True) == "limited"
    assert rig.open_codes() == {"setting_not_parked"}
    assert line(2, setting_pct=300, flushed=False) == "limited"
    assert rig.open_codes() == {"flush_not_logged"}
    assert line(3, setting_pct=300) == "limited"  # nobody says that it was flushed since
    assert line(4, setting_pct=300, flushed=True) == "ready"


def test_a_pail_that_is_not_carried_does_not_count_until_it_is_found_again(rig: Rigged) -> None:
    gone, *others = rig.good()
    rig.checked((gone._replace(answer=Answer.NOT_CARRIED, sealed=None), *others), at=SIX + HOUR)
    assert rig.status(SIX + HOUR) == "not_ready"  # eight pails are 40 gal, the area takes 40.5 gal
    assert rig.usable_gal() == pytest.approx(40.0, abs=0.01)
    rig.checked(at=SIX + 2 * HOUR)
    assert rig.status(SIX + 2 * HOUR) == "ready"
    assert rig.usable_gal() == pytest.approx(45.0, abs=0.01)


def test_a_fault_that_was_seen_stands_until_a_later_look_finds_it_good(rig: Rigged) -> None:
    *pails, line = rig.good()
    rig.checked((*pails, line._replace(answer=Answer.FAULT, words="strainer torn")), at=SIX + HOUR)
    assert rig.status(SIX + HOUR) == "unverified"
    assert rig.open_codes() == {"fault_seen"}
    fault = Deficiency.objects.get(code="fault_seen", closed_on=None)
    assert (fault.words, fault.since_on) == ("Crosslay 1: strainer torn", D0)
    rig.checked(tuple(pails), at=SIX + 2 * HOUR)  # nobody looked at the line
    assert rig.status(SIX + 2 * HOUR) == "unverified"
    rig.checked(at=SIX + 3 * HOUR)
    assert rig.status(SIX + 3 * HOUR) == "ready"


# -- what is refused ---------------------------------------------------------------------------------------------------


def refused(rig: Rigged, *reads: Read, at: datetime = SIX, unit: int | None = None) -> str:
    before = every_row()
    draft = CheckDraft(ID, unit or rig.unit.pk, reads, at)
    with pytest.raises(Refused) as refusal:
        record_check(rig.department, draft, acting=OWNER, clock=CLOCK)
    assert every_row() == before
    return str(refusal.value)


def test_a_check_in_the_future(rig: Rigged) -> None:
    said = refused(rig, *rig.good(), at=SIX + timedelta(minutes=11))
    assert said.startswith("2026-06-15 06:11 UTC was read, which lies in the future: it is 2026-06-15 06:00 UTC")


def test_a_phone_may_run_ten_minutes_ahead(rig: Rigged) -> None:
    draft = CheckDraft(ID, rig.unit.pk, rig.good(), SIX + timedelta(minutes=10))
    assert not record_check(rig.department, draft, acting=OWNER, clock=CLOCK).again


def test_more_than_a_tank_holds(rig: Rigged, tank: Container) -> None:
    said = refused(rig, Read(Answer.GOOD, container=tank.pk, ml=120_000))
    assert said == "31.70 gal was read in T1, which holds 30.00 gal when full: read the gauge again."
    assert "was read in T1" in refused(rig, Read(Answer.GOOD, container=tank.pk, ml=-1))


def test_a_container_that_is_not_aboard(rig: Rigged) -> None:
    stored = rig.cast.pail(code="S1")
    movements.receive(rig.entry(), container=stored, lot=rig.cast.lot, ml=PAIL_ML, place=rig.cast.store)
    said = refused(rig, Read(Answer.GOOD, container=stored.pk, sealed=True))
    assert said == f"Container number {stored.pk} is not aboard Engine 1 by the book."


def test_a_line_of_another_unit(rig: Rigged) -> None:
    other = UnitFactory(station=rig.cast.station, designation="Engine 2")
    said = refused(rig, Read(Answer.GOOD, line=rig.line.pk), unit=other.pk)
    assert said == f"Line number {rig.line.pk} does not belong to Engine 2 or its vehicle."


def test_a_setting_that_the_eductor_does_not_offer(rig: Rigged) -> None:
    said = refused(rig, Read(Answer.GOOD, line=rig.line.pk, setting_pct=100))
    assert said == "1 % was read on Crosslay 1, which offers 3 %, 6 %."


def test_the_same_thing_twice_and_nothing_at_all(rig: Rigged) -> None:
    assert "The same thing was read twice" in refused(rig, *rig.good(), rig.good()[0])
    assert "A reading of nothing was read" in refused(rig, Read(Answer.GOOD, item=" "))


def test_a_unit_that_is_not_there(rig: Rigged) -> None:
    assert refused(rig, unit=999_999).startswith("There is no unit number 999999 in Quay County")


@pytest.mark.parametrize("role", list(Role))
def test_all_hands_check_and_an_observer_does_not(rig: Rigged, role: Role) -> None:
    count = Check.objects.count()
    if role == Role.OBSERVER:
        with pytest.raises(NotAllowed, match=r"To check is for: .*; as observer you may not"):
            rig.checked(acting=rig.cast.acting(role), name="role")
        assert Check.objects.count() == count
    else:
        assert rig.checked(acting=rig.cast.acting(role), name="role").check.by == rig.cast.people[role]


def test_an_outsider_may_not(rig: Rigged) -> None:
    with pytest.raises(NotAllowed):
        rig.checked(acting=rig.cast.acting(Role.CREW)._replace(user=rig.cast.outsider), name="outsider")


def test_a_check_is_judged_at_once(rig: Rigged, django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        rig.checked(at=SIX + HOUR)
    row = Assessment.objects.get(unit=rig.unit, superseded_at=None)
    assert (row.status, row.because, row.day) == ("ready", "morning check", D0)
    assert row.check_good_until == SIX + HOUR + DAY
